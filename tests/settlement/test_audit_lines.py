"""One ticket at a time: which line is the cause, what only follows, what it makes of the amount."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from dryrecords.settlement.models import Finding
from tests import factories
from tests.settlement import audited
from tests.settlement.planted import FIRST, STATED, Ticket, schedule

pytestmark = pytest.mark.django_db
D = Decimal

# 52,360 lb at 20.3 %: 935 wet bu; 1.4 x 5.8 + 0.25 = 8.37 %, 78.26 bu; 856.74 bu at 4.20 is 3,598.31;
# 11 half points at 1.1 cents, 0.121, is 103.67; 0.047 x 5.3 = 0.2491 on 935 is 232.91.
RIGHT = {
    "net_bu": D("856.74"),
    "shrink_bu": D("78.26"),
    "moisture_discount_usd": D("103.67"),
    "drying_charge_usd": D("232.91"),
    "net_amount_usd": D("3261.73"),
}


def ticket(**changes: Any) -> Ticket:
    given = {"number": "1", "delivered_at": FIRST, "sold": True, "gross_lb": D(79_860), "tare_lb": D(27_500)}
    given |= {"moisture_pct": D("20.3"), "price_usd_bu": D("4.20"), "stated": dict(RIGHT)}
    return Ticket(**given | changes)


def found(of: Ticket, **rules: Any) -> dict[str, Finding]:
    by = factories.access()
    factories.schedule(by, rules=schedule(**rules), effective_from=FIRST)
    audited.add_tickets(by, [of])
    return {each.kind: each for each in audited.findings(audited.audit(by))}


def causes(found: dict[str, Finding]) -> dict[str, tuple[str, Decimal]]:
    return {kind: (each.consequence_of, each.effect_usd) for kind, each in found.items()}


def test_by_hand() -> None:
    settled = ticket().by(schedule())
    assert {name: getattr(settled, name) for name in STATED} == RIGHT
    assert found(ticket()) == {}


def test_wrong_shrink_is_one_cause() -> None:
    # Five bushels more shrink: 851.74 bu, 3,577.31; discount 103.06; the charge is on wet bushels.
    wrong = {"shrink_bu": D("83.26"), "net_bu": D("851.74"), "moisture_discount_usd": D("103.06")}
    wrong |= {"net_amount_usd": D("3241.34")}
    assert causes(found(ticket(stated=RIGHT | wrong))) == {
        "shrink": ("", D("-20.39")),
        "net_bushels": ("shrink", 0),
        "discount": ("shrink", 0),
        "amount": ("shrink", 0),
    }


def test_two_slips_are_two_causes() -> None:
    wrong = {"moisture_discount_usd": D("113.67"), "net_amount_usd": D("3231.73")}
    told = causes(found(ticket(stated=RIGHT | wrong)))
    assert told == {"discount": ("", D("-10")), "amount": ("", D("-20"))}


def test_a_line_that_was_not_carried_on_costs_nothing() -> None:
    told = found(ticket(stated=RIGHT | {"drying_charge_usd": D("332.91")}))
    assert causes(told) == {"drying_charge": ("", 0)}
    assert (told["drying_charge"].expected, told["drying_charge"].stated) == (D("232.91"), D("332.91"))
    assert told["drying_charge"].rule.startswith("0.2491 a bushel at 20.30 %, on 935.00 wet bu, by the schedule")


def test_net_alone_says_what_is_off() -> None:
    stated = {"net_bu": D("846.74"), "net_amount_usd": D("3220.94")}
    told = causes(found(ticket(stated=stated)))
    # 10 bu at 4.20, less the discount on them.
    assert told == {"net_bushels": ("", D("-40.79")), "amount": ("net_bushels", 0)}


def test_grain_stored_has_no_price_and_owes_the_charge() -> None:
    stored = ticket(sold=False, price_usd_bu=None, stated={"net_bu": D("856.74"), "drying_charge_usd": D("232.91")})
    assert found(stored) == {}


def test_sold_without_a_price_no_amount_is_compared() -> None:
    unpriced = ticket(price_usd_bu=None, stated=RIGHT | {"shrink_bu": D("78.27")})
    assert set(found(unpriced)) == {"shrink"}


def test_a_discount_of_the_price_needs_one() -> None:
    of_price = [{"above_pct": "15", "step_pct": "0.5", "per_step_pct_of_price": "0.3"}]
    unpriced = ticket(price_usd_bu=None, stated=RIGHT | {"moisture_discount_usd": D("1")})
    assert found(unpriced, discount=of_price) == {}


def test_rejected_and_paid_is_one_cause() -> None:
    told = found(ticket(moisture_pct=D("28.1")))
    assert {kind for kind, each in told.items() if not each.consequence_of} == {"amount"}
    assert told["amount"].effect_usd == D("3261.73")
    assert "28.10 % is above 28 %: nothing is bought" in told["amount"].rule


@pytest.mark.parametrize(("amount", "small"), [("3261.72", True), ("3261.74", True), ("3261.70", False)])
def test_rounding_by_a_step_is_told_as_such(amount: str, small: bool) -> None:
    told = found(ticket(stated=RIGHT | {"net_amount_usd": D(amount)}))
    assert told["amount"].rule.endswith("rounded otherwise") == small


def test_another_moisture_is_named() -> None:
    other = ticket()
    other.state(other.by(schedule(), moisture_pct=D("21.7")))
    told = found(other)
    assert [kind for kind, each in told.items() if not each.consequence_of] == ["shrink"]
    assert told["shrink"].explanations == ["settled at 21.7 % moisture"]


def test_one_explanation_is_one_cause() -> None:
    other = ticket(moisture_pct=D("20.26"))
    other.state(other.by(schedule(moisture_rounding={"step_pct": "0.5", "mode": "up"})))
    told = found(other)
    assert [kind for kind, each in told.items() if not each.consequence_of] == ["shrink"]
    assert "moisture rounded up to 0.5" in told["shrink"].explanations
    assert sum(each.effect_usd for each in told.values()) == other.stated["net_amount_usd"] - RIGHT["net_amount_usd"]


@pytest.mark.parametrize("on", ["wet_bu", "net_bu"])
def test_a_charge_follows_the_bushels_it_is_on(on: str) -> None:
    other = ticket()
    other.state(other.by(schedule(drying_charge__on=on), bushel_lb=D(60)))
    told = found(other, drying_charge__on=on)
    assert {kind for kind, each in told.items() if not each.consequence_of} == {"net_bushels"}
    assert told["net_bushels"].explanations == ["bushels of 60 lb"]
