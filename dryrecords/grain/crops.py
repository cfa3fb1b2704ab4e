"""Crop constants with their sources: bushel, base moisture, heat, isotherm, repose angle, meter tolerance."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray, StrArray
from dryrecords.grain.equilibrium import ISOTHERMS, Isotherm, IsothermArrays, isotherm_arrays

POUND_KG = 0.45359237  # exact; UN/CEFACT Recommendation 20, LBR


@dataclass(frozen=True)
class SpecificHeat:
    """Specific heat of wet grain, intercept + slope * moisture [J/(kg K)]; moisture [%], basis as named."""

    intercept: float
    slope: float
    dry_basis: bool
    source: str


@dataclass(frozen=True)
class MeterTolerance:
    """Largest error a moisture meter may have in service: max(slope * moisture, floor) [points]."""

    slope: float
    floor_pct: float


@dataclass(frozen=True)
class Crop:
    """What the numeric core knows of one crop. None means no figure good enough to print is known."""

    name: str
    bushel_lb: float
    bushel_source: str
    base_moisture_pct: float  # default market base, percent wet basis; a lot may set another
    base_moisture_source: str
    meter_tolerance: MeterTolerance
    specific_heat: SpecificHeat | None = None
    isotherm: Isotherm | None = None  # trusted for the heat of bound water; equilibrium.PREFERRED knows more
    repose_deg: float | None = None  # filling angle of repose
    repose_source: str = "no figure with a source known"

    @property
    def bushel_kg(self) -> float:
        """Mass of the market bushel [kg]."""
        return self.bushel_lb * POUND_KG


_MWPS = "Midwest Plan Service table of filling angles, as transcribed by extension services"
# NIST Handbook 44 section 5.56(a), air-oven method, from memory: two groups of grains.
_HB44_COARSE = MeterTolerance(0.05, 0.8)
_HB44_OTHER = MeterTolerance(0.04, 0.7)

# Taken where a crop has none of its own; whoever computes with it must say that it is generic.
GENERIC_SPECIFIC_HEAT = SpecificHeat(
    1120.0,
    30.7,
    False,
    "dry matter 1.12 and water 4.19 kJ/(kg K) added by mass; grain-dryer models of the 1970s",
)

_CROPS = (
    Crop(
        "corn",
        56.0,
        "University of Wisconsin Extension bushel table",
        15.0,
        "most cash schedules; 15.5 is the traditional base of the 56 lb bushel (UW Extension)",
        _HB44_COARSE,
        specific_heat=SpecificHeat(1465.0, 35.6, False, "Kazarian & Hall 1965, yellow dent, 0.9-30 %; from memory"),
        isotherm=ISOTHERMS["corn_henderson_1995"],
        repose_deg=23.0,
        repose_source=_MWPS,
    ),
    Crop(
        "soybean",
        60.0,
        "University of Wisconsin Extension bushel table",
        13.0,
        "UW Extension; 7 CFR 457.113 section 11(d)",
        _HB44_OTHER,
        specific_heat=SpecificHeat(1638.0, 19.27, True, "Alam & Shove 1973, 0-38 % dry basis; from memory"),
        isotherm=ISOTHERMS["soybean_halsey_1995"],
        repose_deg=25.0,
        repose_source=_MWPS,
    ),
    Crop(
        "wheat",
        60.0,
        "University of Wisconsin Extension bushel table",
        13.5,
        "UW Extension",
        _HB44_OTHER,
        specific_heat=SpecificHeat(1394.0, 40.9, False, "Kazarian & Hall 1965, soft white, 0.7-20 %; from memory"),
        isotherm=ISOTHERMS["wheat_hard_red_chung_pfost_1995"],
        repose_deg=25.0,
        repose_source=_MWPS,
    ),
    Crop(
        "sorghum",
        56.0,
        "University of Wisconsin Extension bushel table",
        14.0,
        "7 CFR 457.113 section 11(d); 13 to 13.5 also in use, from memory",
        _HB44_COARSE,
        specific_heat=SpecificHeat(1396.0, 32.2, False, "Sharma & Thompson 1973, 0-30 %; from memory"),
        isotherm=ISOTHERMS["sorghum_chung_pfost_1995"],
        repose_deg=29.0,
        repose_source="from memory",
    ),
    Crop(
        "barley",
        48.0,
        "University of Wisconsin Extension bushel table",
        14.5,
        "UW Extension",
        _HB44_OTHER,
        isotherm=ISOTHERMS["barley_chung_pfost_1995"],
        repose_deg=28.0,
        repose_source=_MWPS,
    ),
    Crop(
        "oats",
        32.0,
        "University of Wisconsin Extension bushel table",
        14.0,
        "UW Extension",
        _HB44_COARSE,
        specific_heat=SpecificHeat(1277.0, 32.7, False, "Haswell 1954, 11.7-17.8 %; from memory"),
        # two constant sets 0.6 point apart are in print: no isotherm until one is confirmed
        repose_deg=28.0,
        repose_source=_MWPS,
    ),
    Crop("rye", 56.0, "trade tables of legal weights", 14.0, "from memory", _HB44_OTHER),
    Crop("flax", 56.0, "trade tables of legal weights", 10.0, "from memory; 9 to 10 in use", _HB44_OTHER),
    # an isotherm from memory exists for canola and sunflower; nothing printed was found to run it against
    Crop("canola", 50.0, "trade tables of legal weights", 10.0, "from memory; 8.5 to 10 in use", _HB44_OTHER),
    Crop(
        "rough_rice",
        45.0,
        "trade tables of legal weights; 43 in some states",
        13.0,
        "from memory; 12 to 13.5 in use",
        _HB44_COARSE,
        specific_heat=SpecificHeat(1110.0, 44.8, False, "Wratten et al. 1969, long grain, 10-17 %; from memory"),
        isotherm=ISOTHERMS["rough_rice_long_henderson_1995"],
    ),
    Crop(
        "sunflower",
        28.0,
        "state tables of legal weights, oil type: 24 to 32, 28 the most used",
        10.0,
        "from memory",
        _HB44_COARSE,
        repose_deg=27.0,
        repose_source=_MWPS,
    ),
)
CROPS: dict[str, Crop] = {crop.name: crop for crop in _CROPS}

_NAMES = np.array(sorted(CROPS))


def crop_values(crop: StrArray, of_crop: Callable[[Crop], float | None]) -> FloatArray:
    """One constant for each crop name, NaN where the name is not in CROPS or the constant is not known.

    Parameters
    ----------
    crop : array of str, any shape
    of_crop : constant of one crop [any unit]
    """
    constants = [of_crop(CROPS[str(name)]) for name in _NAMES]
    column = np.array([np.nan if each is None else each for each in constants])
    place = np.minimum(np.searchsorted(_NAMES, crop), _NAMES.size - 1)
    return np.where(_NAMES[place] == crop, column[place], np.nan)


def bushel_kg(crop: StrArray) -> FloatArray:
    """Mass of the market bushel [kg] of each crop name (any shape), NaN for a name not in CROPS."""
    return crop_values(crop, lambda each: each.bushel_kg)


def repose_slope(crop: StrArray) -> FloatArray:
    """Tangent of the filling angle of repose [-] of each crop name (any shape), NaN where not known."""
    # math.tan, not np.tan: a vector routine may differ in the last bit with the length of the array
    return crop_values(crop, lambda each: None if each.repose_deg is None else math.tan(math.radians(each.repose_deg)))


def isotherms(crop: StrArray) -> IsothermArrays:
    """Isotherm of each crop name (any shape); the generic one where a crop has none or is not in CROPS."""
    return isotherm_arrays(crop, {name: each.isotherm for name, each in CROPS.items() if each.isotherm})


@dataclass(frozen=True)
class SpecificHeatArrays:
    """Specific heat of each of n batches: the constants of SpecificHeat as arrays of shape (n,)."""

    intercept: FloatArray
    slope: FloatArray
    dry_basis: BoolArray
    is_generic: BoolArray


def specific_heats(crop: StrArray) -> SpecificHeatArrays:
    """Specific heat of each crop name (any shape); the generic one where a crop has none."""

    def column(of_heat: Callable[[SpecificHeat], float]) -> FloatArray:
        known = crop_values(crop, lambda each: of_heat(each.specific_heat) if each.specific_heat else None)
        return np.where(np.isnan(known), of_heat(GENERIC_SPECIFIC_HEAT), known)

    return SpecificHeatArrays(
        intercept=column(lambda each: each.intercept),
        slope=column(lambda each: each.slope),
        dry_basis=column(lambda each: each.dry_basis) == 1.0,
        is_generic=np.isnan(crop_values(crop, lambda each: None if each.specific_heat is None else 1.0)),
    )


def meter_tolerance_pct(crop: StrArray, moisture_pct: FloatArray) -> FloatArray:
    """Largest error of a moisture meter in service, by the air-oven method.

    Parameters
    ----------
    crop : array of str, any shape
    moisture_pct : array that broadcasts with crop. [% wet basis]

    Returns
    -------
    array of the broadcast shape. [points of moisture]; NaN for a name not in CROPS

    Source      NIST Handbook 44 section 5.56(a), from memory
    """
    slope = crop_values(crop, lambda each: each.meter_tolerance.slope)
    return np.maximum(slope * moisture_pct, crop_values(crop, lambda each: each.meter_tolerance.floor_pct))
