"""Fuel, energy for the water removed and drying cost, against published figures."""

import math

import numpy as np
import pint
import pytest

from dryrecords.grain import energy
from dryrecords.grain.batch import BatchInputs, batch_figures
from dryrecords.grain.crops import CROPS, POUND_KG
from dryrecords.grain.volume import GALLON_M3

UNITS = pint.UnitRegistry()
BTU_PER_LB = energy.BTU_J / POUND_KG

# gallons a point and wet bushel, Btu a pound of water, corn 25 to 15 % on 91,500 Btu/gal: computed for the
# comparison of wet and dry bushels; common practice, no source
ENERGY_PER_WATER = [(0.015, 2083), (0.018, 2500), (0.019, 2639), (0.020, 2778), (0.022, 3055), (0.025, 3472)]

# moisture in, out, pounds of water a wet bushel of corn: dry-matter balance (North Dakota State University form)
WATER_PER_BUSHEL = [(25.0, 15.0, 6.588), (20.0, 15.0, 3.294), (23.0, 15.0, 5.271), (25.5, 15.5, 6.627)]


def _dried(bushels=1.0, m_in=25.0, m_out=15.0, **fields):
    inputs = BatchInputs(
        crop=np.array(["corn"]),
        wet_mass_kg=bushels * CROPS["corn"].bushel_kg,
        moisture_in_pct=m_in,
        moisture_out_pct=m_out,
        handling_pct=0.0,
        base_moisture_pct=15.0,
        **fields,
    )
    return {name: float(x[0]) for name, x in batch_figures(inputs).values.items()}


@pytest.mark.parametrize(
    ("ours", "unit"),
    [
        (energy.BTU_J, "Btu_it"),
        (energy.KWH_J, "kilowatt_hour"),
        (energy.HORSEPOWER_W, "horsepower"),
    ],
)
def test_unit_is_that_of_an_independent_library(ours, unit):
    assert ours == pytest.approx(UNITS.Quantity(1.0, unit).to_base_units().magnitude, rel=1e-12)


def test_therm_is_the_published_one():
    # UN/CEFACT Recommendation 20, N71 therm (EC): 1.05506e8 J; a therm (US), N72, is 1.054804e8 J and differs
    assert pytest.approx(1.05506e8, abs=5e2) == energy.THERM_J
    assert pytest.approx(1.054804e8, abs=5e3) != energy.THERM_J


def test_kilowatt_hour_in_btu_is_the_published_one():
    # US Energy Information Administration: 3,412 Btu
    assert pytest.approx(3412.0, abs=0.5) == energy.KWH_J / energy.BTU_J


def test_propane_in_si_is_the_published_one():
    # gross 25.3 to 25.5 MJ a litre: NIST-type values, from memory
    assert 25.3e9 < energy.PROPANE_J_PER_M3 < 25.5e9


def test_diesel_in_si_is_the_published_one():
    # gross 38.3 MJ a litre within 1 %: engineering handbooks, from memory
    assert energy.FUELS["diesel"].energy_j_per_m3 == pytest.approx(38.3e9, rel=0.01)


def test_propane_factor_at_40_f_is_the_printed_one():
    # 29 CFR 1910.110(b)(19): F = 1.031 at 40 F; 100 gal, D 42, SG 0.510 printed as 79.8 gal, exact 79.877
    factor, in_table = energy.propane_volume_factor((40.0 - 32.0) / 1.8)
    assert factor == pytest.approx(1.031, abs=1e-12)
    assert in_table
    most_liquid_gal = 100.0 * 42.0 / (0.510 * float(factor) * 100.0)
    assert most_liquid_gal == pytest.approx(79.877, abs=0.0015)
    assert math.floor(most_liquid_gal * 10.0) / 10.0 == 79.8  # the source cuts off, it does not round


def test_propane_factor_is_one_at_60_f():
    factor, _ = energy.propane_volume_factor((60.0 - 32.0) / 1.8)
    assert factor == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(("m_in", "m_out", "pounds"), WATER_PER_BUSHEL)
def test_water_of_a_wet_bushel(m_in, m_out, pounds):
    assert _dried(m_in=m_in, m_out=m_out)["water_removed_kg"] / POUND_KG == pytest.approx(pounds, abs=0.0007)


@pytest.mark.parametrize(("gallons", "btu_per_lb"), ENERGY_PER_WATER)
def test_energy_of_a_pound_of_water(gallons, btu_per_lb):
    fuel = gallons * 10.0 * 91_500.0 * energy.BTU_J
    figures = _dried(fuel_energy_j=fuel, fuel_energy_j_per_m3=91_500.0 * energy.BTU_J / GALLON_M3)
    assert figures["fuel_j_per_kg_water"] / BTU_PER_LB == pytest.approx(btu_per_lb, abs=0.6)
    assert figures["fuel_m3_per_point_bu"] / GALLON_M3 == pytest.approx(gallons, rel=1e-12)


def test_default_use_is_the_published_rule():
    # Iowa State and South Dakota State University: 0.02 gal a point and bushel, so 0.1 gal for 5 points, and
    # 200 gal for each needless point on 10,000 bu
    use, use_u = energy.default_fuel_use(energy.PROPANE_J_PER_M3)
    fields = {"fuel_default_m3_per_point_bu": use, "fuel_energy_j_per_m3": energy.PROPANE_J_PER_M3}
    assert _dried(m_in=20.0, **fields)["fuel_volume_m3"] / GALLON_M3 == pytest.approx(0.1, rel=1e-12)
    one_point = _dried(bushels=10_000.0, m_in=16.0, **fields)
    assert one_point["fuel_volume_m3"] / GALLON_M3 == pytest.approx(200.0, rel=1e-12)
    # the published range 0.015 to 0.025 as the half-width of a rectangle
    assert use_u * math.sqrt(3.0) / GALLON_M3 == pytest.approx(0.005, rel=1e-12)


def test_cost_rule_is_the_published_one():
    # North Dakota State University, Hellevang: price x 0.022 a bushel and point; $1.90 gives 4.2 cents, ten points
    # 42 cents; 120 bu, ten points, $1: $26
    per_m3 = energy.PROPANE_J_PER_M3
    fields = {"fuel_default_m3_per_point_bu": 0.022 * GALLON_M3, "fuel_energy_j_per_m3": per_m3}
    for price, bushels, m_in, usd, tolerance in [
        (1.90, 1.0, 16.0, 0.042, 0.0005),
        (1.90, 1.0, 25.0, 0.42, 0.005),
        (1.00, 120.0, 25.0, 26.0, 0.5),
    ]:
        per_j = price / (GALLON_M3 * per_m3)
        figures = _dried(bushels=bushels, m_in=m_in, price_fuel_usd_per_j=per_j, **fields)
        assert figures["cost_fuel_usd"] == pytest.approx(usd, abs=tolerance)


def test_drying_systems_cost_what_is_printed():
    # Midwest Plan Service via an extension report, 25.5 to 15.5 %, 100 bu, $2.50 a gallon, $0.10 a kWh:
    # 20 gal and 10 kWh $51; 14.5 and 7 $37; 8 and 90 $29
    per_m3 = energy.PROPANE_J_PER_M3
    for gallons, kwh, usd in [(20.0, 10.0, 51.0), (14.5, 7.0, 37.0), (8.0, 90.0, 29.0)]:
        figures = _dried(
            bushels=100.0,
            m_in=25.5,
            m_out=15.5,
            fuel_energy_j=gallons * GALLON_M3 * per_m3,
            fuel_energy_j_per_m3=per_m3,
            electricity_kwh=kwh,
            price_fuel_usd_per_j=2.50 / (GALLON_M3 * per_m3),
            price_electricity_usd_per_kwh=0.10,
        )
        assert figures["cost_total_usd"] == pytest.approx(usd, abs=0.06)
        assert figures["cost_usd_per_point_bu"] == pytest.approx(usd / 1000.0, abs=0.0001)


def test_gas_equivalent_of_a_press_text_is_three_orders_too_high():
    # a South Dakota State press text prints 1840 cubic feet of gas a bushel and point; 0.02 gal are 1,830 Btu
    btu = 0.02 * GALLON_M3 * energy.PROPANE_J_PER_M3 / energy.BTU_J
    assert btu == pytest.approx(1840.0, rel=0.01)
    assert btu / 1000.0 == pytest.approx(1.83, abs=0.005)  # cubic feet, at a nominal 1,000 Btu


def test_measured_case_lies_outside_its_own_range():
    # Iowa State University PM 3063C: 150 gal for 1,000 bu from 23 to 15 % is 0.019, inside 0.015-0.022; its
    # 75 gal from 18 to 15 % are 0.025, outside
    per_m3 = energy.PROPANE_J_PER_M3
    uses = [
        _dried(1000.0, m_in, fuel_energy_j=gal * GALLON_M3 * per_m3, fuel_energy_j_per_m3=per_m3)[
            "fuel_m3_per_point_bu"
        ]
        / GALLON_M3
        for m_in, gal in ((23.0, 150.0), (18.0, 75.0))
    ]
    assert uses[0] == pytest.approx(0.019, abs=0.0005)
    assert uses[1] == pytest.approx(0.025, abs=1e-9)
