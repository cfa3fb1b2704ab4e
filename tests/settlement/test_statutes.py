"""Departures of invented schedules from fixed shrink; the figures of the texts themselves are in tests/reference."""

from decimal import Decimal

import pytest

from dryrecords.settlement.rules import rules_of
from dryrecords.settlement.statutes import STATUTES, departure, statutory_shrink_pct

D = Decimal
IOWA, CANADA, INSURER = (STATUTES[key] for key in ("US-IA", "CA", "crop-insurance"))


def rules(shrink, **more):
    return rules_of({"base_moisture_pct": "15", "shrink": shrink} | more)


def factor(pct, **more):
    return {"method": "factor", "factor_pct_per_point": pct} | more


@pytest.mark.parametrize("statute", STATUTES.values(), ids=STATUTES)
def test_every_text_is_cited_and_deferred_to(statute):
    found = departure(rules(factor("1.4")), statute, "corn", D(20))
    assert statute.citation in found.text
    assert "re-read at its current revision" in found.text
    assert "the law as it now reads decides" in found.text


@pytest.mark.parametrize(
    ("shrink", "by", "text"),
    [
        (factor("1.18"), "0", "The two agree."),
        (factor("1.4"), "1.1", "It takes 1.1 more."),
        (factor("1.1"), "-0.4", "It takes 0.4 less."),
        ({"method": "dry_matter"}, "-0.017647", "It takes 0.017647 less."),
        (factor("1.18", below_base="credit"), "0", "The two agree."),
    ],
)
def test_departure_from_a_fixed_rate(shrink, by, text):
    found = departure(rules(shrink), IOWA, "corn", D(20))
    assert (found.departs_by_pct, found.departs) == (D(by), by != "0")
    assert text in found.text


def test_handling_stands_beside_the_rate():
    found = departure(rules(factor("1.18", handling_pct="0.25")), IOWA, "corn", D(20))
    assert (found.applied_pct, found.handling_pct, found.departs) == (D("5.9"), D("0.25"), False)
    assert "0.25 % for handling; " in found.text


def test_handling_that_a_text_forbids_departs_from_it():
    found = departure(rules({"method": "dry_matter", "handling_pct": "0.5"}), CANADA, "wheat", D(20))
    assert (found.rate_departs, found.handling_above_pct, found.departs) == (False, D("0.5"), True)


def test_a_base_below_the_floor_takes_too_much():
    shrink = {"method": "dry_matter", "base_moisture_pct": "13.8"}
    # 3.712297 for 2.923977
    assert departure(rules(shrink), CANADA, "wheat", D(17)).departs_by_pct == D("0.788320")


def test_a_grain_whose_floor_is_unknown_is_said_to_be():
    found = departure(rules({"method": "dry_matter"}), CANADA, "barley", D(17))
    assert not found.departs
    assert "No floor for barley is known here" in found.text


def test_what_the_schedule_rounds_away_is_no_departure():
    found = departure(rules({"method": "dry_matter"}, rounding={"shrink_pct": "0.01"}), CANADA, "wheat", D(17))
    assert (found.departs_by_pct, found.departs) == (D("-0.002941"), False)


def test_nothing_is_shrunk_below_the_base():
    assert statutory_shrink_pct(IOWA, "corn", D(14), D(15)) == 0
    assert departure(rules(factor("1.4", handling_pct="1")), IOWA, "corn", D(15)).departs is False


def test_a_discount_of_the_price_is_no_shrink():
    assert departure(rules(None), IOWA, "corn", D(20)) is None


def test_an_insurer_says_nothing_of_other_crops():
    assert departure(rules(factor("1.2")), INSURER, "wheat", D(20)) is None


def test_an_insurer_counts_whole_tenths_from_a_base_of_its_own():
    assert statutory_shrink_pct(INSURER, "soybean", D("13.19"), D(10)) == D("0.12")
    assert statutory_shrink_pct(INSURER, "corn", D("14.9"), D(10)) == 0
