"""What a schedule may say: each way to contradict itself is refused with a pointer; what is stored reads back equal."""

import json
from decimal import Decimal

import pytest
from hypothesis import given

from dryrecords.core.errors import FieldError
from dryrecords.settlement.rules import RulesInvalid, canonical, rules_of
from tests.settlement.invented import documents

BASE = {"base_moisture_pct": "15"}


def band(above, up_to=None, step="0.5", **amount):
    return {"above_pct": above, "up_to_pct": up_to, "step_pct": step} | (amount or {"per_step_usd_bu": "0.02"})


def charge(**said):
    return BASE | {"drying_charge": {"on": "wet_bu"} | said}


REFUSED = [
    ([], "", "not_an_object"),
    ("{}", "", "not_an_object"),
    ({}, "/base_moisture_pct", "required"),
    ({"base_moisture_pct": None}, "/base_moisture_pct", "required"),
    ({"base_moisture_pct": "40.001"}, "/base_moisture_pct", "out_of_range"),
    ({"base_moisture_pct": "-1"}, "/base_moisture_pct", "out_of_range"),
    ({"base_moisture_pct": "15.0001"}, "/base_moisture_pct", "too_exact"),
    ({"base_moisture_pct": "1e1"}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": "١٥"}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": "15 "}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": True}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": ["15"]}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": float("nan")}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": float("inf")}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": Decimal("NaN")}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": Decimal("Infinity")}, "/base_moisture_pct", "not_exact"),
    ({"base_moisture_pct": Decimal("1e400")}, "/base_moisture_pct", "out_of_range"),
    ({"base_moisture_pct": 10**400}, "/base_moisture_pct", "out_of_range"),
    ({"base_moisture_pct": 15.12345}, "/base_moisture_pct", "too_exact"),
    (BASE | {"discounts": []}, "/discounts", "unknown"),
    (BASE | {"a/b~c": 1}, "/a~1b~0c", "unknown"),
    (BASE | {"reject_above_pct": "15"}, "/reject_above_pct", "not_above_base"),
    (BASE | {"moisture_rounding": "0.1"}, "/moisture_rounding", "not_an_object"),
    (BASE | {"moisture_rounding": {"step_pct": "0"}}, "/moisture_rounding/step_pct", "out_of_range"),
    (BASE | {"moisture_rounding": {"mode": "up"}}, "/moisture_rounding/step_pct", "required"),
    (BASE | {"moisture_rounding": {"step_pct": "0.1", "mode": "near"}}, "/moisture_rounding/mode", "not_a_choice"),
    (BASE | {"moisture_rounding": {"step_pct": "0.1", "mode": ["up"]}}, "/moisture_rounding/mode", "not_a_choice"),
    (BASE | {"moisture_rounding": {"step_pct": "0.1", "to": 1}}, "/moisture_rounding/to", "unknown"),
    (BASE | {"rounding": {"bu": "0.00001"}}, "/rounding/bu", "out_of_range"),
    (BASE | {"rounding": {"bu": "0.01234"}}, "/rounding/bu", "too_exact"),
    (BASE | {"rounding": {"usd": "0.001"}}, "/rounding/usd", "out_of_range"),
    (BASE | {"rounding": {"usd": {"mode": "up"}}}, "/rounding/usd/step", "required"),
    (BASE | {"rounding": {"usd": {"step": "0.01", "mode": "near"}}}, "/rounding/usd/mode", "not_a_choice"),
    (BASE | {"rounding": {"usd": {"step": "0.01", "how": "up"}}}, "/rounding/usd/how", "unknown"),
    (BASE | {"rounding": {"cents": "1"}}, "/rounding/cents", "unknown"),
    (BASE | {"shrink": {"factor_pct_per_point": "1.4"}}, "/shrink/method", "not_a_choice"),
    (BASE | {"shrink": {"method": "factor"}}, "/shrink/factor_pct_per_point", "factor_or_dry_matter"),
    (
        BASE | {"shrink": {"method": "dry_matter", "factor_pct_per_point": "1.18"}},
        "/shrink/factor_pct_per_point",
        "factor_or_dry_matter",
    ),
    (BASE | {"shrink": {"method": "dry_matter", "below_base": "some"}}, "/shrink/below_base", "not_a_choice"),
    (BASE | {"shrink": {"method": "dry_matter", "handling_pct": "10.1"}}, "/shrink/handling_pct", "out_of_range"),
    (
        BASE | {"shrink": {"method": "dry_matter", "base_moisture_pct": "16"}, "reject_above_pct": "15.5"},
        "/reject_above_pct",
        "not_above_base",
    ),
    (BASE | {"discount": {}}, "/discount", "not_a_list"),
    (BASE | {"discount": "15"}, "/discount", "not_a_list"),
    (BASE | {"discount": ["15"]}, "/discount/0", "not_an_object"),
    (BASE | {"discount": [{"step_pct": "1", "per_step_usd_bu": "1"}]}, "/discount/0/above_pct", "required"),
    (BASE | {"discount": [band("15", step=None)]}, "/discount/0/step_pct", "required"),
    (BASE | {"discount": [band("15", per_step_usd_bu=None)]}, "/discount/0", "amount_a_step"),
    (
        BASE | {"discount": [band("15", per_step_usd_bu="0.1", per_step_pct_of_price="1")]},
        "/discount/0",
        "amount_a_step",
    ),
    (BASE | {"discount": [band("15", per_step="0.1")]}, "/discount/0/per_step", "unknown"),
    (BASE | {"discount": [band("14.9")]}, "/discount/0/above_pct", "below_base"),
    (BASE | {"discount": [band("15", "15"), band("15")]}, "/discount/0/up_to_pct", "not_above"),
    (BASE | {"discount": [band("15", "16.2"), band("16.2")]}, "/discount/0/step_pct", "not_divided"),
    (BASE | {"discount": [band("15", "16"), band("16.1")]}, "/discount/1/above_pct", "gap"),
    (BASE | {"discount": [band("15", "16"), band("15.5")]}, "/discount/1/above_pct", "overlap"),
    (BASE | {"discount": [band("15"), band("16")]}, "/discount/1/above_pct", "overlap"),
    (BASE | {"discount": [band("15", "16")]}, "/discount/0/up_to_pct", "gap"),
    (BASE | {"discount": [band("15", "16")], "reject_above_pct": "16.5"}, "/discount/0/up_to_pct", "gap"),
    (
        BASE | {"discount": [band("15", "16"), band("16")], "reject_above_pct": "16"},
        "/discount/1/above_pct",
        "never_reached",
    ),
    (BASE | {"discount": [band("15", step="0.001", per_step_usd_bu="1")]}, "/discount", "too_steep"),
    (BASE | {"discount": [band("15", step="0.1", per_step_pct_of_price="12")]}, "/discount", "too_steep"),
    (charge(), "/drying_charge", "point_or_bands"),
    (charge(bands=[]), "/drying_charge", "point_or_bands"),
    (charge(bands=[band("15")], per_point_usd_bu="0.04"), "/drying_charge", "point_or_bands"),
    (charge(per_point_usd_bu="0.04", on=None), "/drying_charge/on", "not_a_choice"),
    (charge(per_point_usd_bu="0.04", minimum_usd="2"), "/drying_charge/minimum_usd", "unknown"),
    (charge(bands=[band("15", per_step_pct_of_price="1")]), "/drying_charge/bands/0", "amount_a_step"),
    (charge(bands=[band("15")], base_moisture_pct="15.5"), "/drying_charge/bands/0/above_pct", "below_base"),
    (charge(bands=[band("15", "16"), band("17")]), "/drying_charge/bands/1/above_pct", "gap"),
    (
        charge(per_point_usd_bu="0.04", base_moisture_pct="16") | {"reject_above_pct": "16"},
        "/reject_above_pct",
        "not_above_base",
    ),
]


@pytest.mark.parametrize(("document", "pointer", "code"), REFUSED)
def test_what_contradicts_itself_is_refused(document, pointer, code):
    with pytest.raises(RulesInvalid) as refused:
        rules_of(document)
    assert (pointer, code) in [(error.pointer, error.code) for error in refused.value.errors]
    assert all(isinstance(error, FieldError) and error.detail for error in refused.value.errors)


def test_everything_unreadable_is_told_at_once_and_nothing_that_follows_from_it():
    with pytest.raises(RulesInvalid) as refused:
        rules_of({"base_moisture_pct": "x", "reject_above_pct": "5", "discount": [band("y"), band("1", "2")]})
    assert [error.pointer for error in refused.value.errors] == ["/base_moisture_pct", "/discount/0/above_pct"]


def test_only_the_base_has_to_be_said():
    assert canonical(rules_of({"base_moisture_pct": 15})) == {
        "base_moisture_pct": "15",
        "moisture_rounding": None,
        "shrink": None,
        "discount": [],
        "drying_charge": None,
        "reject_above_pct": None,
        "rounding": {
            "bu": {"step": "0.01", "mode": "half_up"},
            "shrink_pct": {"step": "0.000001", "mode": "half_up"},
            "usd_bu": {"step": "0.0001", "mode": "half_up"},
            "usd": {"step": "0.01", "mode": "half_up"},
        },
    }


@pytest.mark.parametrize("written", ["20.00", 20, 20.0, Decimal("2E+1"), Decimal("20.000")])
def test_a_number_may_be_written_in_several_ways(written):
    assert rules_of({"base_moisture_pct": written}) == rules_of({"base_moisture_pct": "20"})
    assert canonical(rules_of({"base_moisture_pct": written}))["base_moisture_pct"] in ("20", "20.00")


def test_a_json_number_is_its_shortest_text():
    # 15.1 as a double is 15.0999999999999996447
    assert rules_of({"base_moisture_pct": 15.1}).base_moisture_pct == Decimal("15.1")


def test_money_keeps_the_decimals_it_is_rounded_to():
    assert canonical(rules_of(BASE | {"rounding": {"usd": "0.10"}}))["rounding"]["usd"]["step"] == "0.10"


@given(documents())
def test_what_is_stored_reads_back_equal(document):
    rules = rules_of(document)
    stored = json.loads(json.dumps(canonical(rules)))
    assert rules_of(stored) == rules
    assert canonical(rules_of(stored)) == stored
