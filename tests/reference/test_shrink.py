"""Shrink against published tables, worked examples and laws."""

import numpy as np
import pytest

from dryrecords.grain import moisture
from dryrecords.grain.crops import CROPS, POUND_KG

# moisture out, printed factor, tolerance (half a unit of the last printed digit, plus rounding of the source)
FACTORS_PRINTED = [
    # South Dakota State University, Dillivan 2014
    (16.0, 1.190, 0.0006),
    (15.5, 1.183, 0.0006),
    (15.0, 1.176, 0.0006),
    # South Dakota State University, Karki 2020
    (15.5, 1.18, 0.006),
    (15.0, 1.18, 0.006),
    (14.0, 1.16, 0.006),
    (13.0, 1.15, 0.006),
    (12.0, 1.14, 0.006),
    (10.0, 1.11, 0.006),
    # worked load of a Purdue University field guide: 0.01176 a point
    (15.0, 1.176, 0.0006),
    # Iowa Code 203.20: 1.18 % a point is the only lawful moisture rate
    (15.0, 1.18, 0.006),
]

# source, printed value, value by ordinary rounding of the exact factor
FACTORS_MISPRINTED = [
    ("Dillivan 2014, 14.5 %: truncated, not rounded", 14.5, 1.169, 1.170, 3),
    ("Dillivan 2014, 14.0 %: truncated, not rounded", 14.0, 1.162, 1.163, 3),
    ("Karki 2020, 11 %: misrounded", 11.0, 1.13, 1.12, 2),
]

# source, moisture in, moisture out, printed water shrink [%], tolerance
SHRINKS = [
    ("South Dakota State University, Karki 2020", 25.0, 15.5, 11.24, 0.005),
    ("South Dakota State University, Dillivan 2014, from the rounded factor 1.183", 25.0, 15.5, 11.23, 0.015),
    # computed with the formula of Canada SOR/2018-176 (am. SOR/2024-93): charged base, actual, floor before 2017
    ("Canada SOR/2018-176, wheat, base 14.5", 17.0, 14.5, 2.924, 0.0005),
    ("Canada SOR/2018-176, wheat, 13.8", 17.0, 13.8, 3.712, 0.0005),
    ("Canada SOR/2018-176, wheat, 13.5", 17.0, 13.5, 4.046, 0.0005),
    ("same formula, 20.5 to 15.5", 20.5, 15.5, 5.917, 0.0005),
    ("North Dakota State University formula, corn 25 to 15", 25.0, 15.0, 11.76, 0.005),
]

# source, wet mass [lb], in, out, handling [%], printed dry mass [lb], tolerance
DRY_MASSES = [
    ("seed-industry agronomy page, method of NCH-61", 1000.0, 25.5, 15.5, 0.0, 881.66, 0.006),
    ("same, 0.5 % handling loss", 1000.0, 25.5, 15.5, 0.5, 876.7, 0.06),
    ("Purdue field guide, 56,000 lb at 26 %, result 870.6 bu", 56000.0, 26.0, 15.0, 0.0, 870.6 * 56, 0.05 * 56),
    ("South Dakota State University, 1000 lb soybean 16 to 11 loses 56 lb", 1000.0, 16.0, 11.0, 0.0, 944.0, 0.5),
]


@pytest.mark.parametrize(("moisture_out", "printed", "tolerance"), FACTORS_PRINTED)
def test_shrink_factor_is_the_printed_one(moisture_out, printed, tolerance):
    assert moisture.water_shrink_factor_pct(moisture_out) == pytest.approx(printed, abs=tolerance)


@pytest.mark.parametrize(("source", "moisture_out", "printed", "rounded", "digits"), FACTORS_MISPRINTED)
def test_shrink_factor_differs_where_the_source_is_wrong(source, moisture_out, printed, rounded, digits):
    ours = round(float(moisture.water_shrink_factor_pct(moisture_out)), digits)
    assert ours == rounded, source
    assert ours != printed, source


@pytest.mark.parametrize(("source", "m_in", "m_out", "printed", "tolerance"), SHRINKS)
def test_water_shrink_is_the_printed_one(source, m_in, m_out, printed, tolerance):
    assert moisture.water_shrink_pct(m_in, m_out) == pytest.approx(printed, abs=tolerance), source


@pytest.mark.parametrize(("source", "wet_lb", "m_in", "m_out", "handling", "printed", "tolerance"), DRY_MASSES)
def test_dried_mass_is_the_printed_one(source, wet_lb, m_in, m_out, handling, printed, tolerance):
    dry_lb = moisture.dried_mass_kg(wet_lb * POUND_KG, m_in, m_out, handling) / POUND_KG
    assert dry_lb == pytest.approx(printed, abs=tolerance), source


def test_total_shrink_is_the_printed_one():
    # seed-industry agronomy page, method of NCH-61: 25.5 to 15.5 with 0.5 % handling is 12.33 %
    assert 100.0 * (1.0 - moisture.kept_fraction(25.5, 15.5, 0.5)) == pytest.approx(12.33, abs=0.005)


def test_dry_bushels_differ_where_the_source_rounds_before_it_multiplies():
    # same page prints 15.8 bu, from 17.9 bu x 0.8817; the exact 1000 lb give 15.74
    dry_lb = moisture.dried_mass_kg(1000.0, 25.5, 15.5, 0.0)
    assert dry_lb / CROPS["corn"].bushel_lb == pytest.approx(15.744, abs=0.0005)
    assert 17.9 * dry_lb / 1000.0 == pytest.approx(15.8, abs=0.05)


def test_wet_bushels_behind_a_dry_yield_are_the_printed_ones():
    # University of Illinois farmdoc FEFO 09-16: 190 bu at 15 % were 216 bu at 25 %, 0.25 % handling loss
    assert moisture.undried_mass_kg(190.0, 25.0, 15.0, 0.25) == pytest.approx(216.0, abs=0.5)


def test_field_guide_water_differs_from_its_own_result():
    # Purdue field guide prints 129.6 bu of water (rounded inputs) beside 870.6 bu of grain out of 1000
    shrink = float(moisture.water_shrink_pct(26.0, 15.0)) * 10.0
    assert shrink == pytest.approx(1000.0 - 870.6, abs=0.05)
    assert shrink != pytest.approx(129.6, abs=0.05)


def test_true_shrink_table():
    # computed for a published comparison of flat factors, 1000 wet bu of corn to 15 %: common practice, no source
    m_in = np.array([17.0, 18.0, 20.0, 22.0, 25.0, 28.0, 30.0])
    dry_bu = np.array([976.47, 964.71, 941.18, 917.65, 882.35, 847.06, 823.53])
    assert moisture.dried_mass_kg(1000.0, m_in, 15.0, 0.0) == pytest.approx(dry_bu, abs=0.005)
