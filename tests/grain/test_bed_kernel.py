"""The inner loop of the bed model equals the modules whose equations it writes out, and each balance closes."""

import numpy as np
import pytest

from dryrecords.grain.bed_grain import grain_constants
from dryrecords.grain.bed_kernel import Layers, LayerStep, equilibrium
from dryrecords.grain.crops import CROPS, specific_heats
from dryrecords.grain.energy import bound_water_ratio, free_water_latent_heat_j_kg, specific_heat_j_kg_k
from dryrecords.grain.equilibrium import (
    ISOTHERMS,
    equilibrium_moisture_dry_basis_pct,
    named_isotherms,
    preferred_isotherms,
)
from dryrecords.grain.moisture import dry_basis_pct
from dryrecords.grain.psychrometrics import enthalpy_j_kg, humidity_ratio_of_rh, relative_humidity_pct
from dryrecords.grain.thin_layer import LayerAir, moisture_ratio_after

PRESSURE_PA = 101_325.0
CROPS_WITH_LAWS = ["corn", "wheat", "barley", "rough_rice", "soybean", "sorghum"]


def _one(x):
    return np.array([[float(x)]])


def _step(crop, dry_per_air, air_c, humidity, moisture, temp_c, reference=0.5, step_s=120.0):
    """One layer, one step: what it becomes."""
    grain = grain_constants(crop)
    move = LayerStep(
        grain, _one(dry_per_air), _one(reference), np.array([step_s]), np.array([0.2]), np.array([PRESSURE_PA])
    )
    was = Layers(_one(moisture), _one(temp_c), grain.bound_heat_j_kg(_one(moisture)), _one(humidity))
    becomes = Layers(*(np.empty((1, 1)) for _ in range(4)))
    with np.errstate(all="ignore"):
        move(_one(air_c), _one(humidity), was, becomes)
    return becomes


@pytest.mark.parametrize("name", sorted(ISOTHERMS))
def test_equilibrium_is_that_of_the_module(name):
    temp_c, rh = np.meshgrid(np.linspace(-5.0, 90.0, 20), np.linspace(0.01, 0.95, 20))
    expected = equilibrium_moisture_dry_basis_pct(temp_c, 100.0 * rh, named_isotherms(np.array(name))) / 100.0
    np.testing.assert_allclose(equilibrium(ISOTHERMS[name])(temp_c, rh), expected, rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("crop", CROPS_WITH_LAWS)
@pytest.mark.parametrize(("temp_c", "rh_pct"), [(15.0, 60.0), (45.0, 20.0), (80.0, 3.0)])
@pytest.mark.parametrize("moisture", [0.2, 0.33, 0.49])
def test_thin_layer_is_that_of_the_module(crop, temp_c, rh_pct, moisture):
    """Hardly any grain in much air takes on the air's state, so only the drying law is left."""
    grain, reference = grain_constants(crop), 0.45
    humidity = float(humidity_ratio_of_rh(temp_c, rh_pct, PRESSURE_PA))
    after = _step(crop, 1e-9, temp_c, humidity, moisture, temp_c, reference).moisture[0, 0]
    rest = float(equilibrium_moisture_dry_basis_pct(temp_c, rh_pct, preferred_isotherms(np.array(crop)))) / 100.0
    air = LayerAir(
        temp_c=temp_c, rh_pct=rh_pct, velocity_m_s=0.2, moisture_in_pct=100.0 * reference / (1.0 + reference)
    )
    ratio = (moisture - rest) / (reference - rest)
    ratio = float(moisture_ratio_after(ratio, 120.0, grain.drying.law, air))
    assert moisture - after > 1e-6
    assert after == pytest.approx(rest + ratio * (reference - rest), abs=1e-9)


def test_wetter_than_at_the_start_dries_as_the_module_says():
    temp_c, humidity = 60.0, float(humidity_ratio_of_rh(60.0, 10.0, PRESSURE_PA))
    rest = float(equilibrium_moisture_dry_basis_pct(60.0, 10.0, preferred_isotherms(np.array("corn")))) / 100.0
    ratio = moisture_ratio_after(
        (0.40 - rest) / (0.33 - rest), 120.0, grain_constants("corn").drying.law, LayerAir(temp_c=60.0)
    )
    after = _step("corn", 1e-9, temp_c, humidity, 0.40, temp_c, reference=0.33).moisture[0, 0]
    assert after == pytest.approx(rest + float(ratio) * (0.33 - rest), abs=1e-8)


@pytest.mark.parametrize("crop", CROPS_WITH_LAWS)
def test_heat_of_bound_water_is_that_of_the_module(crop):
    moisture, grain = np.linspace(0.12, 0.45, 50), grain_constants(crop)
    ratio = bound_water_ratio(100.0 * moisture, 60.0, preferred_isotherms(np.array(crop)))
    expected = (ratio - 1.0) * free_water_latent_heat_j_kg(60.0)
    slope = -grain.bound_heat_j_kg(moisture) * (grain.bound_1 + 2.0 * grain.bound_2 * moisture)
    np.testing.assert_allclose(slope, expected, atol=12e3)
    step = 1e-6
    difference = (grain.bound_heat_j_kg(moisture - step) - grain.bound_heat_j_kg(moisture + step)) / (2.0 * step)
    np.testing.assert_allclose(slope, difference, rtol=1e-5)


@pytest.mark.parametrize("crop", sorted(CROPS))
def test_specific_heat_is_that_of_the_module(crop):
    percent = np.linspace(8.0, 28.0, 11)
    moisture = dry_basis_pct(percent) / 100.0
    expected = specific_heat_j_kg_k(percent, specific_heats(np.array(crop))) * (1.0 + moisture)
    linear = 1e-12 if crop != "soybean" else 0.02  # its curve is replaced by a chord
    np.testing.assert_allclose(grain_constants(crop).specific_heat_j_kg_k(moisture), expected, rtol=linear)


@pytest.mark.parametrize(
    ("air_c", "rh_pct", "moisture", "grain_c", "dry_per_air"),
    [
        (71.0, 2.4, 0.33, 10.0, 2.0),
        (71.0, 2.4, 0.12, 60.0, 0.5),
        (38.0, 99.0, 0.33, 5.0, 2.0),
        (90.0, 1.0, 0.5, 40.0, 8.0),
    ],
)
@pytest.mark.parametrize("crop", CROPS_WITH_LAWS)
def test_a_step_keeps_water_and_enthalpy_and_never_passes_saturation(
    crop, air_c, rh_pct, moisture, grain_c, dry_per_air
):
    grain, humidity = grain_constants(crop), float(humidity_ratio_of_rh(air_c, rh_pct, PRESSURE_PA))
    after = _step(crop, dry_per_air, air_c, humidity, moisture, grain_c)
    m, t, w = after.moisture[0, 0], after.temp_c[0, 0], after.humidity[0, 0]
    assert w - humidity == pytest.approx(dry_per_air * (moisture - m), rel=1e-9)
    before = enthalpy_j_kg(air_c, humidity) + dry_per_air * grain.enthalpy_j_kg(np.array(moisture), np.array(grain_c))
    assert enthalpy_j_kg(t, w) + dry_per_air * grain.enthalpy_j_kg(m, t) == pytest.approx(float(before), rel=1e-12)
    assert relative_humidity_pct(t, w, PRESSURE_PA) < 100.1


def test_warm_moist_air_condenses_on_cold_grain_until_it_is_saturated():
    humidity = float(humidity_ratio_of_rh(38.0, 99.0, PRESSURE_PA))
    after = _step("corn", 2.0, 38.0, humidity, 0.33, 5.0)
    assert after.moisture[0, 0] > 0.33
    assert relative_humidity_pct(after.temp_c[0, 0], after.humidity[0, 0]) == pytest.approx(100.0, abs=0.1)


def test_a_layer_that_is_not_there_passes_its_air_on():
    after = _step("corn", 0.0, 38.0, 0.04, 0.33, 5.0)
    assert (after.temp_c[0, 0], after.humidity[0, 0]) == (pytest.approx(38.0, rel=1e-14), 0.04)
    assert after.moisture[0, 0] == 0.33
