"""Thin-layer drying: how a fully exposed layer of grain approaches equilibrium, by published laws."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray, Values
from dryrecords.grain.moisture import dry_basis_pct
from dryrecords.grain.psychrometrics import ZERO_CELSIUS_K

_HOUR_S = 3600.0


@dataclass(frozen=True, kw_only=True)
class LayerAir:
    """What drying laws ask of a layer and the air through it: values that broadcast; each law takes what it needs."""

    temp_c: Values  # [deg C]
    rh_pct: Values = 10.0  # [%]
    velocity_m_s: Values = 0.2  # of the air over the empty area [m/s]
    moisture_in_pct: Values = 25.0  # of the grain when drying began [% wet basis]


@dataclass(frozen=True)
class DryingLaw:
    """One published law of drying. Moisture ratio MR = (M - Me) / (M0 - Me) on dry basis, time t in hours.

    `constants` answers (k, n) of Page's MR = exp(-k t^n), or (a, b) of t = a ln MR + b (ln MR)^2, the quadratic of
    Thompson, Peart & Foster.
    """

    is_page: bool
    constants: Callable[[LayerAir], tuple[Values, Values]]
    temp_limits_c: tuple[float, float]
    source: str


def _fahrenheit(temp_c: Values) -> Values:
    return 1.8 * temp_c + 32.0


def _thompson_corn(air: LayerAir) -> tuple[Values, Values]:
    temp_f = _fahrenheit(air.temp_c)
    return -1.86178 + 0.0048843 * temp_f, 427.3640 * np.exp(-0.03301 * temp_f)


def _misra_brooker_corn(air: LayerAir) -> tuple[Values, Values]:
    speed = np.clip(air.velocity_m_s, 0.025, 2.3)
    k = np.exp(-7.1735 + 1.2793 * np.log(np.maximum(_fahrenheit(air.temp_c), 1.0)) + 0.1378 * speed)
    return k, 0.0811 * np.log(np.clip(air.rh_pct, 3.0, 83.0)) + 0.0078 * dry_basis_pct(air.moisture_in_pct)


def _ocallaghan_wheat(air: LayerAir) -> tuple[Values, Values]:
    return 2000.0 * _HOUR_S * np.exp(-5094.0 / (np.asarray(air.temp_c) + ZERO_CELSIUS_K)), 1.0


def _boyce_barley(air: LayerAir) -> tuple[Values, Values]:
    return 139.3 * _HOUR_S * np.exp(-4426.0 / (np.asarray(air.temp_c) + ZERO_CELSIUS_K)), 1.0


def _agrawal_singh_rice(air: LayerAir) -> tuple[Values, Values]:
    rh, temp_c = np.clip(air.rh_pct, 19.0, 85.0) / 100.0, np.clip(air.temp_c, 32.0, 51.0)
    return (
        0.02958 - 0.44565 * rh + 0.01215 * temp_c,
        0.13365 + 1.93653 * rh - 1.77431 * rh**2 + 0.009468 * temp_c,
    )


def _wang_singh_rice(air: LayerAir) -> tuple[Values, Values]:
    rh = np.clip(air.rh_pct, 0.0, 100.0) / 100.0
    n = 0.6545 + 0.002425 * air.temp_c + 0.07867 * rh
    return (0.01579 + 0.0001746 * air.temp_c - 0.01413 * rh) * 60.0**n, n


# Ranges are those of the measurements behind each law, from memory.
THOMPSON_CORN = DryingLaw(
    False,
    _thompson_corn,
    (15.6, 148.9),
    "Thompson, Peart & Foster 1968, shelled corn, 60 to 300 F; constants as in dryer programs of the 1970s",
)
# humidity and velocity outside the law's range are taken as its ends
MISRA_BROOKER_CORN = DryingLaw(
    True,
    _misra_brooker_corn,
    (2.0, 71.0),
    "Misra & Brooker 1980, shelled corn, 18-60 % dry basis, RH 3-83 %, 0.025-2.3 m/s; from memory, "
    "within 4 to 20 % of Thompson, Peart & Foster",
)
OCALLAGHAN_WHEAT = DryingLaw(
    True, _ocallaghan_wheat, (20.0, 100.0), "O'Callaghan, Menzies & Bailey 1971, wheat; from memory"
)
BOYCE_BARLEY = DryingLaw(True, _boyce_barley, (20.0, 80.0), "Boyce 1965, barley; from memory")
# its rate falls below zero in cool moist air: everything outside its range is taken as its ends
AGRAWAL_SINGH_RICE = DryingLaw(
    True,
    _agrawal_singh_rice,
    (32.0, 51.0),
    "Agrawal & Singh 1977, short-grain rough rice, RH 19-85 %; from memory, within 4 % of Wang & Singh at 40 deg C",
)
WANG_SINGH_RICE = DryingLaw(
    True,
    _wang_singh_rice,
    (30.0, 55.0),
    "Wang & Singh 1978, medium-grain rough rice, RH 25-95 %; from memory, within 4 % of Agrawal & Singh at 40 deg C",
)


@dataclass(frozen=True)
class CropDrying:
    """The law a crop is dried by. A crop without one of its own borrows that of corn, and says so."""

    law: DryingLaw
    rate_factor: float = 1.0  # the law's clock runs this much faster
    is_calibrated: bool = True


# The factor 1 is our own: no constants for these crops are trusted. Kernels smaller than corn dry faster, so a
# borrowed time is rather too long; a dryer's own batches teach the rest.
UNCALIBRATED = CropDrying(THOMPSON_CORN, 1.0, is_calibrated=False)
CROP_DRYING: dict[str, CropDrying] = {
    "corn": CropDrying(THOMPSON_CORN),
    "wheat": CropDrying(OCALLAGHAN_WHEAT),
    "barley": CropDrying(BOYCE_BARLEY),
    "rough_rice": CropDrying(WANG_SINGH_RICE),
}


def crop_drying(crop: str) -> CropDrying:
    """Drying law of a crop; that of corn, marked as not calibrated, for a crop without one of its own."""
    return CROP_DRYING.get(crop, UNCALIBRATED)


@np.errstate(all="ignore")
def moisture_ratio(time_s: Values, law: DryingLaw, air: LayerAir) -> FloatArray:
    """Moisture ratio after drying from the start in constant air.

    Parameters
    ----------
    time_s : array, any shape; not negative. [s]
    law, air : the law and arrays that broadcast with time_s

    Returns
    -------
    array of the broadcast shape. [-], 1 at time 0 down to 0

    Equation    Page: exp(-k t^n). Quadratic: ln MR = -2 t / (sqrt(a^2 + 4 b t) - a), its root below 0.
    Valid for   temp_limits_c of the law; extrapolated outside
    Source      the law's own
    Checked by  tests/reference/test_thin_layer.py
    """
    hours = np.asarray(time_s, dtype=float) / _HOUR_S
    x, y = law.constants(air)
    if law.is_page:
        return np.exp(-x * hours**y)
    return np.exp(-2.0 * hours / (np.sqrt(np.square(x) + 4.0 * y * hours) - x))


@np.errstate(all="ignore")
def equivalent_time_s(moisture_ratio: Values, law: DryingLaw, air: LayerAir) -> FloatArray:
    """Time in constant air after which a layer would have a moisture ratio, inverse of moisture_ratio.

    Parameters
    ----------
    moisture_ratio : array, any shape; above 1 counts as 1, 0 and below as the least above 0. [-]
    law, air : the law and arrays that broadcast with it

    Returns
    -------
    array of the broadcast shape. [s]

    Checked by  tests/reference/test_thin_layer.py
    """
    log_ratio = np.log(np.clip(moisture_ratio, np.finfo(float).tiny, 1.0))
    x, y = law.constants(air)
    hours = (-log_ratio / x) ** (1.0 / y) if law.is_page else log_ratio * (x + y * log_ratio)
    return np.asarray(_HOUR_S * hours)


@np.errstate(all="ignore")
def moisture_ratio_after(moisture_ratio_now: Values, step_s: Values, law: DryingLaw, air: LayerAir) -> FloatArray:
    """Moisture ratio one step later, in air that may have changed: the equivalent-time method of bed models.

    Parameters
    ----------
    moisture_ratio_now : array, any shape; not below 0, above 1 where grain took up water since drying began. [-]
    step_s : array that broadcasts; time, times the rate factor of the crop and the dryer. [s]
    law, air : the law and arrays that broadcast with them

    Returns
    -------
    array of the broadcast shape. [-]; grain above 1 falls from there as fresh grain does from 1

    Source      Thompson, Peart & Foster 1968
    Checked by  tests/grain/test_thin_layer.py
    """
    elapsed = equivalent_time_s(moisture_ratio_now, law, air)
    return np.maximum(moisture_ratio_now, 1.0) * moisture_ratio(elapsed + step_s, law, air)


def in_range(temp_c: Values, law: DryingLaw) -> BoolArray:
    """Whether a temperature [deg C], any shape, is inside the range of the measurements behind a law."""
    low, high = law.temp_limits_c
    return np.asarray((np.asarray(temp_c) >= low) & (np.asarray(temp_c) <= high))
