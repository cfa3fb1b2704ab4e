"""Energy of drying: fuels, liquid volume at 60 F, heat of water and grain, and defaults for the unmetered."""

import math
from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import Array, BoolArray, FloatArray, Values, at_least
from dryrecords.grain.crops import SpecificHeatArrays
from dryrecords.grain.equilibrium import IsothermArrays
from dryrecords.grain.moisture import dry_basis_pct
from dryrecords.grain.psychrometrics import log_saturation_slope_per_k
from dryrecords.grain.volume import FOOT_M, GALLON_M3

BTU_J = 1055.05585262  # exact, International Table; UCUM [Btu_IT]
THERM_J = 100_000.0 * BTU_J
KWH_J = 3.6e6  # exact
HORSEPOWER_W = 550.0 * FOOT_M * 0.45359237 * 9.80665  # exact, 550 foot-pounds-force a second


@dataclass(frozen=True)
class Fuel:
    """A dryer fuel and its gross heating value; None for a fuel that is billed by its energy."""

    name: str
    energy_j_per_m3: float | None  # liquid at 15.56 deg C (60 F)
    source: str


PROPANE_J_PER_M3 = 91_333.0 * BTU_J / GALLON_M3
FUELS = {
    "propane": Fuel(
        "propane",
        PROPANE_J_PER_M3,
        "gross, US Energy Information Administration (Federal Register 2007)",
    ),
    "diesel": Fuel(
        "diesel",
        137_381.0 * BTU_J / GALLON_M3,
        "gross, US Energy Information Administration, distillate; from memory",
    ),
    "natural_gas": Fuel("natural_gas", None, "billed in therms of 100,000 Btu"),
}


@dataclass(frozen=True)
class DefaultUse:
    """Use of energy for each point removed and wet bushel, taken where nothing is metered."""

    value: float
    standard_uncertainty: float  # half the range over sqrt(3), JCGM 100:2008 section 4.3.7
    source: str


# [m3 of liquid propane at 15.56 deg C for each point and wet bushel]
DEFAULT_PROPANE_USE = DefaultUse(
    0.02 * GALLON_M3,
    0.005 * GALLON_M3 / math.sqrt(3.0),
    "0.02 gal: Iowa State and South Dakota State extension; range 0.015 to 0.025",
)
# [kWh for each point and wet bushel]
DEFAULT_ELECTRICITY_USE = DefaultUse(
    0.01,
    0.005 / math.sqrt(3.0),
    "0.01 kWh: University of Minnesota extension, from memory; range 0.005 to 0.015 is our own",
)
DEFAULT_GRAIN_TEMP_C = 10.0  # 50 F, an autumn day; our own choice, moves the latent heat by 0.1 % a degree
MOTOR_EFFICIENCY = 0.88  # shaft over electric power of a farm fan motor; common practice, no source


def default_fuel_use(energy_j_per_m3: Values) -> tuple[FloatArray, FloatArray]:
    """Default fuel use, and its standard uncertainty, as a volume of the fuel at hand.

    Parameters
    ----------
    energy_j_per_m3 : array, any shape; gross heating value. [J/m3]; NaN (gas) answers in liquid propane

    Returns
    -------
    two arrays of the same shape. [m3 for each point and wet bushel]
    """
    volume = PROPANE_J_PER_M3 / np.where(np.isnan(energy_j_per_m3), PROPANE_J_PER_M3, energy_j_per_m3)
    return DEFAULT_PROPANE_USE.value * volume, DEFAULT_PROPANE_USE.standard_uncertainty * volume


# Volume at 60 F over volume at the temperature of the liquid, propane of relative density near 0.51. From
# memory of the tables in state weights-and-measures rules, except 1.031 at 40 F, which is printed in
# 29 CFR 1910.110(b)(19). Custody transfer goes by GPA 8217 / API MPMS 11.2.4 instead.
_PROPANE_TEMP_C = (np.arange(0.0, 101.0, 10.0) - 32.0) / 1.8
_PROPANE_FACTOR = np.array([1.092, 1.078, 1.062, 1.047, 1.031, 1.016, 1.000, 0.983, 0.967, 0.949, 0.932])


def propane_volume_factor(liquid_temp_c: Values) -> tuple[FloatArray, BoolArray]:
    """Factor that turns a volume of liquid propane into its volume at 15.56 deg C (60 F).

    Parameters
    ----------
    liquid_temp_c : array, any shape; temperature of the liquid, not of the air. [deg C]

    Returns
    -------
    factor : array of the same shape. [-]; NaN for NaN
    in_table : bool array of the same shape; False where the end of the table was taken instead

    Valid for   -17.8 to 37.8 deg C
    Checked by  tests/reference/test_energy.py (the one printed point)
    """
    temp = np.asarray(liquid_temp_c, dtype=float)
    in_table = (temp >= _PROPANE_TEMP_C[0]) & (temp <= _PROPANE_TEMP_C[-1])
    return np.asarray(np.interp(temp, _PROPANE_TEMP_C, _PROPANE_FACTOR)), in_table


def fan_electric_power_w(shaft_power_w: Values, motor_efficiency: Values = MOTOR_EFFICIENCY) -> FloatArray:
    """Electric power that a fan of a rated shaft power draws.

    Parameters
    ----------
    shaft_power_w : array, any shape; rated horsepower times HORSEPOWER_W. [W]
    motor_efficiency : array that broadcasts. [-], above 0 up to 1

    Returns
    -------
    array of the broadcast shape. [W]
    """
    return np.asarray(shaft_power_w / motor_efficiency)


def free_water_latent_heat_j_kg(temp_c: Values) -> Array:
    """Heat that evaporates free water.

    Parameters
    ----------
    temp_c : array, any shape. [deg C], 0 to about 100

    Returns
    -------
    array of the same shape. [J/kg]

    Equation    2502.2 - 2.386 T kJ/kg (1094 - 0.57 T_F Btu/lb)
    Source      Thompson, Peart & Foster 1968, from memory
    Checked by  tests/reference/test_latent_heat.py
    """
    return np.asarray(1000.0 * (2502.2 - 2.386 * temp_c))


# About where grain stands at 10 % humidity, the driest air the isotherms hold for (from memory); below, the
# bound-water term is held.
_DRIEST_PCT_DRY_BASIS = 6.0


@np.errstate(all="ignore")
def bound_water_ratio(moisture_dry_basis_pct: Values, temp_c: Values, isotherm: IsothermArrays) -> Array:
    """Heat of evaporating water from grain over that of free water.

    Parameters
    ----------
    moisture_dry_basis_pct : array, any shape. [% dry basis]; below 6, taken as 6
    temp_c : array that broadcasts with it. [deg C]
    isotherm : arrays that broadcast with it

    Returns
    -------
    array of the broadcast shape. [-], above 1

    Equation    1 + (d ln RH / dT at constant moisture) / (d ln ps / dT), Clausius-Clapeyron
    Source      Othmer's method as used by Rodriguez-Arias, Hall & Bakker-Arkema 1963 (Cereal Chem. 40:676)
    Known gap   2 to 4 % from the values measured there on corn
    Checked by  tests/reference/test_latent_heat.py
    """
    moisture = at_least(moisture_dry_basis_pct, _DRIEST_PCT_DRY_BASIS)
    power = np.where(isotherm.is_halsey, -isotherm.c, isotherm.b)
    exponent = np.where(isotherm.is_chung_pfost, -isotherm.b * moisture, power * np.log(moisture))
    term = isotherm.a * np.exp(exponent)
    warmth = temp_c + isotherm.c
    halsey = -isotherm.b * np.exp(isotherm.a + isotherm.b * temp_c) * np.exp(exponent)
    henderson = term / np.expm1(warmth * term)
    slope = np.where(isotherm.is_halsey, halsey, np.where(isotherm.is_chung_pfost, term / warmth**2, henderson))
    slope = np.where(isotherm.is_oswin, _oswin_slope_per_k(moisture, temp_c, isotherm), slope)
    return np.asarray(1.0 + slope / log_saturation_slope_per_k(temp_c))


def _oswin_slope_per_k(moisture: Array, temp_c: Values, isotherm: IsothermArrays) -> Array:
    """Slope of the logarithm of humidity over temperature at constant moisture [% dry basis], modified Oswin. [1/K]"""
    warmth = isotherm.a + isotherm.b * temp_c
    return np.asarray(-isotherm.c * isotherm.b / warmth / (1.0 + (moisture / warmth) ** isotherm.c))


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)


@np.errstate(all="ignore")
def mean_latent_heat_j_kg(
    moisture_in_pct: Values, moisture_out_pct: Values, temp_c: Values, isotherm: IsothermArrays
) -> Array:
    """Mean heat of evaporating the water between two moistures from grain, bound-water term included.

    Parameters
    ----------
    moisture_in_pct, moisture_out_pct : arrays that broadcast. [% wet basis], 0 up to 100
    temp_c : array that broadcasts with them; temperature of the grain. [deg C]
    isotherm : arrays that broadcast with them

    Returns
    -------
    array of the broadcast shape. [J/kg of water]

    Equation    mean over dry-basis moisture, in which water removed is linear; Gauss-Legendre of 8 points
    Checked by  tests/grain/test_energy.py against adaptive quadrature
    """
    moist, dry = np.broadcast_arrays(dry_basis_pct(moisture_in_pct), dry_basis_pct(moisture_out_pct))
    along = (slice(None), *(np.newaxis,) * moist.ndim)
    nodes = 0.5 * (moist + dry) + 0.5 * (moist - dry) * _NODES[along]
    ratios = bound_water_ratio(nodes, temp_c, isotherm)
    mean_ratio = (0.5 * _WEIGHTS[along] * ratios).sum(axis=0)
    return np.asarray(free_water_latent_heat_j_kg(temp_c) * mean_ratio)


def specific_heat_j_kg_k(moisture_pct: Values, heat: SpecificHeatArrays) -> Array:
    """Specific heat of wet grain.

    Parameters
    ----------
    moisture_pct : array, any shape. [% wet basis], 0 up to 100
    heat : arrays that broadcast with it

    Returns
    -------
    array of the broadcast shape. [J/(kg K)]

    Valid for   the range named in the source of each crop's constants
    Checked by  tests/reference/test_latent_heat.py
    """
    moisture = np.where(heat.dry_basis, dry_basis_pct(moisture_pct), moisture_pct)
    return np.asarray(heat.intercept + heat.slope * moisture)
