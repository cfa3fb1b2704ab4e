"""Bushels and bins: exact volume constants, volume of a filled bin, mass from volume and test weight."""

import math

import numpy as np

from dryrecords.grain.arrays import FloatArray, Values
from dryrecords.grain.crops import POUND_KG

FOOT_M = 0.3048  # exact, international foot
INCH_M = 0.0254  # exact, international inch
BUSHEL_M3 = 2150.42 * INCH_M**3  # exact; Winchester bushel, UCUM [bu_us]
GALLON_M3 = 231.0 * INCH_M**3  # exact; US liquid gallon, UCUM [gal_us]
# a test weight is pounds in one Winchester bushel, whatever the crop's market bushel weighs
TEST_WEIGHT_KG_M3_PER_LB_BU = POUND_KG / BUSHEL_M3


def circle_area_m2(diameter_m: Values) -> FloatArray:
    """Floor of a round bin. [m], any shape, to [m2]"""
    return np.asarray(0.25 * math.pi * diameter_m * diameter_m)


def level_volume_m3(area_m2: Values, depth_m: Values) -> FloatArray:
    """Grain levelled in a bin of upright walls.

    Parameters
    ----------
    area_m2, depth_m : arrays that broadcast. [m2], [m], not negative

    Returns
    -------
    array of the broadcast shape. [m3]

    Checked by  tests/reference/test_bushels_and_volume.py
    """
    return np.asarray(area_m2 * depth_m)


def peak_volume_m3(diameter_m: Values, repose_slope: Values) -> FloatArray:
    """The cone above the wall depth of a round bin filled at its centre; 0 for a slope of 0.

    Parameters
    ----------
    diameter_m : array, any shape. [m]
    repose_slope : array that broadcasts; peak height over radius, `crops.repose_slope`. [-]

    Returns
    -------
    array of the broadcast shape. [m3]

    Valid for   clean, dry grain; wetter grain or more fines stand steeper
    Source      height = radius * tan(angle of repose); cone = base area * height / 3
    Checked by  tests/reference/test_bushels_and_volume.py
    """
    peak_height_m = 0.5 * diameter_m * repose_slope
    return np.asarray(circle_area_m2(diameter_m) * peak_height_m / 3.0)


def fill_mass_kg(volume_m3: Values, test_weight_kg_m3: Values) -> FloatArray:
    """Mass of grain from the volume it fills.

    Parameters
    ----------
    volume_m3 : array, any shape. [m3]
    test_weight_kg_m3 : array that broadcasts; pounds a bushel times TEST_WEIGHT_KG_M3_PER_LB_BU. [kg/m3]

    Returns
    -------
    array of the broadcast shape. [kg]

    Known gap   no correction for packing, which a deep bin needs and a shallow bed hardly does
    Checked by  tests/reference/test_bushels_and_volume.py
    """
    return np.asarray(volume_m3 * test_weight_kg_m3)
