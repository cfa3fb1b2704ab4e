"""Integers against decimals, and both against a plain reference: equal in every figure of every load."""

from dataclasses import fields
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings

from dryrecords.settlement.fixed_point import INPUT_SCALES, SCALES, settle_many
from dryrecords.settlement.rules import Load, LoadInvalid, rules_of, settle
from tests.settlement.invented import deliveries
from tests.settlement.plain import plain_settlement

FIELDS = dict(zip(INPUT_SCALES, ("gross_lb", "tare_lb", "moisture_pct", "price_usd_bu", "bushel_lb"), strict=True))
TRUCK = {"gross": 8_000_000, "tare": 2_400_000, "moisture": 20_300, "price": 4_200_000, "bushel": 56_000}
SHRUNK = {"base_moisture_pct": "15", "shrink": {"method": "factor", "factor_pct_per_point": "1.4"}}


def integers(many):
    return {name: np.array([int(load[field] * INPUT_SCALES[name]) for load in many]) for name, field in FIELDS.items()}


@settings(max_examples=150, deadline=None)
@given(deliveries())
def test_all_three_agree_on_every_figure(delivered):
    document, many = delivered
    rules = rules_of(document)
    settled = settle_many(rules, **integers(many))
    for number, load in enumerate(many):
        expected = plain_settlement(document, load)
        one = settle(rules, Load(**load))
        assert {name: getattr(one, name) for name in expected} == expected
        assert {name: settled.decimal(name, number) for name in SCALES} == {name: expected[name] for name in SCALES}
        assert settled.rejected[number] == expected["rejected"]


# Each at its bound, so that what is multiplied is as large as it ever gets; the credit makes net bushels of 300 %.
STEEPEST = {
    "base_moisture_pct": "0.001",
    "discount": [
        {"above_pct": "0.001", "up_to_pct": "0.101", "step_pct": "0.001", "per_step_usd_bu": "10"},
        {"above_pct": "0.101", "step_pct": "0.001", "per_step_pct_of_price": "0.1001"},
    ],
    "drying_charge": {"base_moisture_pct": "0", "per_point_usd_bu": "10", "on": "wet_bu", "minimum_usd_bu": "100"},
}
EXPANDED = {
    "base_moisture_pct": "40",
    "shrink": {"method": "factor", "factor_pct_per_point": "5", "below_base": "credit", "handling_pct": "10"},
}
DRIED = {"base_moisture_pct": "40", "shrink": {"method": "dry_matter", "below_base": "credit", "handling_pct": "10"}}


@pytest.mark.parametrize("mode", ["half_up", "half_even", "up", "down"])
@pytest.mark.parametrize("coarse", [False, True])
@pytest.mark.parametrize("document", [STEEPEST, EXPANDED, DRIED])
def test_nothing_overflows_at_the_bounds(document, coarse, mode):
    finest = {"bu": "0.0001", "shrink_pct": "0.000001", "usd_bu": "0.000001", "usd": "0.01"}
    rounding = {name: {"step": "1" if coarse else step, "mode": mode} for name, step in finest.items()}
    document = document | {"rounding": rounding}
    many = [
        {
            "gross_lb": Decimal("10000000"),
            "tare_lb": Decimal(0),
            "moisture_pct": Decimal(moisture),
            "price_usd_bu": Decimal(price),
            "bushel_lb": Decimal(bushel),
        }
        for moisture in ("0", "0.002", "50", "99.999")
        for price in ("999.999999", "1000")
        for bushel in ("10", "10.001")
    ]
    with np.errstate(all="raise"):
        settled = settle_many(rules_of(document), **integers(many))
    for number, load in enumerate(many):
        expected = plain_settlement(document, load)
        assert {name: settled.decimal(name, number) for name in SCALES} == {name: expected[name] for name in SCALES}


@pytest.mark.parametrize(
    ("name", "value", "pointer"),
    [
        ("gross", 1_000_000_001, "/gross_lb/1"),
        ("tare", -1, "/tare_lb/1"),
        ("moisture", 100_000, "/moisture_pct/1"),
        ("price", 1_000_000_001, "/price_usd_bu/1"),
        ("bushel", 9_999, "/bushel_lb/1"),
        ("bushel", 200_001, "/bushel_lb/1"),
        ("tare", 8_000_001, "/tare_lb/1"),
    ],
)
def test_a_load_out_of_bounds_is_named(name, value, pointer):
    with pytest.raises(LoadInvalid) as refused:
        settle_many(rules_of(SHRUNK), **(TRUCK | {name: np.array([TRUCK[name], value])}))
    assert [error.pointer for error in refused.value.errors] == [pointer]


def test_floats_are_refused():
    with pytest.raises(TypeError, match="moisture_pct"):
        settle_many(rules_of(SHRUNK), **(TRUCK | {"moisture": np.array([20.3])}))


def test_a_table_of_loads_is_refused():
    with pytest.raises(ValueError, match="row"):
        settle_many(rules_of(SHRUNK), **(TRUCK | {"moisture": np.array([[20_300]])}))


def test_a_part_of_a_price_needs_one():
    band = {"above_pct": "15", "step_pct": "1", "per_step_pct_of_price": "2"}
    rules = rules_of({"base_moisture_pct": "15", "discount": [band]})
    with pytest.raises(LoadInvalid):
        settle_many(rules, **(TRUCK | {"price": None}))


def test_without_a_price_nothing_is_sold():
    settled = settle_many(rules_of(SHRUNK), **(TRUCK | {"price": None}))
    assert (settled.decimal("net_bu", 0), settled.gross_usd[0]) == (Decimal("925.80"), 0)


def test_no_loads_are_no_settlements():
    settled = settle_many(rules_of(SHRUNK), **(TRUCK | {"moisture": np.array([], int)}))
    assert {getattr(settled, field.name).size for field in fields(settled)} == {0}


def test_loads_beyond_one_handful_settle_alike():
    count = 40_000
    settled = settle_many(rules_of(SHRUNK), **(TRUCK | {"moisture": 10_000 + np.arange(count) % 20_000}))
    again = settle_many(rules_of(SHRUNK), **(TRUCK | {"moisture": 10_000 + np.arange(20_000)}))
    assert (settled.net_bu == np.tile(again.net_bu, 2)).all()
