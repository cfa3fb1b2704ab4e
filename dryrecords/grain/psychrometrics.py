"""Moist air: saturation, humidity, heat, volume, wet bulb and dew point, for many states at once. SI, ideal gas."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray, Values
from dryrecords.grain.roots import increasing_root

ZERO_CELSIUS_K = 273.15  # exact
STANDARD_PRESSURE_PA = 101_325.0  # exact; ISO 2533 at sea level
TRIPLE_POINT_C = 0.01  # of water; ITS-90, from memory
WATER_TO_AIR_MASS = 0.621945  # molar mass of water over that of dry air; ASHRAE Fundamentals, ch. 1
DRY_AIR_GAS_J_KG_K = 287.042  # same
AIR_J_KG_K = 1006.0  # specific heat of dry air; same
VAPOUR_J_KG_K = 1860.0  # of water vapour; same
VAPOUR_AT_ZERO_J_KG = 2_501_000.0  # enthalpy of vapour at 0 deg C over that of liquid; same

# Hyland & Wexler 1983 as printed in ASHRAE Fundamentals, ch. 1: terms of ln(ps / Pa) in K^-1, K^0 ... and ln K
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 6.5459673)
_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)


def saturation_pressure_pa(temp_c: Values) -> FloatArray:
    """Pressure of saturated water vapour: over ice up to the triple point, over liquid water above it.

    Parameters
    ----------
    temp_c : array, any shape. [deg C]

    Returns
    -------
    array of the same shape. [Pa]

    Valid for   -100 to 200 deg C
    Source      ASHRAE Fundamentals, ch. 1, after Hyland & Wexler 1983
    Checked by  tests/reference/test_psychrometrics.py
    """
    return np.where(
        np.asarray(temp_c) > TRIPLE_POINT_C, water_saturation_pressure_pa(temp_c), _ice_saturation_pressure_pa(temp_c)
    )


def water_saturation_pressure_pa(temp_c: Values) -> FloatArray:
    """Pressure of vapour over liquid water, supercooled below 0 deg C; arguments as in saturation_pressure_pa. [Pa]

    Weather records state relative humidity over liquid water at every temperature.
    """
    c = _WATER
    k = np.asarray(temp_c, dtype=float) + ZERO_CELSIUS_K
    return np.exp(c[0] / k + c[1] + k * (c[2] + k * (c[3] + k * c[4])) + c[5] * np.log(k))


def _ice_saturation_pressure_pa(temp_c: Values) -> FloatArray:
    c = _ICE
    k = np.asarray(temp_c, dtype=float) + ZERO_CELSIUS_K
    return np.exp(c[0] / k + c[1] + k * (c[2] + k * (c[3] + k * (c[4] + k * c[5]))) + c[6] * np.log(k))


def log_saturation_slope_per_k(temp_c: Values) -> Array:
    """Slope of the logarithm of saturation pressure over liquid water.

    Parameters
    ----------
    temp_c : array, any shape; real or complex. [deg C], 0 to 200

    Returns
    -------
    array of the same shape. [1/K]

    Source      water_saturation_pressure_pa, differentiated
    Checked by  tests/reference/test_latent_heat.py
    """
    c = _WATER
    k = temp_c + ZERO_CELSIUS_K
    terms = -c[0] / k**2 + c[2] + 2.0 * c[3] * k + 3.0 * c[4] * k**2
    return np.asarray(terms + c[5] / k)


def _log_ice_slope_per_k(temp_c: FloatArray) -> FloatArray:
    c = _ICE
    k = temp_c + ZERO_CELSIUS_K
    return np.asarray(-c[0] / k**2 + c[2] + k * (2.0 * c[3] + k * (3.0 * c[4] + k * 4.0 * c[5])) + c[6] / k)


def humidity_ratio(vapour_pressure_pa: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> FloatArray:
    """Water vapour over dry air by mass.

    Parameters
    ----------
    vapour_pressure_pa, pressure_pa : arrays that broadcast. [Pa]

    Returns
    -------
    array of the broadcast shape. [kg/kg]; NaN where vapour alone would exceed the pressure

    Equation    0.621945 pv / (p - pv)
    Source      ASHRAE Fundamentals, ch. 1
    Checked by  tests/reference/test_psychrometrics.py
    """
    dry = np.asarray(pressure_pa) - vapour_pressure_pa
    return WATER_TO_AIR_MASS * vapour_pressure_pa / np.where(dry > 0.0, dry, np.nan)


def vapour_pressure_pa(humidity_ratio: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> FloatArray:
    """Partial pressure of water vapour, inverse of humidity_ratio; arrays that broadcast, [kg/kg] and [Pa]. [Pa]"""
    return np.asarray(pressure_pa * humidity_ratio / (WATER_TO_AIR_MASS + humidity_ratio))


def humidity_ratio_of_rh(temp_c: Values, rh_pct: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> FloatArray:
    """Humidity ratio of air of a relative humidity; arrays that broadcast, [deg C], [%], [Pa]. [kg/kg]"""
    return humidity_ratio(rh_pct / 100.0 * saturation_pressure_pa(temp_c), pressure_pa)


def relative_humidity_pct(
    temp_c: Values, humidity_ratio: Values, pressure_pa: Values = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Relative humidity of air of a humidity ratio; above 100 where it would be fog.

    Parameters
    ----------
    temp_c, humidity_ratio, pressure_pa : arrays that broadcast. [deg C], [kg/kg], [Pa]

    Returns
    -------
    array of the broadcast shape. [%]

    Checked by  tests/reference/test_psychrometrics.py
    """
    return np.asarray(100.0 * vapour_pressure_pa(humidity_ratio, pressure_pa) / saturation_pressure_pa(temp_c))


def heated_rh_pct(
    temp_c: Values, rh_pct: Values, heated_temp_c: Values, pressure_pa: Values = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Relative humidity of air after heating that adds no water, as by a fan or an indirect burner.

    Parameters
    ----------
    temp_c, rh_pct, heated_temp_c, pressure_pa : arrays that broadcast. [deg C], [%], [deg C], [Pa]

    Returns
    -------
    array of the broadcast shape. [%]

    Checked by  tests/reference/test_psychrometrics.py
    """
    return relative_humidity_pct(heated_temp_c, humidity_ratio_of_rh(temp_c, rh_pct, pressure_pa), pressure_pa)


def enthalpy_j_kg(temp_c: Values, humidity_ratio: Values) -> FloatArray:
    """Enthalpy of moist air for each kg of dry air, 0 for dry air and liquid water at 0 deg C.

    Parameters
    ----------
    temp_c, humidity_ratio : arrays that broadcast. [deg C], [kg/kg]

    Returns
    -------
    array of the broadcast shape. [J/kg of dry air]

    Equation    1.006 T + W (2501 + 1.86 T), kJ
    Source      ASHRAE Fundamentals, ch. 1
    Checked by  tests/reference/test_psychrometrics.py
    """
    return np.asarray(AIR_J_KG_K * temp_c + humidity_ratio * (VAPOUR_AT_ZERO_J_KG + VAPOUR_J_KG_K * temp_c))


def specific_volume_m3_kg(
    temp_c: Values, humidity_ratio: Values, pressure_pa: Values = STANDARD_PRESSURE_PA
) -> FloatArray:
    """Volume of moist air for each kg of dry air.

    Parameters
    ----------
    temp_c, humidity_ratio, pressure_pa : arrays that broadcast. [deg C], [kg/kg], [Pa]

    Returns
    -------
    array of the broadcast shape. [m3/kg of dry air]

    Equation    287.042 K (1 + 1.607858 W) / p
    Source      ASHRAE Fundamentals, ch. 1
    Checked by  tests/reference/test_psychrometrics.py
    """
    kelvin = np.asarray(temp_c) + ZERO_CELSIUS_K
    return DRY_AIR_GAS_J_KG_K * kelvin * (1.0 + humidity_ratio / WATER_TO_AIR_MASS) / pressure_pa


def density_kg_m3(temp_c: Values, humidity_ratio: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> FloatArray:
    """Mass of moist air, its vapour included, in each m3; arguments as in specific_volume_m3_kg. [kg/m3]"""
    return np.asarray((1.0 + humidity_ratio) / specific_volume_m3_kg(temp_c, humidity_ratio, pressure_pa))


@np.errstate(all="ignore")
def dew_point_c(humidity_ratio: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> FloatArray:
    """Temperature at which air of a humidity ratio is saturated; below 0 deg C, the frost point.

    Parameters
    ----------
    humidity_ratio, pressure_pa : arrays that broadcast. [kg/kg], [Pa]

    Returns
    -------
    array of the broadcast shape. [deg C]; NaN for dry air

    Valid for   -100 to 200 deg C
    Equation    saturation_pressure_pa solved by Newton's steps from Magnus' formula, to 1e-9 K
    Checked by  tests/reference/test_psychrometrics.py
    """
    log_pressure = np.log(vapour_pressure_pa(humidity_ratio, pressure_pa))
    # Magnus with the constants of Alduchov & Eskridge 1996, from memory; within 2 K from -100 to 100 deg C
    above_zero = log_pressure - math.log(610.94)
    temp_c = 243.04 * above_zero / (17.625 - above_zero)
    for _ in range(5):
        excess = np.log(saturation_pressure_pa(temp_c)) - log_pressure
        temp_c = temp_c - excess / _log_slope_per_k(temp_c)
    return np.where(np.isfinite(temp_c), temp_c, np.nan)


def _log_slope_per_k(temp_c: FloatArray) -> FloatArray:
    return np.where(temp_c > TRIPLE_POINT_C, log_saturation_slope_per_k(temp_c), _log_ice_slope_per_k(temp_c))


def wet_bulb_c(temp_c: Values, humidity_ratio: Values, pressure_pa: Values = STANDARD_PRESSURE_PA) -> FloatArray:
    """Thermodynamic wet bulb: the temperature air comes to when it takes up water at that temperature.

    Parameters
    ----------
    temp_c, humidity_ratio, pressure_pa : arrays that broadcast. [deg C], [kg/kg], [Pa]

    Returns
    -------
    array of the broadcast shape. [deg C], not above temp_c; NaN for NaN

    Valid for   -100 to 100 deg C. Where a wick could be wet or frozen, it is taken as wet.
    Equation    (2501 - 2.326 Tw) Ws = W (2501 + 1.86 T - 4.186 Tw) + 1.006 (T - Tw), kJ, Ws saturated at Tw;
                below 0 deg C with 2830 - 0.24 Tw and 2.1 Tw; solved to 1e-9 K
    Source      ASHRAE Fundamentals, ch. 1, eq. 33 and 35
    Checked by  tests/reference/test_psychrometrics.py
    """
    temp, w, pressure = (np.asarray(x, dtype=float) for x in np.broadcast_arrays(temp_c, humidity_ratio, pressure_pa))
    wet = _wick_temp_c(temp, w, pressure, _WET_WICK)
    if not np.any(wet < 0.0):
        return wet
    return np.where(wet < 0.0, _wick_temp_c(temp, w, pressure, _FROZEN_WICK), wet)


@dataclass(frozen=True)
class _Wick:
    """Heat of evaporation from a wick, at_zero + slope * Tw [J/kg], heat of what it holds, and where it can be."""

    at_zero_j_kg: float
    slope_j_kg_k: float
    specific_heat_j_kg_k: float
    highest_c: float
    pressure_pa: Callable[[Values], FloatArray]
    log_slope_per_k: Callable[[FloatArray], FloatArray]


_WET_WICK = _Wick(2_501_000.0, -2326.0, 4186.0, 200.0, water_saturation_pressure_pa, log_saturation_slope_per_k)
_FROZEN_WICK = _Wick(2_830_000.0, -240.0, 2100.0, 0.0, _ice_saturation_pressure_pa, _log_ice_slope_per_k)


def _wick_temp_c(temp_c: FloatArray, w: FloatArray, pressure_pa: FloatArray, wick: _Wick) -> FloatArray:
    """Where the pressure at the wick is the one its heat balance asks for; logarithms make both nearly straight."""

    def excess(wick_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        latent = wick.at_zero_j_kg + wick.slope_j_kg_k * wick_c
        given = w * (wick.at_zero_j_kg + VAPOUR_J_KG_K * temp_c - wick.specific_heat_j_kg_k * wick_c)
        ratio = (given + AIR_J_KG_K * (temp_c - wick_c)) / latent
        ratio_slope = -(w * wick.specific_heat_j_kg_k + AIR_J_KG_K + ratio * wick.slope_j_kg_k) / latent
        log_asked = np.log(vapour_pressure_pa(ratio, pressure_pa))
        asked_slope = ratio_slope / ratio * WATER_TO_AIR_MASS / (WATER_TO_AIR_MASS + ratio)
        return np.log(wick.pressure_pa(wick_c)) - log_asked, wick.log_slope_per_k(wick_c) - asked_slope

    return increasing_root(excess, -100.0, np.minimum(temp_c, wick.highest_c), 1e-9)


def standard_pressure_pa(elevation_m: Values) -> FloatArray:
    """Pressure of the standard atmosphere.

    Parameters
    ----------
    elevation_m : array, any shape; above sea level. [m], -500 to 11,000

    Returns
    -------
    array of the same shape. [Pa]

    Equation    101325 (1 - 2.25577e-5 z)^5.2559
    Source      ASHRAE Fundamentals, ch. 1, after the US Standard Atmosphere 1976
    Checked by  tests/reference/test_psychrometrics.py
    """
    return np.asarray(STANDARD_PRESSURE_PA * (1.0 - 2.25577e-5 * np.asarray(elevation_m, dtype=float)) ** 5.2559)
