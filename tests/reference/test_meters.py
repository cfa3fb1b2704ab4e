"""Tolerances and scatter of moisture meters against published rules and measurements."""

import math

import numpy as np
import pytest

from dryrecords.grain.crops import CROPS, meter_tolerance_pct
from dryrecords.grain.uncertainty import DEFAULT_UNCERTAINTIES, SINGLE_SAMPLE_U_PCT, meter_bias_u_pct

# NIST Handbook 44 section 5.56(a), air-oven method, from memory: crop, moisture, tolerance [points]
TOLERANCES = [
    ("corn", 15.5, 0.80),
    ("corn", 20.0, 1.00),
    ("corn", 30.0, 1.50),
    ("wheat", 13.0, 0.70),
    ("wheat", 20.0, 0.80),
]

COARSE = {"corn", "oats", "rough_rice", "sorghum", "sunflower"}


@pytest.mark.parametrize(("crop", "moisture_pct", "tolerance"), TOLERANCES)
def test_tolerance_is_the_one_of_the_handbook(crop, moisture_pct, tolerance):
    assert meter_tolerance_pct(np.array([crop]), np.array([moisture_pct])) == pytest.approx(tolerance, abs=1e-12)


def test_groups_of_crops_are_those_of_the_handbook():
    assert {name for name, crop in CROPS.items() if crop.meter_tolerance.floor_pct == 0.8} == COARSE


def test_bias_is_a_rectangle_within_the_tolerance():
    # JCGM 100:2008 section 4.3.7: half-width over the root of 3
    ours = meter_bias_u_pct(np.array(["corn", "wheat", "no crop"]), np.array([20.0, 13.0, 13.0]))
    assert ours == pytest.approx(np.array([1.0, 0.7, np.nan]) / math.sqrt(3.0), nan_ok=True)


def test_scatter_of_one_test_is_the_measured_one():
    # Hurburgh, Hazen & Bern 1985, 881 corn samples: coefficient of variation 2.5 % at 15.5 % moisture
    assert pytest.approx(0.3875, abs=1e-12) == SINGLE_SAMPLE_U_PCT


def test_volume_is_no_better_than_measured():
    # Bhadra, Turner, Casada et al.: inventory by volume, pack correction included, 0.90 to 1.86 % from scale mass
    assert DEFAULT_UNCERTAINTIES["mass_volume"].value > 0.0186
