"""How much vapour a propane tank gives by itself, at a level and a temperature."""

from __future__ import annotations

import numpy as np

from dryrecords.grain.arrays import FloatArray, Values
from dryrecords.grain.energy import BTU_J
from dryrecords.grain.volume import FOOT_M, GALLON_M3

INCH_M = FOOT_M / 12.0
BTU_H_W = BTU_J / 3600.0

# Btu/h for each square inch of outside diameter times length, by how full the tank is, at 0 F. From memory of training
# literature. It agrees with a heater manual that states 276,500 Btu/h for 1,000 gal at -10 F, 30 % full (0.4 %).
_LEVEL_PCT = np.array([0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0])
_BTU_H_IN2 = np.array([0.0, 45.0, 60.0, 70.0, 80.0, 90.0, 100.0])
# The factor for the air's temperature: 0.25 at -15 F, 1 at 0 F, 2 at 20 F, on a straight line. Colder than -20 F there
# is none, warmer than 20 F as much as there: both on the careful side.
_WARMEST_F, _PER_F = 20.0, 0.05
# Outside diameter and length of common tanks. [gal], [in]; from memory of the same literature
_CAPACITY_GAL = np.array([500.0, 1000.0])
_DIAMETER_IN, _LENGTH_IN = np.array([37.0, 41.0]), np.array([119.0, 192.0])
# Between and a little beside those two sizes a tank's shape may be guessed.
GUESSED_FROM_M3, GUESSED_TO_M3 = 400.0 * GALLON_M3, 1200.0 * GALLON_M3
# Heat that vaporises a gallon: 184 Btu/lb, 4.2 lb/gal (gas-property tables of US extension and trade sheets)
LATENT_J_M3 = 773.0 * BTU_J / GALLON_M3


def vapour_power_w(diameter_m: Values, length_m: Values, level_pct: Values, air_temp_c: Values) -> FloatArray:
    """Heating power of the vapour that a tank gives hour after hour, without a vaporiser.

    Parameters
    ----------
    diameter_m, length_m : arrays that broadcast; outside. [m], above 0
    level_pct : of the tank's capacity. [%], 0 to 100; above 60, as at 60
    air_temp_c : [deg C]; above -6.7 (20 F), as there

    Returns
    -------
    array of the broadcast shape. [W], gross heating value

    Valid for   one horizontal tank above ground; no sun, no wind, no frost. A rule of thumb
    Equation    D L K(level) T(air), inches, Btu/h; T = 1 + T_F / 20
    Source      training literature of the propane trade, from memory
    Checked by  tests/reference/test_vaporisation.py, against a heater manual and a generator handbook's table
    """
    per_area = np.interp(level_pct, _LEVEL_PCT, _BTU_H_IN2)
    air_f = np.asarray(air_temp_c, dtype=float) * 1.8 + 32.0
    factor = np.clip(1.0 + _PER_F * np.minimum(air_f, _WARMEST_F), 0.0, None)
    return np.asarray(diameter_m / INCH_M * (length_m / INCH_M) * per_area * factor * BTU_H_W)


def usual_size_m(capacity_m3: Values) -> tuple[FloatArray, FloatArray]:
    """Outside diameter and length of a tank of this capacity; NaN where it is not near a common size. [m]

    capacity_m3 : array, any shape. [m3]
    """
    capacity = np.asarray(capacity_m3, dtype=float)
    logs = np.log(np.clip(capacity, GUESSED_FROM_M3, GUESSED_TO_M3) / GALLON_M3)
    share = (logs - np.log(_CAPACITY_GAL[0])) / np.log(2.0)
    inside = (capacity >= GUESSED_FROM_M3) & (capacity <= GUESSED_TO_M3)
    diameter, length = (
        np.where(inside, size[0] * (size[1] / size[0]) ** share, np.nan) for size in (_DIAMETER_IN, _LENGTH_IN)
    )
    return np.asarray(diameter * INCH_M), np.asarray(length * INCH_M)
