"""Wet against dry on an invented load, worked out by hand; the published comparison is in tests/reference."""

from dataclasses import replace
from decimal import Decimal

import pytest

from dryrecords.season import cautions
from dryrecords.settlement.rules import Load, LoadInvalid, rules_of
from dryrecords.settlement.wet_or_dry import OwnDrying, wet_or_dry

D = Decimal
RULES = rules_of(
    {
        "base_moisture_pct": "15",
        "shrink": {"method": "factor", "factor_pct_per_point": "1.4"},
        "drying_charge": {"per_point_usd_bu": "0.05", "on": "wet_bu"},
    }
)
LOAD = Load(D(80000), D(24000), D(20), D("4.00"), D(56))
OWN = OwnDrying(
    target_moisture_pct=D(15),
    gas_gal_per_point_bu=D("0.02"),
    gas_usd_gal=D("1.80"),
    handling_pct=D("0.5"),
    electricity_kwh_per_point_bu=D("0.01"),
    electricity_usd_kwh=D("0.12"),
    labor_h=D("1.5"),
    labor_usd_h=D(20),
    dryer_h=D("2.5"),
)


def test_every_figure_of_a_comparison():
    both = wet_or_dry(RULES, LOAD, OWN)
    # wet: 930 bu at $4 less $0.25 on 1,000 bu; dry: 1,000 x 80 / 85 - 5 = 936.18 bu at $4
    assert (both.wet_usd, both.dry.net_bu, both.dry.net_amount_usd) == (3470, D("936.18"), D("3744.72"))
    assert (both.points_removed, both.gas_gal, both.gas_usd) == (5, 100, 180)
    assert (both.electricity_kwh, both.electricity_usd, both.labor_usd) == (50, 6, 30)
    assert (both.dry_usd, both.gain_usd) == (D("3528.72"), D("58.72"))
    assert (both.wet_usd_per_wet_bu, both.dry_usd_per_wet_bu, both.gain_usd_per_wet_bu) == (
        D("3.47"),
        D("3.5287"),
        D("0.0587"),
    )
    # 238.72 dollars are left for 100 gallons
    assert both.break_even_gas_usd_gal == D("2.387")
    assert both.gain_usd_per_dryer_h == D("23.49")


def test_both_ways_are_equal_at_the_gas_price_that_breaks_even():
    price = wet_or_dry(RULES, LOAD, OWN).break_even_gas_usd_gal
    # half a tenth of a cent on each of 100 gallons
    assert abs(wet_or_dry(RULES, LOAD, replace(OWN, gas_usd_gal=price)).gain_usd) <= D("0.05")


def test_what_is_not_given_does_not_count():
    both = wet_or_dry(RULES, LOAD, OwnDrying(D(15), D("0.02"), D("1.80")))
    assert (both.electricity_usd, both.labor_usd, both.gain_usd_per_dryer_h) == (0, 0, None)
    assert both.dry.net_bu == D("941.18")


def test_without_gas_no_price_of_it_breaks_even():
    assert wet_or_dry(RULES, LOAD, replace(OWN, gas_gal_per_point_bu=D(0))).break_even_gas_usd_gal is None


def test_a_load_nobody_buys_wet_brings_nothing_wet():
    rules = rules_of({"base_moisture_pct": "15", "reject_above_pct": "18"})
    both = wet_or_dry(rules, LOAD, OWN)
    assert (both.wet.rejected, both.wet_usd, both.dry.rejected) == (True, 0, False)


def test_whoever_dries_is_warned():
    assert wet_or_dry(RULES, LOAD, OWN).cautions == cautions.FORECAST


@pytest.mark.parametrize(
    ("load", "own", "pointer", "code"),
    [
        (replace(LOAD, moisture_pct=D(15)), OWN, "/target_moisture_pct", "nothing_to_dry"),
        (replace(LOAD, price_usd_bu=None), OWN, "/price_usd_bu", "required"),
        (replace(LOAD, tare_lb=D(80000)), OWN, "/gross_lb", "nothing_there"),
        (LOAD, replace(OWN, gas_usd_gal=D(-1)), "/gas_usd_gal", "out_of_range"),
        (LOAD, replace(OWN, dryer_h=D("0.00001")), "/dryer_h", "too_exact"),
        (replace(LOAD, gross_lb=D("1e8")), OWN, "/gross_lb", "out_of_range"),
    ],
)
def test_what_cannot_be_compared_is_refused(load, own, pointer, code):
    with pytest.raises(LoadInvalid) as refused:
        wet_or_dry(RULES, load, own)
    assert [(error.pointer, error.code) for error in refused.value.errors] == [(pointer, code)]
