"""Moist air and natural-air drying on real weather and on two published drying times."""

import numpy as np
import pytest
from scipy.optimize import brentq

from dryrecords.grain import psychrometrics as air
from dryrecords.grain.airflow import CFM_M3_S
from dryrecords.grain.equilibrium import equilibrium_moisture_pct, equilibrium_rh_pct, in_range, preferred_isotherms
from dryrecords.grain.moisture import water_shrink_pct
from tests.reference.weather import weather_year

YEAR = weather_year()


def test_the_year_is_the_one_expected():
    # monthly means of September, October, November, counted from the file once by other means
    for month, temp_c, rh_pct in [(9, 20.08, 76.8), (10, 13.12, 77.7), (11, 10.82, 64.0)]:
        hours = YEAR["month"] == month
        assert YEAR["temp_c"][hours].mean() == pytest.approx(temp_c, abs=0.01)
        assert YEAR["rh_pct"][hours].mean() == pytest.approx(rh_pct, abs=0.06)


def test_humidity_rebuilt_from_the_dew_point_is_the_recorded_one():
    # stations state humidity over liquid water, also in frost; a few source rows are bad, up to 33 points
    saturation = air.water_saturation_pressure_pa
    rebuilt = 100.0 * saturation(YEAR["dew_point_c"]) / saturation(YEAR["temp_c"])
    error = rebuilt - YEAR["rh_pct"]
    assert error.mean() == pytest.approx(0.0, abs=0.05)
    assert np.abs(error).mean() < 0.5
    assert np.percentile(np.abs(error), 99) < 4.1


@pytest.mark.filterwarnings("error")
def test_every_hour_solves():
    w = air.humidity_ratio(air.saturation_pressure_pa(YEAR["dew_point_c"]), YEAR["pressure_pa"])
    dew, wet = air.dew_point_c(w, YEAR["pressure_pa"]), air.wet_bulb_c(YEAR["temp_c"], w, YEAR["pressure_pa"])
    assert dew == pytest.approx(YEAR["dew_point_c"], abs=1e-8)
    assert (wet <= YEAR["temp_c"] + 1e-9).all() and (wet >= dew - 1e-6).all()


def test_autumn_air_dries_corn_to_where_it_keeps():
    # equilibrium at the mean air of November, the drier of the two usual drying months, lies near market moisture
    hours = YEAR["month"] == 11
    corn = preferred_isotherms(np.array("corn"))
    mean = equilibrium_moisture_pct(YEAR["temp_c"][hours].mean(), YEAR["rh_pct"][hours].mean(), corn)
    assert mean == pytest.approx(15.0, abs=0.5)
    assert 0.4 < in_range(YEAR["temp_c"][hours], YEAR["rh_pct"][hours]).mean() < 1.0


def drying_days(crop, bushel_lb, moisture_pct, temp_f, rh_pct, cfm_bu, fan_rise_f):
    """Days in which air that leaves in equilibrium with the wet grain, along the line of constant wet bulb, takes
    the water from a bushel. A balance alone: no front, no spread."""
    moisture_in, moisture_out = moisture_pct
    isotherm = preferred_isotherms(np.array(crop))
    outside_c = (temp_f - 32.0) / 1.8
    warmed_c = outside_c + fan_rise_f / 1.8
    w = air.humidity_ratio_of_rh(outside_c, rh_pct)

    def leaving(temp_c):
        return air.humidity_ratio_of_rh(temp_c, equilibrium_rh_pct(temp_c, moisture_in, isotherm))

    def heat_over(temp_c):
        taken = leaving(temp_c) - w
        return air.enthalpy_j_kg(temp_c, leaving(temp_c)) - air.enthalpy_j_kg(warmed_c, w) - taken * 4186.0 * temp_c

    taken = leaving(brentq(heat_over, -20.0, warmed_c)) - w
    water_kg = bushel_lb * 0.45359237 * water_shrink_pct(moisture_in, moisture_out) / 100.0
    return water_kg / (cfm_bu * CFM_M3_S / air.specific_volume_m3_kg(outside_c, w) * taken) / 86400.0


def test_natural_air_soybean_of_kentucky():
    # 17 to 13 % at 50 F, 65 %, 2 cfm a bushel: about 15 days; half the air, twice the time. University of Kentucky.
    # A fan warms its air by 3 to 5 F: North Dakota State University.
    low, high = (drying_days("soybean", 60.0, (17.0, 13.0), 50.0, 65.0, 2.0, rise) for rise in (5.0, 3.0))
    assert low < 15.0 < high
    assert drying_days("soybean", 60.0, (17.0, 13.0), 50.0, 65.0, 1.0, 3.0) == pytest.approx(2.0 * high)


def test_natural_air_corn_of_north_dakota():
    # 21 to 16 % at 47 F, 70 %, 1 cfm a bushel: about 50 days in October, North Dakota State University via farm press
    assert drying_days("corn", 56.0, (21.0, 16.0), 47.0, 70.0, 1.0, 0.0) == pytest.approx(50.0, rel=0.1)
