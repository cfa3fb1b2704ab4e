"""Equilibrium moisture of grain and air: four equations, published constants by name, each way."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from dryrecords.grain.arrays import Array, BoolArray, FloatArray, StrArray, Values
from dryrecords.grain.moisture import dry_basis_pct, wet_basis_pct


class IsothermForm(Enum):
    """Equations of the ASAE D245 family: moisture M in percent dry basis, temperature T in deg C."""

    HENDERSON = "modified Henderson"  # RH = 1 - exp(-a (T + c) M^b)
    CHUNG_PFOST = "modified Chung-Pfost"  # RH = exp(-a / (T + c) exp(-b M))
    HALSEY = "modified Halsey"  # RH = exp(-exp(a + b T) M^-c)
    OSWIN = "modified Oswin"  # RH = 1 / (((a + b T) / M)^c + 1)


class Provenance(Enum):
    """How far constants are known to be the published ones; none was read in the standard itself."""

    TABLE = "constants from memory, reproduces a printed equilibrium table to 0.05 point"
    VALUE = "constants from memory, reproduces one printed extension value to 0.05 point"
    MEMORY = "constants from memory, no printed table to run them against"
    DISPUTED = "constants from memory, other values are in print"


@dataclass(frozen=True)
class Isotherm:
    """One published set of constants of a sorption isotherm, in the notation of its form.

    `generation` is 1976 for the constants of Pfost and others 1976 (D245.4 and before) and 1995 for those that
    came with D245.5. The two lie up to 2 points of moisture apart: printed tables mix them.
    """

    crop: str
    form: IsothermForm
    a: float
    b: float
    c: float
    generation: int
    provenance: Provenance
    note: str = ""

    @property
    def source(self) -> str:
        """Where the constants come from, in words."""
        note = f"; {self.note}" if self.note else ""
        return f"{self.crop}, {self.generation} generation of D245: {self.provenance.value}{note}"


_HENDERSON, _CHUNG_PFOST = IsothermForm.HENDERSON, IsothermForm.CHUNG_PFOST
_HALSEY, _OSWIN = IsothermForm.HALSEY, IsothermForm.OSWIN
_TABLE, _VALUE, _MEMORY, _DISPUTED = Provenance.TABLE, Provenance.VALUE, Provenance.MEMORY, Provenance.DISPUTED
_KEPT = "kept in 1995"

# The printed table is one of an encyclopaedia article on equilibrium moisture, read on a mirror.
ISOTHERMS: dict[str, Isotherm] = {
    "corn_henderson_1976": Isotherm("yellow dent corn", _HENDERSON, 8.6541e-5, 1.8634, 49.810, 1976, _VALUE),
    "corn_chung_pfost_1976": Isotherm("yellow dent corn", _CHUNG_PFOST, 312.40, 0.16958, 30.205, 1976, _MEMORY),
    "corn_henderson_1995": Isotherm("yellow dent corn", _HENDERSON, 6.6612e-5, 1.9677, 42.143, 1995, _TABLE),
    "corn_chung_pfost_1995": Isotherm("yellow dent corn", _CHUNG_PFOST, 374.34, 0.18662, 31.696, 1995, _MEMORY),
    "corn_oswin_1995": Isotherm("yellow dent corn", _OSWIN, 15.303, -0.10164, 3.0358, 1995, _MEMORY),
    "soybean_halsey_1995": Isotherm("soybean", _HALSEY, 2.87, -0.0054, 1.38, 1995, _TABLE),
    "soybean_henderson_1976": Isotherm("soybean", _HENDERSON, 30.5327e-5, 1.2164, 134.136, 1976, _VALUE),
    "soybean_chung_pfost_1976": Isotherm("soybean", _CHUNG_PFOST, 328.30, 0.13917, 100.288, 1976, _MEMORY),
    "wheat_hard_red_chung_pfost_1995": Isotherm("hard red wheat", _CHUNG_PFOST, 610.34, 0.15526, 93.213, 1995, _MEMORY),
    "wheat_hard_red_henderson_1976": Isotherm("hard red wheat", _HENDERSON, 2.3007e-5, 2.2857, 55.815, 1976, _VALUE),
    "wheat_hard_red_chung_pfost_1976": Isotherm("hard red wheat", _CHUNG_PFOST, 529.43, 0.17609, 50.998, 1976, _MEMORY),
    "wheat_soft_red_henderson_1976": Isotherm(
        "soft red wheat", _HENDERSON, 1.2299e-5, 2.5558, 64.346, 1976, _VALUE, _KEPT
    ),
    "wheat_soft_red_chung_pfost_1976": Isotherm(
        "soft red wheat", _CHUNG_PFOST, 726.49, 0.23607, 35.662, 1976, _MEMORY, _KEPT
    ),
    "wheat_durum_oswin_1995": Isotherm("durum wheat", _OSWIN, 13.101, -0.052626, 2.9987, 1995, _TABLE),
    "sorghum_chung_pfost_1995": Isotherm("grain sorghum", _CHUNG_PFOST, 797.33, 0.18159, 52.238, 1995, _TABLE),
    "sorghum_henderson_1976": Isotherm(
        "grain sorghum", _HENDERSON, 0.8532e-5, 2.4757, 113.725, 1976, _MEMORY, "1.5 to 2 points below the later set"
    ),
    "barley_chung_pfost_1995": Isotherm(
        "barley", _CHUNG_PFOST, 475.12, 0.14843, 71.996, 1995, _DISPUTED, "457.12 for a, which is 0.2 point"
    ),
    "barley_henderson_1976": Isotherm("barley", _HENDERSON, 2.2919e-5, 2.0123, 195.267, 1976, _VALUE),
    "oats_chung_pfost_1995": Isotherm(
        "oats", _CHUNG_PFOST, 442.85, 0.21228, 35.803, 1995, _DISPUTED, "433.157, 0.21581, 41.439: 0.6 point lower"
    ),
    "rough_rice_henderson_1976": Isotherm("rough rice", _HENDERSON, 1.9187e-5, 2.4451, 51.161, 1976, _MEMORY),
    "rough_rice_chung_pfost_1976": Isotherm("rough rice", _CHUNG_PFOST, 594.61, 0.21732, 35.703, 1976, _MEMORY),
    "rough_rice_long_henderson_1995": Isotherm(
        "long-grain rough rice", _HENDERSON, 4.1276e-5, 2.1191, 49.828, 1995, _TABLE
    ),
    "sunflower_henderson_1995": Isotherm("oil sunflower", _HENDERSON, 31.0e-5, 1.7459, 66.603, 1995, _MEMORY),
    "canola_halsey_1995": Isotherm("canola", _HALSEY, 3.489, -0.010553, 1.860, 1995, _MEMORY),
}

# The set to take for a crop when none is named. Forms as an institute's charts and handbooks prefer them, except
# corn: its Chung-Pfost sets answer below zero in a hot plenum, its Henderson set does not.
PREFERRED: dict[str, str] = {
    "corn": "corn_henderson_1995",
    "soybean": "soybean_halsey_1995",
    "wheat": "wheat_hard_red_chung_pfost_1995",
    "sorghum": "sorghum_chung_pfost_1995",
    "barley": "barley_chung_pfost_1995",
    "oats": "oats_chung_pfost_1995",
    "rough_rice": "rough_rice_long_henderson_1995",
    "sunflower": "sunflower_henderson_1995",
    "canola": "canola_halsey_1995",
}
# Taken where a crop has none of its own; whoever computes with it must say that it is generic.
GENERIC_ISOTHERM = ISOTHERMS["corn_henderson_1995"]


@dataclass(frozen=True)
class IsothermArrays:
    """Isotherm of each of n batches: the constants of Isotherm as arrays of one shape.

    Where no form is marked it is the modified Henderson.
    """

    is_chung_pfost: BoolArray
    is_halsey: BoolArray
    is_oswin: BoolArray
    a: FloatArray
    b: FloatArray
    c: FloatArray
    is_generic: BoolArray


def isotherm_arrays(key: StrArray, table: Mapping[str, Isotherm]) -> IsothermArrays:
    """Isotherm of each key (any shape) by a table; the generic one where the table has no such key."""
    names, place = np.unique(np.asarray(key), return_inverse=True)
    sets = [table.get(str(name), GENERIC_ISOTHERM) for name in names]

    def column(values: Iterable[object], dtype: type) -> Array:
        return np.array(list(values), dtype=dtype)[place.reshape(np.shape(key))]

    return IsothermArrays(
        is_chung_pfost=column((each.form is _CHUNG_PFOST for each in sets), bool),
        is_halsey=column((each.form is _HALSEY for each in sets), bool),
        is_oswin=column((each.form is _OSWIN for each in sets), bool),
        a=column((each.a for each in sets), float),
        b=column((each.b for each in sets), float),
        c=column((each.c for each in sets), float),
        is_generic=column((str(name) not in table for name in names), bool),
    )


def named_isotherms(name: StrArray) -> IsothermArrays:
    """Isotherm of each name in ISOTHERMS (any shape).

    Raises
    ------
    KeyError
        A name that is not in ISOTHERMS.
    """
    unknown = set(np.unique(np.asarray(name)).tolist()) - ISOTHERMS.keys()
    if unknown:
        raise KeyError(f"no isotherm of this name: {sorted(unknown)}")
    return isotherm_arrays(name, ISOTHERMS)


def preferred_isotherms(crop: StrArray) -> IsothermArrays:
    """Preferred isotherm of each crop name (any shape); the generic one, marked, where a crop has none."""
    return isotherm_arrays(crop, {each: ISOTHERMS[name] for each, name in PREFERRED.items()})


RH_LIMITS_PCT = (10.0, 95.0)  # of the data behind the equations; from memory
TEMP_LIMITS_C = (0.0, 50.0)  # same


def in_range(temp_c: Values, rh_pct: Values) -> BoolArray:
    """Whether air is inside the range of the measurements behind the isotherms.

    Parameters
    ----------
    temp_c, rh_pct : arrays that broadcast. [deg C], [%]

    Returns
    -------
    bool array of the broadcast shape; False where an answer is clamped or extrapolated, and for NaN

    Source      0 to 50 deg C, 10 to 95 %; from memory
    """
    warm = (np.asarray(temp_c) >= TEMP_LIMITS_C[0]) & (np.asarray(temp_c) <= TEMP_LIMITS_C[1])
    return np.asarray(warm & (np.asarray(rh_pct) >= RH_LIMITS_PCT[0]) & (np.asarray(rh_pct) <= RH_LIMITS_PCT[1]))


def equilibrium_moisture_pct(temp_c: Values, rh_pct: Values, isotherm: IsothermArrays) -> FloatArray:
    """Moisture that grain comes to in air of a temperature and humidity.

    Parameters
    ----------
    temp_c, rh_pct : arrays that broadcast. [deg C], [%]
    isotherm : arrays that broadcast with them; `preferred_isotherms` or `named_isotherms`

    Returns
    -------
    array of the broadcast shape. [% wet basis]; NaN for NaN, and where a form has no answer (T + c not above 0)

    Valid for   `in_range`. Humidity above 95 % is taken as 95 %, where the forms run away, and moisture never
                falls below 0, which the Chung-Pfost form would do in a hot plenum.
    Equation    IsothermForm, solved for moisture
    Source      ASAE D245 family of equations; constants as each set says. No claim of conformance.
    Known gap   printed extension tables mix constant sets: 0.6 point at 60 %, up to 2 for sorghum and barley
    Checked by  tests/reference/test_equilibrium.py
    """
    return wet_basis_pct(equilibrium_moisture_dry_basis_pct(temp_c, rh_pct, isotherm))


def equilibrium_moisture_dry_basis_pct(temp_c: Values, rh_pct: Values, isotherm: IsothermArrays) -> FloatArray:
    """Same as equilibrium_moisture_pct, as water over dry matter. [% dry basis]"""
    rh = np.clip(np.asarray(rh_pct, dtype=float), 0.0, RH_LIMITS_PCT[1]) / 100.0
    moisture = _by_form(_MOISTURE, np.asarray(temp_c, dtype=float), rh, isotherm)
    return np.asarray(np.maximum(moisture, 0.0))


def equilibrium_rh_pct(temp_c: Values, moisture_pct: Values, isotherm: IsothermArrays) -> FloatArray:
    """Relative humidity of air at rest among grain.

    Parameters
    ----------
    temp_c, moisture_pct : arrays that broadcast; moisture not below 0. [deg C], [% wet basis]
    isotherm : arrays that broadcast with them

    Returns
    -------
    array of the broadcast shape. [%], 0 to 100; NaN for NaN, and where T + c is not above 0

    Valid for   `in_range` of what is returned; above 95 % it is the form's own approach to 100 %, not clamped
    Equation    IsothermForm
    Source      ASAE D245 family of equations; constants as each set says. No claim of conformance.
    Checked by  tests/reference/test_equilibrium.py
    """
    moisture = dry_basis_pct(np.asarray(moisture_pct, dtype=float))
    return np.asarray(100.0 * _by_form(_RH, np.asarray(temp_c, dtype=float), moisture, isotherm))


Form = Callable[[FloatArray, FloatArray, IsothermArrays], FloatArray]


@np.errstate(all="ignore")
def _by_form(forms: Mapping[IsothermForm, Form], temp_c: FloatArray, x: FloatArray, k: IsothermArrays) -> FloatArray:
    """The form of each element, of those in use only: a forecast has one crop, and powers are dear."""
    marks = {_CHUNG_PFOST: k.is_chung_pfost, _HALSEY: k.is_halsey, _OSWIN: k.is_oswin}
    marks[_HENDERSON] = ~(k.is_chung_pfost | k.is_halsey | k.is_oswin)
    used = {form: mark for form, mark in marks.items() if mark.any()}
    found = [forms[form](temp_c, x, k) for form in used]
    if len(found) == 1:
        return found[0]
    result = np.zeros(np.broadcast_shapes(temp_c.shape, x.shape, k.a.shape))
    for mark, of_form in zip(used.values(), found, strict=True):
        result = np.where(mark, of_form, result)
    return result


def _warmth(temp_c: FloatArray, k: IsothermArrays) -> FloatArray:
    warmth = temp_c + k.c
    return np.where(warmth > 0.0, warmth, np.nan)


def _henderson_moisture(temp_c: FloatArray, rh: FloatArray, k: IsothermArrays) -> FloatArray:
    return (-np.log1p(-rh) / (k.a * _warmth(temp_c, k))) ** (1.0 / k.b)


def _chung_pfost_moisture(temp_c: FloatArray, rh: FloatArray, k: IsothermArrays) -> FloatArray:
    return -np.log(-_warmth(temp_c, k) * np.log(rh) / k.a) / k.b


def _halsey_moisture(temp_c: FloatArray, rh: FloatArray, k: IsothermArrays) -> FloatArray:
    return (np.exp(k.a + k.b * temp_c) / -np.log(rh)) ** (1.0 / k.c)


def _oswin_moisture(temp_c: FloatArray, rh: FloatArray, k: IsothermArrays) -> FloatArray:
    return np.maximum(k.a + k.b * temp_c, 0.0) * (rh / (1.0 - rh)) ** (1.0 / k.c)


def _henderson_rh(temp_c: FloatArray, moisture: FloatArray, k: IsothermArrays) -> FloatArray:
    return -np.expm1(-k.a * _warmth(temp_c, k) * moisture**k.b)


def _chung_pfost_rh(temp_c: FloatArray, moisture: FloatArray, k: IsothermArrays) -> FloatArray:
    return np.exp(-k.a / _warmth(temp_c, k) * np.exp(-k.b * moisture))


def _halsey_rh(temp_c: FloatArray, moisture: FloatArray, k: IsothermArrays) -> FloatArray:
    return np.exp(-np.exp(k.a + k.b * temp_c) * moisture**-k.c)


def _oswin_rh(temp_c: FloatArray, moisture: FloatArray, k: IsothermArrays) -> FloatArray:
    return 1.0 / ((np.maximum(k.a + k.b * temp_c, 0.0) / moisture) ** k.c + 1.0)


_MOISTURE: dict[IsothermForm, Form] = {
    _HENDERSON: _henderson_moisture,
    _CHUNG_PFOST: _chung_pfost_moisture,
    _HALSEY: _halsey_moisture,
    _OSWIN: _oswin_moisture,
}
_RH: dict[IsothermForm, Form] = {
    _HENDERSON: _henderson_rh,
    _CHUNG_PFOST: _chung_pfost_rh,
    _HALSEY: _halsey_rh,
    _OSWIN: _oswin_rh,
}
