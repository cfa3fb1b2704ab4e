"""Moist air against two independent libraries: PsychroLib (ASHRAE, ideal gas) and CoolProp (real gas)."""

import numpy as np
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from dryrecords.grain import psychrometrics as air

psychrolib.SetUnitSystem(psychrolib.SI)
SEA_LEVEL = air.STANDARD_PRESSURE_PA

# temperature [deg C], humidity [%], pressure [Pa]; the hot ones are 10 deg C, 65 % air after a burner
STATES = [
    (0.1, 90.0, SEA_LEVEL),
    (10.0, 65.0, SEA_LEVEL),
    (20.0, 60.0, SEA_LEVEL),
    (25.0, 50.0, SEA_LEVEL),
    (25.0, 50.0, 95_000.0),
    (40.0, 80.0, SEA_LEVEL),
    (48.889, 6.8310, SEA_LEVEL),
    (93.333, 1.0034, SEA_LEVEL),
    (100.0, 0.8, 84_000.0),
]


def random_states(count=400):
    rng = np.random.default_rng(2)
    temp_c, rh, pressure = (
        rng.uniform(0.1, 100.0, count),
        rng.uniform(0.5, 99.5, count),
        rng.uniform(8e4, 1.03e5, count),
    )
    w = air.humidity_ratio_of_rh(temp_c, rh, pressure)
    usable = w < 0.5
    return temp_c[usable], rh[usable], pressure[usable], w[usable]


@pytest.mark.parametrize(("temp_c", "rh_pct", "pressure_pa"), STATES)
def test_states_are_those_of_psychrolib(temp_c, rh_pct, pressure_pa):
    w, wet, dew, vapour, enthalpy, volume, _ = psychrolib.CalcPsychrometricsFromRelHum(
        temp_c, rh_pct / 100.0, pressure_pa
    )
    ours = air.humidity_ratio_of_rh(temp_c, rh_pct, pressure_pa)
    assert ours == pytest.approx(w, abs=2e-6)
    assert air.vapour_pressure_pa(ours, pressure_pa) == pytest.approx(vapour, rel=1e-6)
    assert air.wet_bulb_c(temp_c, ours, pressure_pa) == pytest.approx(wet, abs=0.005)
    assert air.dew_point_c(ours, pressure_pa) == pytest.approx(dew, abs=0.005)
    assert air.enthalpy_j_kg(temp_c, ours) == pytest.approx(enthalpy, abs=20.0)
    assert air.specific_volume_m3_kg(temp_c, ours, pressure_pa) == pytest.approx(volume, abs=2e-5)


@pytest.mark.parametrize(("temp_c", "rh_pct", "pressure_pa"), STATES)
def test_states_are_near_those_of_a_real_gas(temp_c, rh_pct, pressure_pa):
    # the ideal gas lacks the enhancement of vapour pressure by air: 0.7 % in cold air, next to none in hot air
    w = air.humidity_ratio_of_rh(temp_c, rh_pct, pressure_pa)

    def real(what, at=temp_c):
        return HAPropsSI(what, "T", at + 273.15, "R", rh_pct / 100.0, "P", pressure_pa)

    assert real("W") / w == pytest.approx(1.0035, abs=0.004)
    assert air.wet_bulb_c(temp_c, w, pressure_pa) == pytest.approx(real("B") - 273.15, abs=0.03)
    assert air.dew_point_c(w, pressure_pa) == pytest.approx(real("D") - 273.15, abs=0.06)
    # both count from 0 deg C, but CoolProp's zero is not exactly there
    assert air.enthalpy_j_kg(temp_c, w) == pytest.approx(real("H"), rel=0.005, abs=50.0)
    assert air.specific_volume_m3_kg(temp_c, w, pressure_pa) == pytest.approx(real("V"), rel=0.0007)


def test_random_states_are_those_of_psychrolib():
    temp_c, rh, pressure, w = random_states()
    theirs = np.array(
        [
            (
                psychrolib.GetHumRatioFromRelHum(t, r / 100.0, p),
                psychrolib.GetMoistAirEnthalpy(t, x),
                psychrolib.GetMoistAirVolume(t, x, p),
                psychrolib.GetMoistAirDensity(t, x, p),
                100.0 * psychrolib.GetRelHumFromHumRatio(t, x, p),
                psychrolib.GetTDewPointFromHumRatio(t, x, p),
                psychrolib.GetTWetBulbFromHumRatio(t, x, p),
            )
            for t, r, p, x in zip(temp_c, rh, pressure, w, strict=True)
        ]
    ).T
    assert w == pytest.approx(theirs[0], rel=1e-9)
    assert air.enthalpy_j_kg(temp_c, w) == pytest.approx(theirs[1], abs=0.5)
    assert air.specific_volume_m3_kg(temp_c, w, pressure) == pytest.approx(theirs[2], rel=2e-5)
    assert air.density_kg_m3(temp_c, w, pressure) == pytest.approx(theirs[3], rel=2e-5)
    assert air.relative_humidity_pct(temp_c, w, pressure) == pytest.approx(theirs[4], rel=1e-9)
    assert air.dew_point_c(w, pressure) == pytest.approx(theirs[5], abs=2e-3)
    wet = air.wet_bulb_c(temp_c, w, pressure)
    # within half a degree of freezing a wick may be wet or frozen; theirs is frozen, ours is wet
    settled = (wet > 0.7) | (wet < 0.0)
    assert settled.mean() > 0.98
    assert wet[settled] == pytest.approx(theirs[6][settled], abs=2e-3)


@pytest.mark.parametrize("temp_c", [-40.0, -10.0, -0.1, 0.0, 0.01, 0.02, 5.0, 50.0, 100.0])
def test_saturation_is_that_of_psychrolib(temp_c):
    assert air.saturation_pressure_pa(temp_c) == pytest.approx(psychrolib.GetSatVapPres(temp_c), rel=1e-12)


def test_saturation_is_close_to_steam_tables():
    # [deg C], [Pa]: International Association for the Properties of Water and Steam, from memory
    temp_c, pressure = (
        [0.01, 10.0, 20.0, 40.0, 60.0, 80.0, 100.0],
        [611.66, 1228.2, 2339.3, 7384.9, 19947, 47414, 101418],
    )
    assert air.saturation_pressure_pa(np.array(temp_c)) == pytest.approx(np.array(pressure), rel=4e-4)


def test_supercooled_water_is_above_ice_as_in_the_goff_gratch_tables():
    # vapour over water and over ice at -10 deg C: 286.5 and 259.9 Pa, Smithsonian tables, from memory
    assert air.water_saturation_pressure_pa(-10.0) == pytest.approx(286.5, rel=3e-3)
    assert air.saturation_pressure_pa(-10.0) == pytest.approx(259.9, rel=3e-3)


# 50 F 65 % air heated to [F]: humidity [%], wet bulb [F], volume [ft3/lb], enthalpy [Btu/lb] by PsychroLib in
# inch-pound units at 14.696 psi
@pytest.mark.parametrize(
    ("temp_f", "rh", "wet_bulb_f", "volume_ft3_lb", "enthalpy_btu_lb"),
    [
        (120.0, 6.831, 70.85, 14.730, 34.303),
        (160.0, 2.439, 81.19, 15.746, 43.990),
        (200.0, 1.003, 89.54, 16.762, 53.678),
    ],
)
def test_heated_air(temp_f, rh, wet_bulb_f, volume_ft3_lb, enthalpy_btu_lb):
    hot_c = (temp_f - 32.0) / 1.8
    w = air.humidity_ratio_of_rh(10.0, 65.0)
    assert air.heated_rh_pct(10.0, 65.0, hot_c) == pytest.approx(rh, rel=1e-3)
    assert 32.0 + 1.8 * air.wet_bulb_c(hot_c, w) == pytest.approx(wet_bulb_f, abs=0.03)
    assert air.specific_volume_m3_kg(hot_c, w) == pytest.approx(volume_ft3_lb * 0.3048**3 / 0.45359237, rel=1e-4)
    # enthalpy in inch-pound units counts dry air from 0 F, and its constants are rounded on their own
    assert air.enthalpy_j_kg(hot_c, w) - air.enthalpy_j_kg(10.0, w) == pytest.approx(
        (enthalpy_btu_lb - 17.349) * 2326.0, rel=3e-3
    )


def test_twenty_degrees_fahrenheit_about_halve_the_humidity():
    # North Dakota State University, slides 2009
    assert air.heated_rh_pct(10.0, 65.0, 10.0 + 20.0 / 1.8) / 65.0 == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("elevation_m", [-300.0, 0.0, 300.0, 1500.0, 3000.0, 10_000.0])
def test_pressure_of_the_standard_atmosphere(elevation_m):
    assert air.standard_pressure_pa(elevation_m) == pytest.approx(
        psychrolib.GetStandardAtmPressure(elevation_m), rel=1e-6
    )


def test_pressure_at_a_mile():
    # 5,000 ft: 24.90 inches of mercury, US Standard Atmosphere 1976, from memory
    assert air.standard_pressure_pa(1524.0) == pytest.approx(24.90 * 3386.389, rel=1e-3)
