"""Fuel that a batch should take: heat for water and grain, over what the air leaves of it on its way out."""

from __future__ import annotations

import numpy as np

from dryrecords.grain.arrays import FloatArray, Values
from dryrecords.grain.psychrometrics import (
    humidity_ratio,
    humidity_ratio_of_rh,
    log_saturation_slope_per_k,
    water_saturation_pressure_pa,
)

# How far from its wet bulb towards the plenum temperature the air leaves, mean of a whole batch: so the fixed-bed model
# of `bed` has it at 160 F and 20 cfm a bushel, where 1 lb of water takes about 2,000 Btu in the air. Our own fit; with
# it a day that is 20 F colder takes 13 % more, which Iowa State extension (2022) puts at about 14 %.
EXHAUST_APPROACH = 0.137
# Of the gross heating value into the air: 8 % go with the water of combustion (lower over gross heating value of
# propane, 84,250 over 91,333 Btu/gal), the rest through burner and plenum walls. Common practice, no source.
BURNER_EFFICIENCY = 0.85
# Taken where nothing is recorded; our own choice.
USUAL_AMBIENT_C = 10.0
USUAL_AMBIENT_RH_PCT = 70.0
USUAL_PLENUM_C = 71.1
# How far towards the plenum temperature a batch warms, mean of its layers: the fixed-bed model of `bed` at 160 F.
WARMED_SHARE = 0.5
# A burner that hardly warms the air has no efficiency to speak of.
_LEAST_WARMING_K = 5.0
# Newton's steps from 60 deg C, above any wet bulb of heated outside air. As many for each batch whatever its company,
# so that its figures are the same bits; the last one moves less than 1e-6 K.
_WET_BULB_STEPS = 8

# Standard uncertainty of an expected use, as a fraction of it, half a range over sqrt(3), JCGM 100:2008 4.3.7. One
# farm's bins in two years: 0.015 to 0.022 gal a point and bushel about 0.019 (Iowa State extension PM 3063C). Farms of
# a state: 0.010 to 0.025 about 0.018 (Iowa State extension IC-492, 2004); what is left is the dryer's own.
BATCH_U = 0.0035 / 0.019 / np.sqrt(3.0)
DRYER_U = float(np.sqrt((0.0075 / 0.018) ** 2 / 3.0 - BATCH_U**2))


def heat_over_useful(plenum_temp_c: Values, ambient_temp_c: Values, ambient_rh_pct: Values) -> FloatArray:
    """Heat that air has to bring for each unit that stays with grain and water.

    Parameters
    ----------
    plenum_temp_c, ambient_temp_c, ambient_rh_pct : arrays that broadcast; NaN where not known. [deg C], [deg C], [%]

    Returns
    -------
    array of the broadcast shape. [-], above 1

    Valid for   air that is heated by 5 K and more, plenum up to 110 deg C; less warming counts as 5 K
    Equation    (Tp - Ta) / (Tp - Tx), Tx = Tw + a (Tp - Tw), Tw the wet bulb of the heated air
    Source      energy balance of air that passes once; a from the bed model, see EXHAUST_APPROACH
    Checked by  tests/reference/test_demand.py
    """
    ambient = np.where(np.isnan(ambient_temp_c), USUAL_AMBIENT_C, ambient_temp_c)
    humidity = np.where(np.isnan(ambient_rh_pct), USUAL_AMBIENT_RH_PCT, ambient_rh_pct)
    plenum = np.where(np.isnan(plenum_temp_c), USUAL_PLENUM_C, plenum_temp_c)
    plenum = np.clip(plenum, ambient + _LEAST_WARMING_K, 110.0)
    wet_bulb = _wet_bulb_c(plenum, humidity_ratio_of_rh(ambient, humidity))
    exhaust = wet_bulb + EXHAUST_APPROACH * (plenum - wet_bulb)
    return np.asarray((plenum - ambient) / (plenum - exhaust))


def _wet_bulb_c(temp_c: FloatArray, w: FloatArray) -> FloatArray:
    """As psychrometrics.wet_bulb_c has it above 0 deg C, at standard pressure."""
    wet = np.minimum(temp_c, 60.0)
    for _ in range(_WET_BULB_STEPS):
        saturated = humidity_ratio(water_saturation_pressure_pa(wet))
        excess = (
            (2501.0 - 2.326 * wet) * saturated - w * (2501.0 + 1.86 * temp_c - 4.186 * wet) - 1.006 * (temp_c - wet)
        )
        saturated_slope = saturated * (1.0 + saturated / 0.621945) * log_saturation_slope_per_k(wet)
        slope = (2501.0 - 2.326 * wet) * saturated_slope - 2.326 * saturated + 4.186 * w + 1.006
        wet = wet - excess / slope
    return wet


def expected_fuel_j(useful_heat_j: Values, heat_over_useful: Values) -> FloatArray:
    """Gross energy of the fuel for heat that stays with water and grain; arrays that broadcast. [J]

    Equation    useful heat times the ratio of `heat_over_useful`, over BURNER_EFFICIENCY
    """
    return np.asarray(useful_heat_j * heat_over_useful / BURNER_EFFICIENCY)
