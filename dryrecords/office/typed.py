"""What people type, read: numbers with a point or a comma and perhaps a unit, and times of the clock on the wall."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from dryrecords.core.quantities import UNITS, Unit

# No quantity of a farm comes near it, and nothing computed from quantities below it overflows.
LARGEST = 1e12
SHOWN_DIGITS = 7
NUMBER = re.compile(r"(?P<number>[-+−]?[\d.,'  ]*\d[.,]?)\s*(?P<unit>[^\d\s].*)?$", re.ASCII)
GROUPS_OF_THREE = re.compile(r"\d{1,3}(,\d{3})+$")

# How units are written behind a number, by the SI unit that they lead to. SI multiples are exact by definition.
WRITTEN_UNITS: dict[str, dict[str, Unit]] = {
    "kg": {"lb": UNITS["lb"], "lbs": UNITS["lb"], "kg": Unit("kg", "kg", 1.0), "t": Unit("t", "kg", 1000.0)},
    "c": {"f": UNITS["f"], "c": Unit("c", "c", 1.0)},
    "m": {"ft": UNITS["ft"], "in": UNITS["in"], "m": Unit("m", "m", 1.0), "cm": Unit("cm", "m", 0.01)},
    "m2": {"ft2": UNITS["ft2"], "m2": Unit("m2", "m2", 1.0)},
    "m3": {"gal": UNITS["gal"], "l": Unit("l", "m3", 0.001), "m3": Unit("m3", "m3", 1.0)},
    "s": {"h": UNITS["h"], "min": UNITS["min"], "s": Unit("s", "s", 1.0)},
    "pa": {"inh2o": UNITS["inh2o"], "in": UNITS["inh2o"], "pa": Unit("pa", "pa", 1.0)},
    "kg_m3": {"lb/bu": UNITS["lb_bu"], "lb": UNITS["lb_bu"], "kg/hl": Unit("kg/hl", "kg_m3", 10.0)},
    "j": {"therm": UNITS["therm"], "therms": UNITS["therm"]},
    "w": {"btu/h": UNITS["btu_h"], "hp": UNITS["hp"], "kw": Unit("kw", "w", 1000.0)},
}
# Of numbers that are not converted.
SAME = {"%", "$", "kwh", "pct"}

LOCAL = "%Y-%m-%dT%H:%M"
# As a browser's own field sends it, with a space, and as the pages write it.
WAYS = (LOCAL, "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M", "%b %d, %Y, %I:%M %p", "%b %d %Y %I:%M %p")
YEARS = range(1900, 2200)
FIRST, SECOND = "first", "second"


class Unreadable(ValueError):
    """With a sentence that says what to type instead."""


class ShownTwice(Unreadable):
    """The clock showed this time twice, an hour apart: which was it?"""


class Typed(NamedTuple):
    value: float
    # As written behind it; None where nothing was.
    unit: str | None


def number(text: str) -> Typed:
    found = NUMBER.match(text.strip().replace("\u00a0", " "))
    if found is None:
        raise Unreadable("Enter a number, like 14.5.")
    digits = re.sub(r"['\s]", "", found["number"]).replace("−", "-")
    value = float(_pointed(digits, text.strip()))
    if not (math.isfinite(value) and abs(value) <= LARGEST):
        raise Unreadable("That is too large a number.")
    return Typed(value, found["unit"])


def _pointed(digits: str, text: str) -> str:
    """With a decimal point and no groups of three. What could be either is asked, not guessed."""
    sign, bare = (digits[:1], digits[1:]) if digits[:1] in "+-" else ("", digits)
    commas, points = bare.count(","), bare.count(".")
    if commas and points:
        # The last one stands before the decimals.
        decimal, other = (",", ".") if bare.rfind(",") > bare.rfind(".") else (".", ",")
        bare = bare.replace(other, "").replace(decimal, ".")
    elif commas == 1 and GROUPS_OF_THREE.match(bare) and not bare.startswith("0,"):
        whole, small = bare.replace(",", ""), bare.replace(",", ".")
        raise Unreadable(f"Is {text} meant as {whole} or as {small}? Write it without the comma.")
    elif commas == 1:
        bare = bare.replace(",", ".")
    elif GROUPS_OF_THREE.match(bare):
        bare = bare.replace(",", "")
    try:
        float(bare)
    except ValueError:
        raise Unreadable("Enter a number, like 14.5.") from None
    return sign + bare


def quantity(text: str, unit: Unit | None) -> float:
    """In SI, or as it is where nothing is converted."""
    value, written = number(text)
    if written is None:
        return value if unit is None else unit.to_si(value)
    name = re.sub(r"[\s.°]", "", written.lower()).replace("²", "2").replace("³", "3")
    if unit is None:
        if name not in SAME:
            raise Unreadable(f"What is {written!r}? Leave the unit away.")
        return value
    known = WRITTEN_UNITS.get(unit.si_suffix, {})
    if name not in known:
        raise Unreadable(f"What is {written!r}? Leave it away, or write one of {', '.join(known)}.")
    return known[name].to_si(value)


def shown(value: float | None, unit: Unit | None) -> str:
    """As it stands in a field: plain digits, so that it can be typed over."""
    if value is None:
        return ""
    outward = value if unit is None else unit.from_si(value)
    text = f"{outward:.{SHOWN_DIGITS}g}"
    return text if "e" not in text else f"{outward:f}".rstrip("0").rstrip(".")


def moment(text: str, zone: ZoneInfo, which: str = "") -> datetime:
    """The moment at which a clock of that zone showed the text. `which`, where it did so twice."""
    local = _local(re.sub(r"\s+", " ", text.strip()))
    early, late = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() != late.utcoffset():
        if early.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local:
            raise Unreadable("The clock skipped this hour that night.")
        if which not in (FIRST, SECOND):
            raise ShownTwice("The clock showed this time twice that night. Say which.")
    found = (late if which == SECOND else early).astimezone(UTC)
    if found.year not in YEARS:
        raise Unreadable("Enter a year from 1900 to 2199.")
    return found


def _local(text: str) -> datetime:
    for way in WAYS:
        try:
            found = datetime.strptime(text, way)
        except ValueError:
            continue
        if found.year in YEARS:
            return found
    raise Unreadable("Enter day and time, like 2025-10-06 14:30.")


def as_local(at: datetime | None, zone: ZoneInfo) -> str:
    """As a browser's own field for times takes it."""
    return "" if at is None else at.astimezone(zone).strftime(LOCAL)


def which_of_two(at: datetime, zone: ZoneInfo) -> str:
    """First or second, where the clock showed it twice; blank everywhere else."""
    local = at.astimezone(zone)
    if local.replace(fold=0).utcoffset() == local.replace(fold=1).utcoffset():
        return ""
    return SECOND if local.fold else FIRST
