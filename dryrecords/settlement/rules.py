"""What a load is paid by the rules of a schedule: exact decimals, each rounding at its place, no clock and no database.

The order of operations. `round_x` is the rounding the schedule names for x; nothing else is rounded, and no product or
quotient is rounded twice.

 1. net_lb             gross_lb - tare_lb
 2. wet_bu             round_bu(net_lb / bushel_lb)
 3. moisture_used_pct  rounded as moisture_rounding says, or the moisture as measured; everything below uses it
 4. rejected           moisture_used_pct > reject_above_pct: nothing is bought, and what follows is zero
 5. shrink_pct         round_shrink_pct(factor x points + handling), or of the dry-matter quotient (terms.Shrink)
 6. shrink_bu          round_bu(wet_bu x shrink_pct / 100); net_bu is wet_bu - shrink_bu, not rounded again
 7. moisture discount  a bushel: round_usd_bu(dollars of all steps begun + price x percent of all steps begun / 100);
                       in all: round_usd(net_bu x that rate). It lowers the price of every bushel that is paid for,
                       which are all wet bushels where a schedule has no shrink.
 8. drying charge      a bushel: round_usd_bu(the greater of the minimum and points x rate, or all steps begun), only
                       above its own base; in all: round_usd(wet_bu or net_bu x that rate)
 9. gross_usd          round_usd(net_bu x price); zero without a price, as for grain that is only stored
10. net_amount_usd     gross_usd - moisture discount - drying charge, not rounded again; below zero it is owed

Amounts of several loads are added after they are rounded.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from dryrecords.core.errors import FieldError, Invalid
from dryrecords.settlement import bounds
from dryrecords.settlement.document import RulesInvalid, canonical, rules_of
from dryrecords.settlement.terms import HUNDRED, ZERO, Rounding, Rules

__all__ = [
    "Line",
    "Load",
    "LoadInvalid",
    "Rules",
    "RulesInvalid",
    "Settlement",
    "TableRow",
    "canonical",
    "rules_of",
    "settle",
    "table",
]

# A schedule without a rejection limit is shown for so many points above its base.
_POINTS_SHOWN = Decimal(15)
_SHOWN_STEP_PCT = Decimal("0.1")
_SHOWN_LB = Rounding(Decimal("0.01"))


class LoadInvalid(Invalid):
    """A load that cannot be settled: impossible, larger or more exact than anything weighed, or without a price."""

    code = "load_invalid"
    title = "This load cannot be settled."


@dataclass(frozen=True)
class Load:
    """One delivery as it was weighed and measured. Without a price nothing is sold."""

    gross_lb: Decimal
    tare_lb: Decimal
    moisture_pct: Decimal
    price_usd_bu: Decimal | None
    bushel_lb: Decimal


@dataclass(frozen=True)
class Line:
    """One step of a settlement, as a person reads it: how much of what, at which rate, is how many dollars."""

    what: str
    quantity: Decimal
    rate: Decimal | None = None
    usd: Decimal | None = None


@dataclass(frozen=True)
class Settlement:
    """What a load comes to. Deductions are positive; only in `lines` they carry the sign they are booked with."""

    wet_bu: Decimal
    moisture_used_pct: Decimal
    shrink_pct: Decimal
    shrink_bu: Decimal
    net_bu: Decimal
    moisture_discount_usd_bu: Decimal
    moisture_discount_usd: Decimal
    drying_charge_usd_bu: Decimal
    drying_charge_usd: Decimal
    gross_usd: Decimal
    net_amount_usd: Decimal
    rejected: bool
    lines: tuple[Line, ...]


def settle(rules: Rules, load: Load) -> Settlement:
    """A load by the rules, in the order that is written above. LoadInvalid where it cannot be settled."""
    _check(rules, load)
    to, price = rules.rounding, load.price_usd_bu or ZERO
    wet_bu = to.bu.of(load.gross_lb - load.tare_lb, load.bushel_lb)
    moisture = rules.moisture_used_pct(load.moisture_pct)
    if rules.rejects(moisture):
        return _rejected(rules, wet_bu, moisture)

    shrink_pct = rules.shrink_pct(moisture)
    shrink_bu = to.bu.of(wet_bu * shrink_pct, HUNDRED)
    net_bu = wet_bu - shrink_bu

    usd_bu, of_price = rules.discount_parts(moisture)
    discount_usd_bu = to.usd_bu.of(usd_bu * HUNDRED + price * of_price, HUNDRED)
    discount_usd = to.usd.of(net_bu * discount_usd_bu)

    drying_usd_bu = rules.drying_usd_bu(moisture)
    on_net = rules.drying_charge is not None and rules.drying_charge.on == "net_bu"
    dried_bu = net_bu if on_net else wet_bu
    drying_usd = to.usd.of(dried_bu * drying_usd_bu)

    gross_usd = to.usd.of(net_bu * price)
    lines = [Line("wet bushels", wet_bu), Line("net bushels", net_bu, load.price_usd_bu, gross_usd)]
    if shrink_pct:
        lines.insert(1, Line("shrink", -shrink_bu, shrink_pct))
    if discount_usd_bu:
        lines.append(Line("moisture discount", net_bu, -discount_usd_bu, -discount_usd))
    if drying_usd_bu:
        dried = f"drying charge on {'net' if on_net else 'wet'} bushels"
        lines.append(Line(dried, dried_bu, -drying_usd_bu, -drying_usd))
    return Settlement(
        wet_bu=wet_bu,
        moisture_used_pct=moisture,
        shrink_pct=shrink_pct,
        shrink_bu=shrink_bu,
        net_bu=net_bu,
        moisture_discount_usd_bu=discount_usd_bu,
        moisture_discount_usd=discount_usd,
        drying_charge_usd_bu=drying_usd_bu,
        drying_charge_usd=drying_usd,
        gross_usd=gross_usd,
        net_amount_usd=gross_usd - discount_usd - drying_usd,
        rejected=False,
        lines=tuple(lines),
    )


def _rejected(rules: Rules, wet_bu: Decimal, moisture: Decimal) -> Settlement:
    to = rules.rounding
    no_bu, no_rate, no_usd = to.bu.of(ZERO), to.usd_bu.of(ZERO), to.usd.of(ZERO)
    return Settlement(
        wet_bu=wet_bu,
        moisture_used_pct=moisture,
        shrink_pct=to.shrink_pct.of(ZERO),
        shrink_bu=no_bu,
        net_bu=no_bu,
        moisture_discount_usd_bu=no_rate,
        moisture_discount_usd=no_usd,
        drying_charge_usd_bu=no_rate,
        drying_charge_usd=no_usd,
        gross_usd=no_usd,
        net_amount_usd=no_usd,
        rejected=True,
        lines=(Line("rejected for moisture", wet_bu),),
    )


def _check(rules: Rules, load: Load) -> None:
    problems = list(_problems(rules, load))
    if problems:
        raise LoadInvalid(errors=problems)


def _problems(rules: Rules, load: Load) -> Iterator[FieldError]:
    figures = {
        "gross_lb": (load.gross_lb, bounds.WEIGHT_LB),
        "tare_lb": (load.tare_lb, bounds.WEIGHT_LB),
        "moisture_pct": (load.moisture_pct, bounds.MOISTURE_PCT),
        "bushel_lb": (load.bushel_lb, bounds.BUSHEL_LB),
    }
    if load.price_usd_bu is not None:
        figures["price_usd_bu"] = (load.price_usd_bu, bounds.PRICE_USD_BU)
    elif rules.needs_price:
        yield FieldError("/price_usd_bu", "required", "A discount of this schedule is a part of the price.")
    wrong = [problem for name, (value, bound) in figures.items() if (problem := bound.problem(f"/{name}", value))]
    yield from wrong
    if not wrong and load.tare_lb > load.gross_lb:
        yield FieldError("/tare_lb", "above_gross", "The empty truck cannot weigh more than the full one.")


@dataclass(frozen=True)
class TableRow:
    """What a schedule says at one moisture. `lb_per_net_bu`: pounds as delivered for a bushel paid; None if none is."""

    moisture_pct: Decimal
    shrink_pct: Decimal
    discount_usd_bu: Decimal
    discount_pct_of_price: Decimal
    drying_charge_usd_bu: Decimal
    lb_per_net_bu: Decimal | None


def table(
    rules: Rules, bushel_lb: Decimal, *, step_pct: Decimal | None = None, up_to_pct: Decimal | None = None
) -> list[TableRow]:
    """The schedule's own table, from its lowest base to the rejection limit, or 15 points up where there is none.

    A row for each step to which moisture is rounded, but at least a tenth of a point apart, unless told otherwise.
    """
    bases = [rules.base_moisture_pct] + [part.base_moisture_pct for part in (rules.shrink, rules.drying_charge) if part]
    end = up_to_pct or rules.reject_above_pct or min(max(bases) + _POINTS_SHOWN, bounds.MOISTURE_PCT.highest)
    own = rules.moisture_rounding.step if rules.moisture_rounding else ZERO
    step = step_pct or max(own, _SHOWN_STEP_PCT)
    begin = min(bases)
    return [_row(rules, bushel_lb, begin + step * number) for number in range(int((end - begin) // step) + 1)]


def _row(rules: Rules, bushel_lb: Decimal, moisture: Decimal) -> TableRow:
    used = rules.moisture_used_pct(moisture)
    shrink_pct = rules.shrink_pct(used)
    usd_bu, of_price = rules.discount_parts(used)
    kept = HUNDRED - shrink_pct
    return TableRow(
        moisture_pct=moisture,
        shrink_pct=shrink_pct,
        discount_usd_bu=rules.rounding.usd_bu.of(usd_bu),
        discount_pct_of_price=of_price,
        drying_charge_usd_bu=rules.drying_usd_bu(used),
        lb_per_net_bu=_SHOWN_LB.of(bushel_lb * HUNDRED, kept) if kept > 0 else None,
    )
