"""Air through grain: pressure, airflow, and the point where a fan works on a bed."""

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray, StrArray, Values
from dryrecords.grain.volume import BUSHEL_M3, FOOT_M

CFM_M3_S = FOOT_M**3 / 60.0  # exact; cubic foot a minute
CFM_PER_BUSHEL_PER_S = CFM_M3_S / BUSHEL_M3  # exact; airflow over grain volume, times depth is airflow over area
INCH_WATER_PA = 249.08891  # conventional, of water of 1000 kg/m3; NIST SP 811, appendix B.8


@dataclass(frozen=True)
class Resistance:
    """Constants of dP/L = a Q^2 / ln(1 + b Q) for clean, dry, loosely filled grain, and the airflow they hold for."""

    a_pa_s2_m3: float
    b_m2_s_m3: float
    airflow_limits_m3_s_m2: tuple[float, float]
    source: str


_FORM = "form of ASAE D272 after Shedd 1953"
_TABLE = f"{_FORM}; constants from memory, reproduce a printed extension table with a packing of 1.5"
_MEMORY = f"{_FORM}; constants from memory"
RESISTANCES: dict[str, Resistance] = {
    "corn": Resistance(2.07e4, 30.4, (0.0056, 0.304), _TABLE),
    "soybean": Resistance(1.02e4, 16.0, (0.0056, 0.304), _MEMORY),
    "wheat": Resistance(2.70e4, 8.77, (0.0056, 0.203), _MEMORY),
    "sorghum": Resistance(2.12e4, 8.06, (0.0056, 0.203), _MEMORY),
    "barley": Resistance(2.14e4, 13.2, (0.0056, 0.203), _MEMORY),
    "oats": Resistance(2.41e4, 13.9, (0.0056, 0.203), _MEMORY),
    "rough_rice": Resistance(2.57e4, 13.2, (0.0056, 0.152), _MEMORY),
    "sunflower": Resistance(2.49e4, 23.7, (0.025, 0.57), f"{_MEMORY}; oil type"),
    "canola": Resistance(5.22e4, 7.27, (0.0243, 0.2633), f"{_MEMORY}, low confidence; a second variety 4.55e4, 9.72"),
}

# What a farm's filling and fines add, as a factor on the pressure of clean, loose grain.
PACKING = {"corn": 1.5, "wheat": 1.3}
DEFAULT_PACKING = 1.5
PACKING_SOURCE = (
    "corn 1.5: contained in a University of Nebraska table of static pressures (Dorn 2008); wheat 1.2 to 1.3, from "
    "memory; other crops as corn, packed fill adding up to half (notes to ASAE D272, from memory)"
)
FAN_EFFICIENCY = 0.5  # air over shaft power; 0.4 to 0.65, from memory


@dataclass(frozen=True)
class ResistanceArrays:
    """Constants of Resistance for each of n beds, arrays that broadcast; NaN for a crop without any."""

    a_pa_s2_m3: FloatArray
    b_m2_s_m3: FloatArray
    packing: FloatArray


def resistances(crop: StrArray, packing: Values | None = None) -> ResistanceArrays:
    """Resistance of a bed of each crop.

    Parameters
    ----------
    crop : array of str, any shape
    packing : array that broadcasts with crop; 1 for clean grain filled loosely, None for the crop's own. [-]

    Returns
    -------
    arrays of the shape of crop, packing of its own; NaN where no constants are known
    """
    names = np.asarray(crop)
    own = _of_crop(names, {name: PACKING.get(name, DEFAULT_PACKING) for name in RESISTANCES})
    return ResistanceArrays(
        a_pa_s2_m3=_of_crop(names, {name: each.a_pa_s2_m3 for name, each in RESISTANCES.items()}),
        b_m2_s_m3=_of_crop(names, {name: each.b_m2_s_m3 for name, each in RESISTANCES.items()}),
        packing=own if packing is None else np.asarray(packing, dtype=float),
    )


def _of_crop(crop: StrArray, values: dict[str, float]) -> FloatArray:
    names, place = np.unique(crop, return_inverse=True)
    return np.array([values.get(str(name), np.nan) for name in names], dtype=float)[place.reshape(crop.shape)]


def in_range(airflow_m3_s_m2: Values, crop: StrArray) -> BoolArray:
    """Whether an airflow [m3/(s m2)] is inside the range of the constants of a crop; arrays that broadcast."""
    limits = {name: each.airflow_limits_m3_s_m2 for name, each in RESISTANCES.items()}
    low, high = (_of_crop(np.asarray(crop), {name: each[end] for name, each in limits.items()}) for end in (0, 1))
    return np.asarray((np.asarray(airflow_m3_s_m2) >= low) & (np.asarray(airflow_m3_s_m2) <= high))


@np.errstate(all="ignore")
def pressure_gradient_pa_m(airflow_m3_s_m2: Values, bed: ResistanceArrays) -> FloatArray:
    """Loss of pressure along a bed for each metre of depth.

    Parameters
    ----------
    airflow_m3_s_m2 : array, any shape; airflow over the empty floor, not negative. [m3/(s m2)]
    bed : arrays that broadcast with it

    Returns
    -------
    array of the broadcast shape. [Pa/m]; 0 for no air, NaN for negative

    Equation    a Q^2 / ln(1 + b Q), times packing
    Valid for   `in_range`
    Source      Shedd 1953; form and constants of ASAE D272, from memory. No claim of conformance.
    Known gap   wet grain resists less, horizontal air 40 to 50 % less in long kernels (Jayas & Muir 1991)
    Checked by  tests/reference/test_airflow.py
    """
    q = np.where(np.asarray(airflow_m3_s_m2) >= 0.0, airflow_m3_s_m2, np.nan)
    product = bed.b_m2_s_m3 * q
    curvature = np.where(product > 0.0, product / np.log1p(product), 1.0)
    return np.asarray(bed.packing * bed.a_pa_s2_m3 / bed.b_m2_s_m3 * q * curvature)


def airflow_at_gradient_m3_s_m2(gradient_pa_m: Values, bed: ResistanceArrays) -> FloatArray:
    """Airflow that a pressure gradient drives, inverse of pressure_gradient_pa_m.

    Parameters
    ----------
    gradient_pa_m : array, any shape; not negative. [Pa/m]
    bed : arrays that broadcast with it

    Returns
    -------
    array of the broadcast shape. [m3/(s m2)]

    Checked by  tests/reference/test_airflow.py
    """
    return _airflow(gradient_pa_m, bed, power_of_airflow=0.0)


def operating_airflow_m3_s_m2(air_power_w_m2: Values, depth_m: Values, bed: ResistanceArrays) -> FloatArray:
    """Airflow at which a bed takes up the air power of its fans.

    Parameters
    ----------
    air_power_w_m2 : array, any shape; airflow times pressure where both were measured, else shaft power times
        efficiency; of all fans, over the floor area. [W/m2]
    depth_m : array that broadcasts; above 0. [m]
    bed : arrays that broadcast with them

    Returns
    -------
    array of the broadcast shape. [m3/(s m2)]; NaN for a depth not above 0

    Equation    Q dP(Q) = air power
    Valid for   beds near the one the power was measured on: a fan holds its air power over a part of its curve
                only, and an axial fan delivers less than this on a shallow bed.
    Checked by  tests/reference/test_airflow.py
    """
    depth = np.where(np.asarray(depth_m) > 0.0, depth_m, np.nan)
    return _airflow(air_power_w_m2 / depth, bed, power_of_airflow=1.0)


@np.errstate(all="ignore")
def _airflow(target: Values, bed: ResistanceArrays, power_of_airflow: float) -> FloatArray:
    """Airflow at which airflow^power * gradient is the target.

    Newton's steps on logarithms: the curve's slope there lies between power + 1 and power + 2, whatever the airflow.
    """
    goal = np.asarray(target, dtype=float)
    log_goal = np.log(np.where(goal > 0.0, goal, np.nan))
    log_q = np.log(0.1) + 0.0 * log_goal
    for _ in range(8):
        q = np.exp(log_q)
        product = bed.b_m2_s_m3 * q
        slope = power_of_airflow + 2.0 - product / ((1.0 + product) * np.log1p(product))
        excess = power_of_airflow * log_q + np.log(pressure_gradient_pa_m(q, bed)) - log_goal
        log_q = log_q - excess / slope
    return np.where(goal == 0.0, 0.0 * bed.a_pa_s2_m3, np.exp(log_q))


def shaft_power_w(airflow_m3_s: Values, pressure_pa: Values, efficiency: Values = FAN_EFFICIENCY) -> FloatArray:
    """Shaft power of a fan: airflow [m3/s] times pressure [Pa] over efficiency [-]; arrays that broadcast. [W]"""
    return np.asarray(airflow_m3_s * pressure_pa / efficiency)


def shaft_power_w_per_1000_bu(
    airflow_m3_s_m2: Values, bed: ResistanceArrays, efficiency: Values = FAN_EFFICIENCY
) -> FloatArray:
    """Shaft power that drives an airflow through a bed, for each 1000 bushels of volume in it.

    Parameters
    ----------
    airflow_m3_s_m2 : array, any shape. [m3/(s m2)]
    bed, efficiency : arrays that broadcast with it; efficiency above 0 up to 1 [-]

    Returns
    -------
    array of the broadcast shape. [W]

    Checked by  tests/reference/test_airflow.py
    """
    return shaft_power_w(airflow_m3_s_m2, pressure_gradient_pa_m(airflow_m3_s_m2, bed), efficiency) * 1000.0 * BUSHEL_M3
