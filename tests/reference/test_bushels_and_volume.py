"""Bushels, bins and piles against exact units and published tables."""

import math

import numpy as np
import pint
import pytest

from dryrecords.grain import moisture, volume
from dryrecords.grain.crops import CROPS, POUND_KG, bushel_kg, repose_slope

UNITS = pint.UnitRegistry()
CUBIC_FOOT_M3 = volume.FOOT_M**3

# crop, lb a bushel, bushels a tonne: printed conversion tables of the trade
BUSHELS = [
    ("corn", 56.0, 39.368),
    ("soybean", 60.0, 36.7437),
    ("wheat", 60.0, 36.7437),
    ("sorghum", 56.0, 39.368),
    ("barley", 48.0, 45.9296),
    ("oats", 32.0, 68.8945),
    ("rye", 56.0, 39.368),
    ("flax", 56.0, 39.368),
    ("canola", 50.0, 44.0925),
    ("rough_rice", 45.0, 48.9916),
    ("sunflower", 28.0, 78.7365),
]

# crop, moisture, dry matter and water in a market bushel [lb], as printed by extension services
DRY_MATTER = [("corn", 15.5, 47.3, 8.7), ("soybean", 13.0, 52.2, 7.8), ("wheat", 13.5, 51.9, 8.1)]

# diameter [ft], bushels for each foot of depth from the exact bushel
BUSHELS_PER_FOOT = [(18, 204.48), (24, 363.52), (30, 568.01), (36, 817.93), (48, 1454.10), (60, 2272.02)]

# crop, angle [deg]: Midwest Plan Service table as transcribed
REPOSE = [("corn", 23.0), ("soybean", 25.0), ("wheat", 25.0), ("oats", 28.0), ("barley", 28.0), ("sunflower", 27.0)]


def _bin_bu(diameter_ft, depth_ft):
    area = volume.circle_area_m2(diameter_ft * volume.FOOT_M)
    return volume.level_volume_m3(area, depth_ft * volume.FOOT_M) / volume.BUSHEL_M3


@pytest.mark.parametrize(
    ("ours", "unit"),
    [
        (volume.BUSHEL_M3, "bushel"),
        (volume.GALLON_M3, "gallon"),
        (volume.FOOT_M, "foot"),
        (volume.INCH_M, "inch"),
        (POUND_KG, "pound"),
    ],
)
def test_unit_is_that_of_an_independent_library(ours, unit):
    assert ours == pytest.approx(UNITS.Quantity(1.0, unit).to_base_units().magnitude, rel=1e-14)


def test_bushel_is_the_published_one():
    # UCUM [bu_us] is 2150.42 cubic inches; UN/CEFACT Recommendation 20 prints 3.523907e-2 m3
    assert pytest.approx(3.523907e-2, abs=5e-9) == volume.BUSHEL_M3
    # published as 1.24446 ft3
    assert pytest.approx(1.24446, abs=5e-6) == volume.BUSHEL_M3 / CUBIC_FOOT_M3


def test_iowa_bushels_per_cubic_foot_differ_from_the_exact_bushel():
    # the Iowa Department of Agriculture prints 0.80385, 0.036 % above the exact 0.803564
    exact = CUBIC_FOOT_M3 / volume.BUSHEL_M3
    assert exact == pytest.approx(0.8036, abs=5e-5)
    assert 0.80385 / exact - 1.0 == pytest.approx(0.00036, abs=5e-6)


@pytest.mark.parametrize(("crop", "pounds", "per_tonne"), BUSHELS)
def test_bushels_of_a_tonne_are_the_printed_ones(crop, pounds, per_tonne):
    assert CROPS[crop].bushel_lb == pounds
    assert 1000.0 / bushel_kg(np.array([crop])) == pytest.approx(per_tonne, rel=1e-5)


def test_barley_factor_differs_from_a_printed_one():
    # a trade conversion table prints 0.21772 tonne a bushel for barley: ten times too much
    assert CROPS["barley"].bushel_kg / 1000.0 == pytest.approx(0.021772, abs=5e-7)


@pytest.mark.parametrize(("crop", "moisture_pct", "dry_matter_lb", "water_lb"), DRY_MATTER)
def test_dry_matter_of_a_bushel_is_the_printed_one(crop, moisture_pct, dry_matter_lb, water_lb):
    pounds = CROPS[crop].bushel_lb
    dry = float(moisture.dry_matter_kg(pounds, moisture_pct))
    assert dry == pytest.approx(dry_matter_lb, abs=0.05)
    assert pounds - dry == pytest.approx(water_lb, abs=0.05)


def test_dry_matter_of_a_dairy_column_differs():
    # a dairy column prints 56 x 0.845 = 47.58 lb; the product is 47.32
    assert moisture.dry_matter_kg(56.0, 15.5) == pytest.approx(47.32, abs=1e-9)


@pytest.mark.parametrize(("diameter_ft", "bushels"), BUSHELS_PER_FOOT)
def test_bushels_per_foot_of_depth(diameter_ft, bushels):
    # computed from 2150.42 cubic inches; the published rule 0.7854 D2 h x 0.8036 agrees to 0.01 %
    assert _bin_bu(diameter_ft, 1.0) == pytest.approx(bushels, abs=0.006)
    assert _bin_bu(diameter_ft, 1.0) == pytest.approx(0.7854 * diameter_ft**2 * 0.8036, rel=1e-4)


def test_level_bin_is_the_printed_one():
    # published worked bin: 40 ft across, 30 ft deep, 30,295 bu at 0.8036 bu a cubic foot
    assert _bin_bu(40.0, 30.0) == pytest.approx(30295.0, abs=2.0)


@pytest.mark.parametrize(("crop", "degrees"), REPOSE)
def test_repose_angle_is_the_printed_one(crop, degrees):
    assert repose_slope(np.array([crop])) == pytest.approx(math.tan(math.radians(degrees)), rel=1e-12)


def test_peak_of_a_bin():
    # 24 ft of corn at 23 degrees: 768.1 ft3, 617.2 bu; the rule 0.262 D2 h is printed by the Iowa Department
    # of Agriculture and the University of Minnesota
    slope = repose_slope(np.array("corn"))
    peak = volume.peak_volume_m3(24.0 * volume.FOOT_M, slope)
    assert peak / CUBIC_FOOT_M3 == pytest.approx(768.1, abs=0.05)
    assert peak / volume.BUSHEL_M3 == pytest.approx(617.2, abs=0.05)
    assert peak / CUBIC_FOOT_M3 == pytest.approx(0.262 * 24.0**2 * 12.0 * slope, rel=1e-3)


def test_peak_of_a_bin_by_the_iowa_rule():
    # Iowa Department of Agriculture: peak of dry corn is 0.4 of the radius; 24 ft: 4.8 ft, 581.9 bu at its 0.80385
    cubic_feet = volume.peak_volume_m3(24.0 * volume.FOOT_M, 0.4) / CUBIC_FOOT_M3
    assert cubic_feet * 0.80385 == pytest.approx(581.9, abs=0.06)


def test_test_weight_in_si_is_the_printed_one():
    # rounded bulk densities 721, 772, 618, 579, 412 kg/m3 for 56, 60, 48, 45, 32 lb: D241.4, from memory
    pounds = np.array([56.0, 60.0, 48.0, 45.0, 32.0])
    ours = pounds * volume.TEST_WEIGHT_KG_M3_PER_LB_BU
    assert ours == pytest.approx(np.array([721.0, 772.0, 618.0, 579.0, 412.0]), abs=0.5)
    # one Winchester bushel at its test weight weighs that many pounds, whatever the crop
    assert volume.fill_mass_kg(volume.BUSHEL_M3, ours) / POUND_KG == pytest.approx(pounds, rel=1e-14)
