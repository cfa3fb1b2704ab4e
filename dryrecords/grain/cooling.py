"""Cooling hot grain in a bin, at once or after steeping: moisture it gives off and time it takes. By energy balance."""

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.airflow import CFM_PER_BUSHEL_PER_S
from dryrecords.grain.arrays import FloatArray, Values
from dryrecords.grain.crops import SpecificHeatArrays
from dryrecords.grain.energy import bound_water_ratio, free_water_latent_heat_j_kg, specific_heat_j_kg_k
from dryrecords.grain.equilibrium import IsothermArrays
from dryrecords.grain.moisture import dry_basis_pct, wet_basis_pct
from dryrecords.grain.psychrometrics import AIR_J_KG_K

_HOUR_S = 3600.0


@dataclass(frozen=True)
class CoolingPractice:
    """A way of cooling: what share of the heat of the grain goes into evaporation, and the rest it takes."""

    evaporative_share: float  # [-]
    steep_s: float  # without air, before cooling [s]
    source: str


# Prompt: what is left of the heat must leave with the air, and a published cooling time says how much that is.
IN_BIN = CoolingPractice(
    0.39,
    0.0,
    "from 15 h for each cfm a bushel (University of Nebraska 2022) against 25 h without evaporation; "
    "North Dakota State University: about 1 point",
)
DRYERATION = CoolingPractice(
    0.64,
    5.0 * _HOUR_S,
    "0.20 to 0.25 point for each 10 F in Midwest bulletins, from memory, is 57 to 71 % of the heat; "
    "steeping 4 to 6 h: University of Minnesota, Purdue University AE-107",
)
# University of Nebraska 2022: 15 h at 1 cfm a bushel, 3 days at 0.2; airflow over grain volume times time [-]
COOLING_RULE_AIR_CHANGES = 15.0 * _HOUR_S * CFM_PER_BUSHEL_PER_S
# North Dakota State University: for cooling in storage right after the dryer [1/s]
IN_BIN_AIRFLOW_PER_S = 0.2 * CFM_PER_BUSHEL_PER_S

_STEPS = 4


@np.errstate(all="ignore")
def cooling_ceiling_pct(
    moisture_pct: Values,
    grain_temp_c: Values,
    cooled_temp_c: Values,
    isotherm: IsothermArrays,
    heat: SpecificHeatArrays,
) -> FloatArray:
    """Most moisture that grain can lose by cooling: all of its heat evaporates water, and none warms the air.

    Parameters
    ----------
    moisture_pct : array, any shape; while hot. [% wet basis], 0 up to 100
    grain_temp_c, cooled_temp_c : arrays that broadcast with it. [deg C]
    isotherm, heat : arrays that broadcast with them

    Returns
    -------
    array of the broadcast shape. [points of moisture]; 0 where the grain does not cool

    Equation    dm/dT = c (1 + m) / h, m dry basis, c of wet grain, h with the heat of bound water; Runge-Kutta
    Valid for   air that brings no heat of its own: warmer or drier air than the cooled grain can take more
    Source      first law
    Checked by  tests/reference/test_cooling.py
    """

    def slope(dry: FloatArray, temp_c: FloatArray) -> FloatArray:
        latent = free_water_latent_heat_j_kg(temp_c) * bound_water_ratio(dry, temp_c, isotherm)
        return np.asarray(specific_heat_j_kg_k(wet_basis_pct(dry), heat) * (100.0 + dry) / latent)

    hot, dry = np.broadcast_arrays(np.asarray(grain_temp_c, dtype=float), dry_basis_pct(moisture_pct))
    step = (np.minimum(cooled_temp_c, hot) - hot) / _STEPS
    for place in range(_STEPS):
        temp = hot + place * step
        first = slope(dry, temp)
        second = slope(dry + 0.5 * step * first, temp + 0.5 * step)
        third = slope(dry + 0.5 * step * second, temp + 0.5 * step)
        fourth = slope(dry + step * third, temp + step)
        dry = dry + step / 6.0 * (first + 2.0 * second + 2.0 * third + fourth)
    return np.asarray(moisture_pct - wet_basis_pct(dry))


def cooled_moisture_pct(
    moisture_pct: Values,
    grain_temp_c: Values,
    cooled_temp_c: Values,
    isotherm: IsothermArrays,
    heat: SpecificHeatArrays,
    evaporative_share: Values = IN_BIN.evaporative_share,
) -> FloatArray:
    """Moisture of grain after cooling.

    Parameters
    ----------
    moisture_pct, grain_temp_c, cooled_temp_c, isotherm, heat : as in cooling_ceiling_pct
    evaporative_share : array that broadcasts; of a CoolingPractice, or learnt; taken within 0 to 1. [-]

    Returns
    -------
    array of the broadcast shape. [% wet basis]

    Known gap   the share is a mean of practice, 0.3 to 0.7 in print; a bed model tells more
    Checked by  tests/reference/test_cooling.py
    """
    ceiling = cooling_ceiling_pct(moisture_pct, grain_temp_c, cooled_temp_c, isotherm, heat)
    return np.asarray(moisture_pct - np.clip(evaporative_share, 0.0, 1.0) * ceiling)


def cooling_time_s(
    airflow_per_s: Values,
    moisture_pct: Values,
    bulk_density_kg_m3: Values,
    heat: SpecificHeatArrays,
    *,
    air_density_kg_m3: Values = 1.2,
    evaporative_share: Values = IN_BIN.evaporative_share,
) -> FloatArray:
    """Time in which a cooling front passes through the whole bed.

    Parameters
    ----------
    airflow_per_s : array, any shape; airflow over volume of grain. [1/s]
    moisture_pct, bulk_density_kg_m3 : arrays that broadcast with it. [% wet basis], [kg/m3 of wet grain]
    heat : arrays that broadcast with them
    air_density_kg_m3 : of dry air where the airflow is stated. [kg/m3]
    evaporative_share : array that broadcasts; as in cooled_moisture_pct. [-]

    Returns
    -------
    array of the broadcast shape. [s]; infinite without air

    Equation    heat of the grain that does not evaporate water over what the air carries for each degree
    Known gap   a front is not sharp: the far end takes longer than this
    Checked by  tests/reference/test_cooling.py, against the rule of the University of Nebraska
    """
    grain_heat = np.asarray(bulk_density_kg_m3) * specific_heat_j_kg_k(moisture_pct, heat)
    carried = np.asarray(airflow_per_s, dtype=float) * air_density_kg_m3 * AIR_J_KG_K
    with np.errstate(divide="ignore"):
        return np.asarray((1.0 - np.clip(evaporative_share, 0.0, 1.0)) * grain_heat / carried)
