"""Storage life of grain: allowable time by moisture, temperature and damage, life used, and safe moistures."""

from dataclasses import dataclass
from enum import Enum

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray, StrArray, Values
from dryrecords.grain.moisture import dry_basis_pct
from dryrecords.grain.roots import increasing_root

_HOUR_S = 3600.0
REFERENCE_H = 230.0  # to 0.5 % loss at 15.6 deg C (60 F), 25 %, 30 % damage; Saul & Steele 1966
REFERENCE_LOSS_PCT = 0.5  # of dry matter
DAMAGE_PCT = 30.0  # by mass; what a combine leaves, 25 to 35 in the study named below
# Ng, Wilcke, Morey, Meronuck & Lang 1998: combine-shelled corn comes to the limit of US No. 2 at about this loss
GRADE_LOSS_PCT = 0.35


class ColdBranch(Enum):
    """The two published ways time grows below 15.6 deg C (60 F); which paper holds which is from memory."""

    STEELE = "Steele 1969: 1.8 times for each 10 F colder"
    THOMPSON = "Thompson 1972: 2.2 times for each 10 F colder"


@dataclass(frozen=True)
class CornOffset:
    """Points of moisture to add: corn that much wetter keeps as long as the crop does."""

    points: float
    is_estimated: bool
    source: str


_CEREAL = CornOffset(0.0, False, "North Dakota State University 2019: one table of storage times for cereals")
_AT_EQUAL_HUMIDITY = "equilibrium moisture below that of corn at 70 F, 60 %, rounded up; North Dakota State University"
CORN_OFFSETS: dict[str, CornOffset] = {
    **dict.fromkeys(("corn", "wheat", "sorghum", "barley", "oats", "rye", "rough_rice"), _CEREAL),
    "soybean": CornOffset(3.0, False, "North Dakota State University 2019: table of corn, three points lower"),
    "sunflower": CornOffset(5.5, True, f"7.4 against 12.8: {_AT_EQUAL_HUMIDITY} 2019"),
    "canola": CornOffset(5.0, True, f"8.0 against 12.8: {_AT_EQUAL_HUMIDITY} 2019"),
    "flax": CornOffset(5.0, True, f"8.3 against 12.8: {_AT_EQUAL_HUMIDITY} 2019"),
}


@dataclass(frozen=True)
class SafeMoisture:
    """Highest moisture [% wet basis] for keeping aerated, sound grain; None where no figure is known."""

    cool_pct: float | None  # over winter, up to six months
    warm_pct: float  # into summer, or longer
    source: str


_NDSU_WARM = "warm: North Dakota State University 2010"
_COOL_MEMORY = "cool: from memory of extension tables"
SAFE_MOISTURES: dict[str, SafeMoisture] = {
    "corn": SafeMoisture(15.0, 13.0, "Michigan State University; North Dakota State University gives 13.5 warm"),
    "soybean": SafeMoisture(13.0, 11.0, "Michigan State University; North Dakota State University"),
    "wheat": SafeMoisture(14.0, 13.5, f"{_NDSU_WARM}; {_COOL_MEMORY}"),
    "barley": SafeMoisture(14.0, 12.0, f"{_NDSU_WARM}; {_COOL_MEMORY}"),
    "sunflower": SafeMoisture(10.0, 8.0, f"{_NDSU_WARM}, oil type; {_COOL_MEMORY}"),
    "canola": SafeMoisture(None, 8.0, "warm: North Dakota State University 2019"),
    "flax": SafeMoisture(None, 8.0, "warm: North Dakota State University 2019"),
    "rough_rice": SafeMoisture(14.0, 13.0, "International Rice Research Institute: weeks to months, 8 to 12 months"),
    "sorghum": SafeMoisture(14.0, 13.0, "from memory of extension tables"),
    "oats": SafeMoisture(14.0, 12.0, "from memory of extension tables"),
    "rye": SafeMoisture(13.0, 12.0, "from memory of extension tables"),
}


def corn_equivalent_moisture_pct(moisture_pct: Values, crop: StrArray | str) -> FloatArray:
    """Moisture at which corn keeps as long as a crop does.

    Parameters
    ----------
    moisture_pct : array, any shape. [% wet basis]
    crop : array of str that broadcasts with it

    Returns
    -------
    array of the broadcast shape. [% wet basis]; NaN for a crop that is not in CORN_OFFSETS

    Source      CORN_OFFSETS; soybean at 3 points lies within what was measured (Sorour & Uchino 2004), on the safe side
    Checked by  tests/reference/test_storage.py
    """
    names, place = np.unique(np.asarray(crop), return_inverse=True)
    points = [CORN_OFFSETS[str(name)].points if str(name) in CORN_OFFSETS else np.nan for name in names]
    return np.asarray(moisture_pct + np.array(points, dtype=float)[place.reshape(np.shape(crop))])


# Corn-equivalent moisture of the equation, and temperatures (30 to 80 F) of the printed tables it was run against.
MOISTURE_LIMITS_PCT = (13.0, 35.0)
TEMP_LIMITS_C = (-1.2, 26.7)


def in_range(moisture_pct: Values, temp_c: Values, crop: StrArray | str = "corn") -> BoolArray:
    """Whether grain is inside the range the storage time is known for; arrays as in allowable_storage_s."""
    moisture, temp = corn_equivalent_moisture_pct(moisture_pct, crop), np.asarray(temp_c)
    known = (moisture >= MOISTURE_LIMITS_PCT[0]) & (moisture <= MOISTURE_LIMITS_PCT[1])
    return np.asarray(known & (temp >= TEMP_LIMITS_C[0]) & (temp <= TEMP_LIMITS_C[1]))


def allowable_storage_s(
    moisture_pct: Values,
    temp_c: Values,
    *,
    crop: StrArray | str = "corn",
    damage_pct: Values = DAMAGE_PCT,
    loss_pct: Values = REFERENCE_LOSS_PCT,
    cold_branch: ColdBranch = ColdBranch.STEELE,
) -> FloatArray:
    """Time that aerated grain of one moisture and temperature takes to lose a part of its dry matter.

    Parameters
    ----------
    moisture_pct, temp_c : arrays that broadcast. [% wet basis], [deg C]
    crop : array of str that broadcasts with them
    damage_pct : array that broadcasts; kernels with mechanical damage, by mass, 0 to 40. [%]
    loss_pct : array that broadcasts; loss of dry matter that ends the life of the grain, 0 to 1. [%]
    cold_branch : which of the two published branches to take below 15.6 deg C; STEELE is the shorter

    Returns
    -------
    array of the broadcast shape. [s]; NaN for a crop without an offset

    Valid for   `in_range`; grain drier than 13 % as corn is taken as 13 %. An estimate that promises nothing: look
                at the grain.
    Equation    230 h * M_M * M_T * M_D * t(loss) / t(0.5 %)
    Source      Saul & Steele 1966; Steele, Saul & Hukill 1969; form of ASAE D535. Constants from memory, they
                reproduce the printed times.
    Known gap   the branches differ by 26 % at 50 F and by 100 % at 30 F; the table of North Dakota State University
                2019 is a tenth to a quarter shorter than STEELE, and half of it for wet grain at 80 F.
                Low test weight halves the time (Iowa State University), grain without aeration keeps a third of it
                (University of Nebraska).
    Checked by  tests/reference/test_storage.py
    """
    moisture = np.maximum(corn_equivalent_moisture_pct(moisture_pct, crop), MOISTURE_LIMITS_PCT[0])
    of_temp = _temperature_multiplier(moisture, np.asarray(temp_c, dtype=float), cold_branch)
    of_damage = 2.08 * np.exp(-0.0239 * np.asarray(damage_pct, dtype=float))
    of_loss = _loss_h(loss_pct) / _loss_h(REFERENCE_LOSS_PCT)
    return np.asarray(_HOUR_S * REFERENCE_H * _moisture_multiplier(moisture) * of_temp * of_damage * of_loss)


def _moisture_multiplier(moisture_pct: FloatArray) -> FloatArray:
    dry_basis = dry_basis_pct(moisture_pct)
    return np.asarray(0.103 * (np.exp(455.0 / dry_basis**1.53) - 0.00845 * dry_basis + 1.558))


def _temperature_multiplier(moisture_pct: FloatArray, temp_c: FloatArray, cold_branch: ColdBranch) -> FloatArray:
    sixties = (1.8 * temp_c + 32.0) / 60.0
    steele = 32.3 * np.exp(-3.48 * sixties)
    cold = steele if cold_branch is ColdBranch.STEELE else 128.76 * np.exp(-4.86 * sixties)
    # wet grain does not suffer from warmth quite as much: its own heat and moulds are there already
    wet = np.clip(moisture_pct - 19.0, 0.0, 9.0) / 100.0 * np.exp(0.61 * (sixties - 1.0))
    return np.where(sixties <= 1.0, cold, steele + wet)


def _loss_h(loss_pct: Values) -> FloatArray:
    """Equivalent hours to a loss of dry matter: carbon dioxide 1.3 (exp(0.006 t) - 1) + 0.015 t g/kg, 14.7 for 1 %."""
    loss = np.asarray(loss_pct, dtype=float)

    def excess(hours: FloatArray) -> tuple[FloatArray, FloatArray]:
        burnt = 1.3 * np.expm1(0.006 * hours) + 0.015 * hours
        return burnt - 14.7 * loss, 0.0078 * np.exp(0.006 * hours) + 0.015

    return increasing_root(excess, np.zeros(loss.shape), 1000.0, 1e-9)


def storage_life_used(interval_s: Values, allowable_s: Values) -> FloatArray:
    """Share of the storage life that is used up after each of a row of intervals.

    Parameters
    ----------
    interval_s, allowable_s : arrays that broadcast to (..., k); how long the grain stood at one condition, and the
        allowable time there. [s]

    Returns
    -------
    array of shape (..., k). [-]; 1 and above: nothing is left. NaN from the first unknown interval on.

    Source      life adds up by shares: University of Kentucky; North Dakota State University 2019
    Checked by  tests/reference/test_storage.py
    """
    return np.cumsum(np.asarray(interval_s / np.asarray(allowable_s, dtype=float)), axis=-1)


def storage_left_s(life_used: Values, allowable_s: Values) -> FloatArray:
    """Time left at a condition of allowable time [s] for grain that used a share [-] of its life; not below 0. [s]"""
    return np.asarray(np.maximum(1.0 - np.asarray(life_used, dtype=float), 0.0) * allowable_s)
