"""Constants of each crop for the bed model: balance, bulk density as loaded, and how a bed settles."""

from functools import cache

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray, Values
from dryrecords.grain.bed_kernel import GrainConstants
from dryrecords.grain.crops import CROPS, POUND_KG, specific_heats
from dryrecords.grain.energy import bound_water_ratio, free_water_latent_heat_j_kg
from dryrecords.grain.equilibrium import GENERIC_ISOTHERM, ISOTHERMS, PREFERRED, preferred_isotherms
from dryrecords.grain.thin_layer import crop_drying
from dryrecords.grain.volume import BUSHEL_M3

# The heat of bound water is taken at one temperature, so that it is a property of the grain's state alone and the
# balances close; from 40 to 90 deg C it moves by a quarter, which is half a percent of the heat of a batch.
_BOUND_TEMP_C = 60.0
# Bulk volume of each kg of dry matter, (1 + slope (m - m_base)) / density at base moisture, m on dry basis. Corn:
# test weight falls 0.48 lb a bushel for each point of moisture, 14 to 22 %, four varieties (Miles 1937); its chord.
# Volume of water alone would give 1.2. Other crops: that of corn, no source.
SETTLING_SLOPE = 1.48
SETTLING_SOURCE = "corn: 0.48 lb/bu for each point of moisture (Miles 1937); other crops as corn, no source"


@cache
def grain_constants(crop: str) -> GrainConstants:
    """Constants of the balance for a crop; of corn and generic ones where the crop has none of its own."""
    heat_0, heat_1 = _specific_heat(crop)
    bound_0, bound_1, bound_2 = _bound_heat(crop)
    isotherm = ISOTHERMS[PREFERRED[crop]] if crop in PREFERRED else GENERIC_ISOTHERM
    return GrainConstants(isotherm, crop_drying(crop), heat_0, heat_1, bound_0, bound_1, bound_2)


def _specific_heat(crop: str) -> tuple[float, float]:
    """Intercept and slope over dry-basis moisture, for each kg of dry matter.

    What is linear in wet-basis moisture is linear here too; soybeans, linear on dry basis, are bent by 0.8 %: the
    chord from 0.1 to 0.3 is taken.
    """
    heat = specific_heats(np.array(crop))
    intercept, slope = float(heat.intercept), 100.0 * float(heat.slope)
    if heat.dry_basis:
        return intercept - slope * 0.1 * 0.3, intercept + slope * (1.0 + 0.1 + 0.3)
    return intercept, intercept + slope


def _bound_heat(crop: str) -> tuple[float, float, float]:
    """Fit of the heat of bound water below a moisture; its slope is within 6 kJ/kg of energy.bound_water_ratio's.

    Soybean and canola, whose isotherms are not exponential: 12 % dry basis and above.
    """
    moisture = np.linspace(0.08, 1.5, 5000)
    ratio = bound_water_ratio(100.0 * moisture, _BOUND_TEMP_C, preferred_isotherms(np.array(crop)))
    slope = (ratio - 1.0) * free_water_latent_heat_j_kg(_BOUND_TEMP_C)
    strips = 0.5 * (slope[1:] + slope[:-1]) * np.diff(moisture)
    heat = np.cumsum(strips[::-1])[::-1]
    fitted = moisture[:-1] < 0.5
    square, linear, constant = np.polyfit(moisture[:-1][fitted], np.log(heat[fitted]), 2, w=heat[fitted])
    return float(constant), float(linear), float(square)


def volume_per_dry_m3_kg(moisture: Array, base_volume_m3_kg: Values, base_moisture: Values) -> Array:
    """Bulk volume of each kg of dry matter at a moisture [fraction, dry basis]; arrays that broadcast. [m3/kg]"""
    return np.asarray(base_volume_m3_kg * (1.0 + SETTLING_SLOPE * (moisture - base_moisture)))


def base_moisture_of(crop: str) -> float:
    """Dry-basis moisture at which the market bushel of a crop holds its legal mass; corn 15.5, else the base."""
    percent = 15.5 if crop not in CROPS or crop == "corn" else CROPS[crop].base_moisture_pct
    return percent / (100.0 - percent)


def loaded_dry_density_kg_m3(crop: str, moisture: Array) -> FloatArray:
    """Dry matter in each m3 of a bed as loaded at a moisture.

    Parameters
    ----------
    crop : a name; a bushel of 56 lb where it is not in CROPS
    moisture : array, any shape. [fraction, dry basis]

    Returns
    -------
    array of the same shape. [kg dry matter/m3]

    Source      the market bushel, 56 lb of corn at 15.5 %; `SETTLING_SOURCE`
    """
    bushel_kg = CROPS[crop].bushel_kg if crop in CROPS else 56.0 * POUND_KG
    base = base_moisture_of(crop)
    return 1.0 / volume_per_dry_m3_kg(moisture, BUSHEL_M3 * (1.0 + base) / bushel_kg, base)
