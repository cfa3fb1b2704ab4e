"""What the cell of a spreadsheet says, as a value of the API's bodies; or why it cannot be read."""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

import orjson
from rest_framework import serializers

from api.csv_cells import text_of
from api.fields import ChoiceField, ExactField, MomentField, MomentOrDayField, ReferenceField
from api.quantities import QuantityField
from dryrecords.core.quantities import Unit

YES = {"yes", "y", "true", "1", "x"}
NO = {"no", "n", "false", "0"}
# What people put where they have nothing to say.
NOTHING = {"", "-", "--", "n/a", "na", "?"}
MONTHS = {name.lower(): month for month, name in enumerate(calendar.month_abbr) if name}

IN_NUMBERS = re.compile(r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4}|\d{2})(?!\d)")
MOMENT = re.compile(
    r"""(?:(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})
        |(?P<a>\d{1,2})[/.\-](?P<b>\d{1,2})[/.\-](?P<yy>\d{4}|\d{2})
        |(?P<d1>\d{1,2})[\s.\-]+(?P<m1>[a-z]{3})[a-z]*[\s.,\-]+(?P<y1>\d{4}|\d{2})
        |(?P<m2>[a-z]{3})[a-z]*[\s.]+(?P<d2>\d{1,2}),?\s+(?P<y2>\d{4}))
    (?:(?:t|,?\s+)(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,](?P<fraction>\d{1,6})\d*)?)?
       \s*(?P<half>[ap])?\.?(?:m\.?)?)?
    \s*(?P<offset>z|[+-]\d{2}:?\d{2})?$""",
    re.VERBOSE | re.IGNORECASE,
)
ONE_COMMA = re.compile(r"[^,.]*\d,\d+[^,.]*$")


class Unreadable(Exception):
    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.code, self.detail = code, detail


@dataclass(frozen=True)
class Ways:
    """How this sheet writes dates and numbers. None: nothing in it depends on that."""

    day_first: bool | None = None
    decimal_comma: bool | None = None
    zone: ZoneInfo | None = None


def reader_of(field: serializers.Field | None, unit: Unit | None, ways: Ways) -> Callable[[str], Any]:
    if isinstance(field, QuantityField):
        return lambda cell: _quantity(_number(cell, ways), field, unit)
    if isinstance(field, ExactField):
        return lambda cell: _decimal(cell, ways)
    if isinstance(field, MomentField):
        return lambda cell: moment(cell, ways, day_is_enough=isinstance(field, MomentOrDayField))
    if isinstance(field, ChoiceField):
        return lambda cell: _choice(cell, field)
    if isinstance(field, serializers.BooleanField):
        return _truth
    if isinstance(field, serializers.IntegerField):
        return lambda cell: _whole(cell, ways)
    if isinstance(field, serializers.ListSerializer | serializers.JSONField):
        return _parts
    return text_of if isinstance(field, serializers.CharField) else str.strip


def is_blank(cell: str, field: serializers.Field | None) -> bool:
    text = cell.strip()
    is_text = field is None or isinstance(field, serializers.CharField | ReferenceField)
    return text == "" if is_text else text.casefold() in NOTHING


def _plain_number(cell: str, ways: Ways) -> str:
    text = re.sub(r"[\s\u00a0\u202f'%$]", "", cell)
    if ways.decimal_comma:
        if re.fullmatch(r"[+-]?\d{1,3}(\.\d{3})+", text) or ("." in text and "," in text):
            text = text.replace(".", "")
        return text.replace(",", ".")
    if re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?", text):
        return text.replace(",", "")
    return text


def _decimal(cell: str, ways: Ways) -> str:
    text = _plain_number(cell, ways)
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", text):
        raise Unreadable("not_a_number", f"{cell.strip()!r} is not a number.")
    return text


def _number(cell: str, ways: Ways) -> float:
    text = _plain_number(cell, ways)
    if not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d{1,3})?", text, re.IGNORECASE):
        raise Unreadable("not_a_number", f"{cell.strip()!r} is not a number.")
    return float(text)


def _quantity(value: float, field: QuantityField, unit: Unit | None) -> float:
    return value if unit is None or field.unit is None else field.unit.from_si(unit.to_si(value))


def _whole(cell: str, ways: Ways) -> int:
    value = _number(cell, ways)
    if value != int(value):
        raise Unreadable("not_whole", f"{cell.strip()!r} is not a whole number.")
    return int(value)


def _truth(cell: str) -> bool:
    text = cell.strip().casefold()
    if text not in YES | NO:
        raise Unreadable("not_yes_or_no", f"{cell.strip()!r} is neither yes nor no.")
    return text in YES


def _choice(cell: str, field: ChoiceField) -> str:
    text = re.sub(r"[\s\-]+", "_", cell.strip().casefold())
    return text.removesuffix("s") if text not in field.choices and text.removesuffix("s") in field.choices else text


def _parts(cell: str) -> Any:
    try:
        return orjson.loads(cell)
    except orjson.JSONDecodeError as error:
        raise Unreadable("not_json", "Must be JSON, as an export writes it.") from error


# Dates.


def order_shown(cell: str) -> bool | None:
    """Is a date in numbers day first? None: it could be either."""
    found = IN_NUMBERS.match(cell.strip())
    if found is None or found[1] == found[2] or (int(found[1]) > 12) == (int(found[2]) > 12):
        return None
    return int(found[1]) > 12


def order_matters(cell: str) -> bool:
    found = IN_NUMBERS.match(cell.strip())
    return found is not None and int(found[1]) != int(found[2])


def is_local(cell: str) -> bool:
    """A time of day without offset from UTC."""
    found = MOMENT.match(cell.strip())
    return found is not None and found["hour"] is not None and found["offset"] is None


def comma_matters(cell: str) -> bool:
    return ONE_COMMA.match(cell.strip()) is not None


def moment(cell: str, ways: Ways, *, day_is_enough: bool) -> str:
    text = cell.strip()
    found = MOMENT.match(text)
    if found is None:
        raise Unreadable("not_a_time", f"{text!r} is not a date and time. Write 2025-10-06 14:30.")
    day = _day(found, text, ways)
    if found["hour"] is None:
        if day_is_enough:
            return day.isoformat()
        raise Unreadable("time_needed", f"{text!r} has no time of day.")
    return _with_offset(datetime.combine(day, _time(found, text)), found["offset"], text, ways).isoformat()


def _day(found: re.Match[str], text: str, ways: Ways) -> date:
    if found["y"]:
        year, month, day = found["y"], found["m"], found["d"]
    elif found["a"]:
        first, second = found["a"], found["b"]
        year, month, day = (found["yy"], second, first) if ways.day_first else (found["yy"], first, second)
    else:
        month = MONTHS.get((found["m1"] or found["m2"]).lower(), 0)
        year, day = found["y1"] or found["y2"], found["d1"] or found["d2"]
    try:
        return date(int(year) if len(year) == 4 else 2000 + int(year), int(month), int(day))
    except ValueError as error:
        order = "" if not found["a"] else " if the day comes first" if ways.day_first else " if the month comes first"
        raise Unreadable("not_a_time", f"There is no such day as {text!r}{order}.") from error


def _time(found: re.Match[str], text: str) -> time:
    hour, half = int(found["hour"]), (found["half"] or "").lower()
    if half and not 1 <= hour <= 12:
        raise Unreadable("not_a_time", f"There is no such time as {text!r}.")
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        fraction = int((found["fraction"] or "").ljust(6, "0"))
        return time(hour, int(found["minute"]), int(found["second"] or 0), fraction)
    except ValueError as error:
        raise Unreadable("not_a_time", f"There is no such time as {text!r}.") from error


def _with_offset(local: datetime, offset: str | None, text: str, ways: Ways) -> datetime:
    if offset:
        return datetime.fromisoformat(f"{local.isoformat()}{offset.upper()}")
    if ways.zone is None:
        raise Unreadable("zone_needed", f"In which time zone is {text!r}?")
    early, late = (local.replace(tzinfo=ways.zone, fold=fold) for fold in (0, 1))
    if early.utcoffset() != late.utcoffset():
        skipped = early.astimezone(UTC).astimezone(ways.zone).replace(tzinfo=None) != local
        what = "The clocks skipped it" if skipped else "The clocks showed it twice"
        raise Unreadable("clock_change", f"{what}: {text!r}. Write the offset from UTC behind it.")
    return early
