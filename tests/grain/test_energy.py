"""Properties of the energy functions: quadrature, ends of tables, crops without constants of their own."""

import numpy as np
import pytest
from scipy.integrate import quad

from dryrecords.grain import energy
from dryrecords.grain.crops import CROPS, isotherms, repose_slope, specific_heats
from dryrecords.grain.moisture import dry_basis_pct


@pytest.mark.parametrize("crop", sorted(CROPS))
def test_mean_latent_heat_is_that_of_adaptive_quadrature(crop):
    isotherm = isotherms(np.array(crop))
    wet, dry = float(dry_basis_pct(35.0)), float(dry_basis_pct(8.0))
    area, _ = quad(lambda m: float(energy.bound_water_ratio(m, 20.0, isotherm)), dry, wet, epsabs=1e-10)
    expected = energy.free_water_latent_heat_j_kg(20.0) * area / (wet - dry)
    assert energy.mean_latent_heat_j_kg(35.0, 8.0, 20.0, isotherm) == pytest.approx(expected, rel=1e-6)


def test_mean_latent_heat_of_no_drying_is_the_heat_there():
    isotherm = isotherms(np.array("corn"))
    there = energy.free_water_latent_heat_j_kg(20.0) * energy.bound_water_ratio(dry_basis_pct(15.0), 20.0, isotherm)
    assert energy.mean_latent_heat_j_kg(15.0, 15.0, 20.0, isotherm) == pytest.approx(there, rel=1e-12)


@pytest.mark.filterwarnings("error")
def test_bound_water_ratio_stays_sane_in_bone_dry_grain():
    isotherm = isotherms(np.array(sorted(CROPS)))
    driest = energy.bound_water_ratio(0.0, 20.0, isotherm)
    assert driest == pytest.approx(energy.bound_water_ratio(6.0, 20.0, isotherm))
    assert ((driest > 1.0) & (driest < 2.0)).all()


def test_crops_without_their_own_constants_say_so():
    names = np.array(["corn", "oats", "barley", "canola", "no crop"])
    assert isotherms(names).is_generic.tolist() == [False, True, False, True, True]
    assert specific_heats(names).is_generic.tolist() == [False, False, True, True, True]
    assert np.isnan(repose_slope(names)).tolist() == [False, False, False, True, True]


@pytest.mark.filterwarnings("error")
def test_propane_factor_ends_with_its_table():
    factor, in_table = energy.propane_volume_factor(np.array([-60.0, 0.0, 60.0, np.nan]))
    assert in_table.tolist() == [False, True, False, False]
    assert factor[[0, 2]].tolist() == [1.092, 0.932]
    assert np.isnan(factor[3])


def test_default_use_keeps_its_energy_in_another_fuel():
    diesel = energy.FUELS["diesel"].energy_j_per_m3
    use, use_u = energy.default_fuel_use(np.array([energy.PROPANE_J_PER_M3, diesel, np.nan]))
    energies = use * np.array([energy.PROPANE_J_PER_M3, diesel, energy.PROPANE_J_PER_M3])
    assert energies == pytest.approx(np.full(3, energies[0]), rel=1e-14)
    assert use_u / use == pytest.approx(np.full(3, 0.25 / np.sqrt(3.0)), rel=1e-14)


def test_fan_draws_more_than_it_delivers():
    assert energy.fan_electric_power_w(10.0 * energy.HORSEPOWER_W, 0.5) == pytest.approx(20.0 * energy.HORSEPOWER_W)
