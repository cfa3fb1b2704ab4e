"""An invented season of a buyer's tickets, most of them right to the cent, and fifty kinds of mistakes among them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np

from dryrecords.settlement.rules import Load, Settlement, rules_of, settle

CROP_LB = Decimal(56)
FIRST = datetime(2025, 9, 1, tzinfo=UTC)
CHANGED = datetime(2025, 10, 15, tzinfo=UTC)
LAST = datetime(2025, 12, 1, tzinfo=UTC)
D = Decimal


def schedule(**changes: Any) -> dict[str, Any]:
    """Shrink, a discount in half points, a charge on wet bushels with a minimum, and a limit: a bit of everything."""
    rules: dict[str, Any] = {
        "base_moisture_pct": "15",
        "moisture_rounding": {"step_pct": "0.1", "mode": "half_up"},
        "shrink": {
            "method": "factor",
            "factor_pct_per_point": "1.4",
            "base_moisture_pct": "14.5",
            "handling_pct": "0.25",
        },
        "discount": [{"above_pct": "15", "step_pct": "0.5", "per_step_usd_bu": "0.011"}],
        "drying_charge": {"per_point_usd_bu": "0.047", "on": "wet_bu", "minimum_usd_bu": "0.05"},
        "reject_above_pct": "28",
        "rounding": {"bu": "0.01", "usd_bu": "0.0001", "usd": "0.01"},
    }
    for path, value in changes.items():
        *parents, name = path.split("__")
        inner = rules
        for parent in parents:
            inner[parent] = dict(inner[parent])
            inner = inner[parent]
        inner[name] = value
    return rules


EARLY = schedule(drying_charge__per_point_usd_bu="0.04")
SOLD = schedule()
STORED = schedule(shrink__base_moisture_pct="14")
# (disposition, from, to, rules)
SCHEDULES = [
    ("any", FIRST, CHANGED, EARLY),
    ("sold", CHANGED, LAST, SOLD),
    ("stored", CHANGED, LAST, STORED),
]
STATED = ("net_bu", "shrink_bu", "moisture_discount_usd", "drying_charge_usd", "net_amount_usd")


@dataclass
class Ticket:
    number: str
    delivered_at: datetime
    sold: bool
    gross_lb: Decimal
    tare_lb: Decimal
    moisture_pct: Decimal
    price_usd_bu: Decimal | None
    stated: dict[str, Decimal] = field(default_factory=dict)
    mistake: str = ""

    @property
    def rules(self) -> dict[str, Any]:
        disposition = "sold" if self.sold else "stored"
        for of, begins, ends, rules in SCHEDULES:
            if of in ("any", disposition) and begins <= self.delivered_at < ends:
                return rules
        return EARLY

    def by(self, rules: dict[str, Any] | None = None, **changes: Any) -> Settlement:
        load = Load(self.gross_lb, self.tare_lb, self.moisture_pct, self.price_usd_bu, CROP_LB)
        return settle(_read(rules or self.rules), replace(load, **changes))

    def state(self, settled: Settlement) -> None:
        self.stated = {name: getattr(settled, name) for name in STATED}


_rules_read: dict[int, Any] = {}


def _read(document: dict[str, Any]) -> Any:
    key = id(document)
    if key not in _rules_read:
        # The document is kept as well, so that its id stays its own.
        _rules_read[key] = (rules_of(document), document)
    return _rules_read[key][0]


def season(count: int, seed: int = 20251015) -> list[Ticket]:
    """Tickets as they should be, in the order of their delivery."""
    random = np.random.default_rng(seed)
    step = (LAST - FIRST) / count
    price = random.integers(380, 450, count)
    gross, tare = random.integers(2500, 4000, count) * 20, random.integers(1100, 1400, count) * 20
    moisture = np.clip(random.normal(19.0, 3.2, count), 12.0, 27.8)
    sold = random.random(count) < 0.8
    tickets = [
        Ticket(
            number=f"{100_000 + n}",
            delivered_at=FIRST + n * step + timedelta(seconds=1),
            sold=bool(sold[n]),
            gross_lb=D(int(gross[n])),
            tare_lb=D(int(tare[n])),
            moisture_pct=D(f"{moisture[n]:.1f}"),
            price_usd_bu=D(int(price[n])) / 100 if sold[n] else None,
        )
        for n in range(count)
    ]
    for ticket in tickets:
        ticket.state(ticket.by())
    return tickets


@dataclass(frozen=True)
class Mistake:
    name: str
    # One that the audit should tell of; with `or` where it depends on the ticket which line comes first.
    kind: str
    make: Callable[[Ticket], None]
    # A rule that the audit should name.
    explained: str = ""


def _rule(name: str, kind: str, explained: str, **changes: Any) -> Mistake:
    """Settled by a schedule that differs in one thing."""
    made: dict[int, dict[str, Any]] = {}

    def make(ticket: Ticket) -> None:
        right = ticket.rules
        if id(right) not in made:
            wrong = dict(right)
            for path, value in changes.items():
                *parents, last = path.split("__")
                inner = wrong
                for parent in parents:
                    inner[parent] = dict(inner[parent])
                    inner = inner[parent]
                inner[last] = value
            made[id(right)] = wrong
        ticket.state(ticket.by(made[id(right)]))

    return Mistake(name, kind, make, explained)


def _slip(name: str, kind: str, line: str, change: Callable[[Decimal], Decimal]) -> Mistake:
    """One figure written down wrong, the others as they should be."""

    def make(ticket: Ticket) -> None:
        ticket.stated[line] = change(ticket.stated[line])

    return Mistake(name, kind, make)


def _carried(name: str, kind: str, change: Callable[[Ticket, Settlement], dict[str, Decimal]]) -> Mistake:
    """Lines got wrong, and the amount added up from them as they stand."""

    def make(ticket: Ticket) -> None:
        lines = ticket.stated | change(ticket, ticket.by())
        gross = _cents(lines["net_bu"] * (ticket.price_usd_bu or D(0)))
        if "net_amount_usd" not in change(ticket, ticket.by()):
            lines["net_amount_usd"] = gross - lines["moisture_discount_usd"] - lines["drying_charge_usd"]
        ticket.stated = lines

    return Mistake(name, kind, make)


def _cents(value: Decimal) -> Decimal:
    return value.quantize(D("0.01"), rounding="ROUND_HALF_UP")


def _transposed(value: Decimal) -> Decimal:
    """The last two different digits that stand side by side change places."""
    digits = list(str(value))
    for i in range(len(digits) - 1, 0, -1):
        if digits[i] != digits[i - 1] and "." not in digits[i - 1 : i + 1]:
            digits[i - 1], digits[i] = digits[i], digits[i - 1]
            return D("".join(digits))
    return value + D("0.09")


def _of_net(bushels: Callable[[Ticket, Settlement], Decimal]) -> Callable[[Ticket, Settlement], dict[str, Decimal]]:
    """Other bushels, and everything that goes on from them."""

    def change(ticket: Ticket, right: Settlement) -> dict[str, Decimal]:
        net = bushels(ticket, right)
        return {"net_bu": net, "moisture_discount_usd": _cents(net * right.moisture_discount_usd_bu)}

    return change


def _of_shrink(shrink: Callable[[Ticket, Settlement], Decimal]) -> Callable[[Ticket, Settlement], dict[str, Decimal]]:
    net = _of_net(lambda ticket, right: right.wet_bu - shrink(ticket, right))
    return lambda ticket, right: net(ticket, right) | {"shrink_bu": shrink(ticket, right)}


def _hundredths(value: Decimal) -> Decimal:
    return value.quantize(D("0.01"), rounding="ROUND_HALF_UP")


def _with_weights(gross: Callable[[Ticket], Decimal], tare: Callable[[Ticket], Decimal]) -> Callable[[Ticket], None]:
    return lambda ticket: ticket.state(ticket.by(gross_lb=gross(ticket), tare_lb=tare(ticket)))


def _stale(ticket: Ticket) -> None:
    ticket.state(ticket.by(EARLY))


def _other_grain(ticket: Ticket) -> None:
    ticket.state(ticket.by(STORED if ticket.sold else SOLD))


def _other_price(ticket: Ticket) -> None:
    price = (ticket.price_usd_bu or D(0)) + D("0.07")
    ticket.stated["net_amount_usd"] = ticket.by(price_usd_bu=price).net_amount_usd


def _paid_though_rejected(ticket: Ticket) -> None:
    ticket.moisture_pct = D("29.4")
    ticket.state(ticket.by({**ticket.rules, "reject_above_pct": None}))


def _credit_below(ticket: Ticket) -> None:
    ticket.moisture_pct = D("12.7")
    ticket.state(ticket.by(_credit(ticket.rules)))


def _credit(rules: dict[str, Any]) -> dict[str, Any]:
    return {**rules, "shrink": {**rules["shrink"], "below_base": "credit"}}


def _whole_points(ticket: Ticket) -> None:
    charge = dict(ticket.rules["drying_charge"])
    rate = charge.pop("per_point_usd_bu")
    bands = [{"above_pct": "15", "step_pct": "1", "per_step_usd_bu": rate}]
    ticket.state(ticket.by({**ticket.rules, "drying_charge": charge | {"bands": bands}}))


def _other_moisture(points: str) -> Callable[[Ticket], None]:
    return lambda ticket: ticket.state(ticket.by(moisture_pct=ticket.moisture_pct + D(points)))


_SHIFTED = [{"above_pct": "15.4", "step_pct": "0.5", "per_step_usd_bu": "0.011"}]

MISTAKES = [
    Mistake("schedule of last month", "drying_charge", _stale, "the schedule from 2025-09-01"),
    Mistake("schedule for other grain", "shrink", _other_grain, "the schedule for grain"),
    _rule("shrunk to the base of the discount", "shrink", "shrink to 15 %", shrink__base_moisture_pct="15"),
    _rule("shrunk to 14 %", "shrink", "", shrink__base_moisture_pct="13.5"),
    _rule("factor of 1.5", "shrink", "shrink of 1.5 % a point", shrink__factor_pct_per_point="1.5"),
    _rule("factor of 1.18", "shrink", "shrink of 1.18 % a point", shrink__factor_pct_per_point="1.18"),
    _rule("factor of 1.2", "shrink", "shrink of 1.2 % a point", shrink__factor_pct_per_point="1.2"),
    _rule("a factor nobody posts", "shrink", "", shrink__factor_pct_per_point="1.43"),
    _rule("twice the handling", "shrink", "0.5 % handling loss", shrink__handling_pct="0.5"),
    _rule("no handling", "shrink", "0 % handling loss", shrink__handling_pct="0"),
    _rule("dry matter instead of the factor", "shrink", "shrink by dry matter",
          shrink__method="dry_matter", shrink__factor_pct_per_point=None),
    _rule("no shrink", "shrink", "no shrink", shrink=None),
    _rule("charge on net bushels", "drying_charge", "drying charged on net bushels", drying_charge__on="net_bu"),
    _rule("charge from 14 %", "drying_charge", "drying charged from 14 %", drying_charge__base_moisture_pct="14"),
    _rule("charge from 15.5 %", "drying_charge", "drying charged from 15.5 %", drying_charge__base_moisture_pct="15.5"),
    Mistake("charge by whole points", "drying_charge", _whole_points, "drying charged by whole points begun"),
    _rule("charge of a cent more", "drying_charge", "", drying_charge__per_point_usd_bu="0.057"),
    _rule("no charge", "drying_charge", "no drying charge", drying_charge=None),
    _rule("moisture up to halves", "shrink", "moisture rounded up to 0.5",
          moisture_rounding={"step_pct": "0.5", "mode": "up"}),
    _rule("moisture to whole points", "shrink", "moisture rounded half up to 1", moisture_rounding={"step_pct": "1"}),
    _rule("moisture cut off", "shrink", "moisture rounded down to 1",
          moisture_rounding={"step_pct": "1", "mode": "down"}),
    _rule("only whole steps", "discount", "moisture discount: only whole steps count", discount=_SHIFTED),
    _rule("no discount", "discount", "no moisture discount", discount=[]),
    _rule("bushels cut off", "net_bushels", "bushels rounded down to 1", rounding__bu={"step": "1", "mode": "down"}),
    _rule("bushels to tenths", "net_bushels", "bushels rounded half up to 0.1", rounding__bu="0.1"),
    _rule("rates to cents", "discount or drying_charge", "rates a bushel rounded to 0.01", rounding__usd_bu="0.01"),
    _rule("every base half a point lower", "shrink", "every base at 14.5 %", base_moisture_pct="14.5",
          shrink__base_moisture_pct="14", drying_charge__base_moisture_pct="14.5",
          discount=[{"above_pct": "14.5", "step_pct": "0.5", "per_step_usd_bu": "0.011"}]),
    Mistake("60 lb to the bushel", "net_bushels", lambda t: t.state(t.by(bushel_lb=D(60))), "bushels of 60 lb"),
    Mistake("moisture a point higher", "shrink", _other_moisture("1")),
    Mistake("moisture of the load before", "shrink", _other_moisture("-2.3")),
    Mistake("tare of another truck", "net_bushels", _with_weights(lambda t: t.gross_lb, lambda t: t.tare_lb + 1740)),
    Mistake("gross in the place of net", "net_bushels", _with_weights(lambda t: t.gross_lb, lambda t: D(0))),
    Mistake("credit below the base", "shrink", _credit_below, "a credit below the base"),
    Mistake("paid although rejected", "amount", _paid_though_rejected),
    _slip("net bushels transposed", "net_bushels", "net_bu", _transposed),
    _slip("shrink transposed", "shrink", "shrink_bu", _transposed),
    _slip("discount transposed", "discount", "moisture_discount_usd", _transposed),
    _slip("charge transposed", "drying_charge", "drying_charge_usd", _transposed),
    _slip("amount transposed", "amount", "net_amount_usd", _transposed),
    _slip("amount a hundred more", "amount", "net_amount_usd", lambda value: value + 100),
    _slip("amount a cent less", "amount", "net_amount_usd", lambda value: value - D("0.01")),
    _slip("discount ten times", "discount", "moisture_discount_usd", lambda value: value * 10 + D("0.10")),
    Mistake("amount by another price", "amount", _other_price),
    _carried("shrink taken twice", "shrink", _of_shrink(lambda t, right: 2 * right.shrink_bu)),
    _carried("shrink in percent for bushels", "shrink", _of_shrink(lambda t, right: _hundredths(right.shrink_pct))),
    _carried("shrink not deducted", "net_bushels", _of_net(lambda t, right: right.wet_bu)),
    _carried("discount on wet bushels", "discount",
             lambda t, right: {"moisture_discount_usd": _cents(right.wet_bu * right.moisture_discount_usd_bu)}),
    _carried("charge taken twice", "drying_charge",
             lambda t, right: {"drying_charge_usd": 2 * right.drying_charge_usd}),
    _carried("discount forgotten in the sum", "amount",
             lambda t, right: {"net_amount_usd": right.net_amount_usd + right.moisture_discount_usd}),
    _carried("discount added", "amount",
             lambda t, right: {"net_amount_usd": right.net_amount_usd + 2 * right.moisture_discount_usd}),
    _carried("charge deducted twice in the sum", "amount",
             lambda t, right: {"net_amount_usd": right.net_amount_usd - right.drying_charge_usd}),
]  # fmt: skip


def plant(tickets: list[Ticket], each: int, seed: int = 7) -> Iterator[tuple[Mistake, Ticket]]:
    """So many of every mistake, on tickets of sold grain wet enough for it to show, never two on one."""
    random = np.random.default_rng(seed)
    order = iter(random.permutation(len(tickets)))
    for mistake in MISTAKES:
        planted = 0
        while planted < each:
            ticket = tickets[next(order)]
            if not ticket.sold or ticket.moisture_pct < D("16.6"):
                continue
            before = dict(ticket.stated), ticket.moisture_pct
            mistake.make(ticket)
            if ticket.stated == before[0] and ticket.moisture_pct == before[1]:
                continue
            ticket.mistake = mistake.name
            planted += 1
            yield mistake, ticket
