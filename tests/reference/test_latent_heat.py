"""Heat of evaporating water from grain and specific heat, against measurements and published formulas."""

import numpy as np
import psychrolib
import pytest

from dryrecords.grain import energy, moisture
from dryrecords.grain.crops import CROPS, isotherms, specific_heats

psychrolib.SetUnitSystem(psychrolib.SI)  # once: with numba installed each call compiles anew
CALORIE_J = 4.1868  # International Table
BTU_PER_LB_J_KG = 2326.0  # exact

# moisture [% dry basis], measured heat of evaporation of corn at 40 deg C [cal/g], largest difference:
# Rodriguez-Arias, Hall & Bakker-Arkema 1963, Cereal Chem. 40:676
MEASURED_CORN = [(8.0, 700.0, 0.04), (22.0, 602.0, 0.02)]

# crop, moisture [% wet basis], ratio to free water at 60 deg C from the same equation worked by hand with the
# same constants; common practice, no source
RATIOS = [
    ("corn", (10.0, 13.0, 15.5, 20.0, 25.0), (1.140, 1.097, 1.063, 1.018, 1.002)),
    ("soybean", (10.0, 13.0, 15.5, 20.0), (1.054, 1.036, 1.027, 1.018)),
    ("wheat", (10.0, 13.0, 15.5, 20.0), (1.100, 1.055, 1.033, 1.012)),
    ("sorghum", (10.0, 13.0, 15.5, 20.0), (1.182, 1.091, 1.049, 1.015)),
]

# crop, moisture [% wet basis], specific heat [kJ/(kg K)]: Kazarian & Hall 1965, Alam & Shove 1973, from memory
SPECIFIC_HEATS = [("corn", 10.0, 1.821), ("corn", 15.5, 2.017), ("corn", 25.0, 2.355), ("soybean", 13.0, 1.926)]


def test_free_water_is_the_same_in_both_units():
    # 1094 - 0.57 T_F Btu/lb, Thompson, Peart & Foster 1968, from memory; both forms give 2406.8 kJ/kg at 40 deg C
    ours = energy.free_water_latent_heat_j_kg(40.0)
    assert ours == pytest.approx(2406.8e3, abs=50.0)
    assert ours == pytest.approx((1094.0 - 0.57 * 104.0) * BTU_PER_LB_J_KG, rel=1e-4)


@pytest.mark.parametrize("temp_c", [0.0, 20.0, 40.0, 60.0, 90.0])
def test_free_water_is_close_to_steam_tables(temp_c):
    # International Association for the Properties of Water and Steam, 1995, from memory
    steam = np.interp(temp_c, [0.0, 20.0, 40.0, 60.0, 90.0], [2500.9, 2453.5, 2406.0, 2357.7, 2282.5])
    assert energy.free_water_latent_heat_j_kg(temp_c) == pytest.approx(1000.0 * steam, rel=0.003)


@pytest.mark.parametrize(("dry_basis", "measured", "tolerance"), MEASURED_CORN)
def test_corn_is_near_the_measured_heat(dry_basis, measured, tolerance):
    ratio = energy.bound_water_ratio(dry_basis, 40.0, isotherms(np.array("corn")))
    ours = energy.free_water_latent_heat_j_kg(40.0) * ratio / (1000.0 * CALORIE_J)
    assert ours == pytest.approx(measured, rel=tolerance)


@pytest.mark.parametrize(("crop", "moistures", "ratios"), RATIOS)
def test_bound_water_ratio_by_crop(crop, moistures, ratios):
    dry_basis = moisture.dry_basis_pct(np.array(moistures))
    ours = energy.bound_water_ratio(dry_basis, 60.0, isotherms(np.array(crop)))
    assert ours == pytest.approx(np.array(ratios), abs=0.0006)


@pytest.mark.parametrize("crop", sorted(CROPS))
@pytest.mark.parametrize("temp_c", [5.0, 25.0, 60.0])
def test_bound_water_ratio_is_the_slope_of_the_isotherm(crop, temp_c):
    # Clausius-Clapeyron with saturation pressures of an independent psychrometric library, slopes by difference
    pressure = [np.log(psychrolib.GetSatVapPres(temp_c + step)) for step in (-0.01, 0.01)]
    isotherm = isotherms(np.array(crop))
    a, b, c = (float(x) for x in (isotherm.a, isotherm.b, isotherm.c))
    md = 16.0

    def log_rh(t):
        if isotherm.is_chung_pfost:
            return -a / (t + c) * np.exp(-b * md)
        if isotherm.is_halsey:
            return -np.exp(a + b * t) * md**-c
        return np.log(1.0 - np.exp(-a * (t + c) * md**b))

    slope = (log_rh(temp_c + 0.01) - log_rh(temp_c - 0.01)) / (pressure[1] - pressure[0])
    assert energy.bound_water_ratio(md, temp_c, isotherm) == pytest.approx(1.0 + slope, rel=1e-5)


@pytest.mark.parametrize(("crop", "moisture_pct", "heat"), SPECIFIC_HEATS)
def test_specific_heat_is_the_published_one(crop, moisture_pct, heat):
    ours = energy.specific_heat_j_kg_k(moisture_pct, specific_heats(np.array(crop)))
    assert ours == pytest.approx(1000.0 * heat, abs=1.0)
