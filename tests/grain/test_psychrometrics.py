"""Properties of moist air: inverse pairs, order, ends, shapes, odd values."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryrecords.grain import psychrometrics as air

TEMPS = st.floats(0.1, 100.0)
HUMIDITIES = st.floats(1.0, 100.0)
PRESSURES = st.floats(80_000.0, 104_000.0)


@given(TEMPS, HUMIDITIES, PRESSURES)
def test_humidity_there_and_back(temp_c, rh, pressure):
    w = air.humidity_ratio_of_rh(temp_c, rh, pressure)
    if np.isnan(w):  # vapour alone would press harder than the whole
        assert rh / 100.0 * air.saturation_pressure_pa(temp_c) >= pressure
        return
    assert air.relative_humidity_pct(temp_c, w, pressure) == pytest.approx(rh, rel=1e-9)


@given(TEMPS, st.floats(1.0, 99.9), PRESSURES)
def test_dew_point_is_below_wet_bulb_is_below_dry_bulb(temp_c, rh, pressure):
    w = air.humidity_ratio_of_rh(temp_c, rh, pressure)
    if np.isnan(w):
        return
    dew, wet = air.dew_point_c(w, pressure), air.wet_bulb_c(temp_c, w, pressure)
    assert dew <= wet + 1e-6 and wet <= temp_c + 1e-6
    assert air.humidity_ratio_of_rh(dew, 100.0, pressure) == pytest.approx(w, rel=1e-8)


@given(TEMPS, st.floats(20.0, 100.0))
def test_saturated_air_is_at_its_dew_point(temp_c, rh):
    w = air.humidity_ratio_of_rh(temp_c, 100.0)
    if np.isnan(w) or w > 1.0:
        return
    assert air.dew_point_c(w) == pytest.approx(temp_c, abs=1e-7)
    assert air.wet_bulb_c(temp_c, w) == pytest.approx(temp_c, abs=1e-6)
    assert air.wet_bulb_c(temp_c, 1.2 * w) == pytest.approx(temp_c, abs=1e-6)  # fog: no lower than the air


def test_adiabatic_saturation_conserves_heat():
    # the definition: enthalpy before, and that of the water taken up, make the enthalpy after
    temp_c, w = np.linspace(10.0, 90.0, 30), 0.006
    wet = air.wet_bulb_c(temp_c, w)
    saturated = air.humidity_ratio_of_rh(wet, 100.0)
    after = air.enthalpy_j_kg(temp_c, w) + (saturated - w) * 4186.0 * wet
    assert after == pytest.approx(air.enthalpy_j_kg(wet, saturated), rel=1e-4)


@pytest.mark.filterwarnings("error")
def test_order():
    temp_c = np.linspace(-40.0, 100.0, 500)
    assert (np.diff(air.saturation_pressure_pa(temp_c)) > 0.0).all()
    warm = temp_c[temp_c >= 0.1]
    assert (np.diff(air.wet_bulb_c(warm, 0.004)) > 0.0).all()
    assert (np.diff(air.specific_volume_m3_kg(warm, 0.004)) > 0.0).all()
    assert (np.diff(air.density_kg_m3(20.0, np.linspace(0.0, 0.014, 9))) < 0.0).all()
    assert (np.diff(air.dew_point_c(np.linspace(1e-4, 0.05, 50))) > 0.0).all()
    assert (np.diff(air.standard_pressure_pa(np.linspace(-500.0, 11_000.0, 50))) < 0.0).all()


@pytest.mark.filterwarnings("error")
def test_a_wick_freezes_below_zero():
    wet = air.wet_bulb_c(np.array([1.0, 0.1, -5.0]), air.humidity_ratio_of_rh(np.array([1.0, 0.1, -5.0]), 50.0))
    assert (wet < 0.0).all() and (np.diff(wet) < 0.0).all()


@pytest.mark.filterwarnings("error")
def test_odd_values_and_shapes():
    assert np.isnan(air.dew_point_c(0.0))
    assert np.isnan(air.dew_point_c(np.nan)) and np.isnan(air.wet_bulb_c(np.nan, 0.01))
    assert np.isnan(air.wet_bulb_c(20.0, np.nan))
    assert np.isnan(air.humidity_ratio(200_000.0)) and np.isnan(air.humidity_ratio(air.STANDARD_PRESSURE_PA))
    assert air.wet_bulb_c(60.0, 0.0) < 25.0
    for function in (air.wet_bulb_c, air.enthalpy_j_kg, air.specific_volume_m3_kg, air.density_kg_m3):
        assert np.shape(function(20.0, 0.01)) == ()
        assert np.shape(function(np.zeros(0), 0.01)) == (0,)
        assert np.shape(function(np.full((3, 1), 20.0), np.full(4, 0.01))) == (3, 4)
    assert np.shape(air.dew_point_c(np.zeros(0))) == (0,)
    assert np.shape(air.standard_pressure_pa(0.0)) == ()
