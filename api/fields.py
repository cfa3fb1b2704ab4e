"""Fields of the wire that are not quantities: references, times, texts, choices, prices, parts of a record.

`outward` turns a column's value into what is sent. Every value that was not given is null outside; texts and choices
are empty strings inside.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from typing import Any
from zoneinfo import available_timezones

from rest_framework import serializers
from rest_framework.fields import empty

from dryrecords.tenancy.rules import limits_of

LONGEST_NOTE = 10_000
YEARS = range(1900, 2200)


def optional(kind: Callable[..., serializers.Field], *args: Any, **kwargs: Any) -> serializers.Field:
    """A field that may be left out or null."""
    return kind(*args, required=False, allow_null=True, **kwargs)


class ReferenceField(serializers.UUIDField):
    """The id of another record. Whether there is one, and one's own, is for the service to find out."""

    def bind(self, field_name: str, parent: Any) -> None:
        if field_name != "id":
            self.source = f"{field_name}_id"
        super().bind(field_name, parent)

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, str):
            self.fail("invalid", value=data)
        return super().to_internal_value(data)


class MomentField(serializers.DateTimeField):
    """RFC 3339 with an offset; kept in UTC."""

    default_error_messages = {
        "offset_missing": "Say the offset from UTC, for example 2025-10-06T14:30:00-05:00.",
        "out_of_range": "Must lie between the years 1900 and 2199.",
    }

    def enforce_timezone(self, value: datetime) -> datetime:
        if value.tzinfo is None:
            self.fail("offset_missing")
        try:
            moment = value.astimezone(UTC)
        except OverflowError:
            self.fail("out_of_range")
        if moment.year not in YEARS:
            self.fail("out_of_range")
        return moment

    def outward(self, value: datetime | str | None) -> datetime | None:
        # Inside a part of a record a time is kept as text.
        return datetime.fromisoformat(value) if isinstance(value, str) else value


class MomentOrDayField(MomentField):
    """As above; a plain date is its midnight UTC."""

    def to_internal_value(self, data: Any) -> datetime:
        try:
            return super().to_internal_value(f"{date.fromisoformat(data)}T00:00:00Z")
        except (TypeError, ValueError):
            return super().to_internal_value(data)


class TextField(serializers.CharField):
    """Text. What was not given is null outside."""

    def __init__(self, max_length: int = 200, **kwargs: Any) -> None:
        kwargs.setdefault("allow_blank", not kwargs.get("required", True))
        super().__init__(max_length=max_length, **kwargs)

    def run_validation(self, data: Any = empty) -> Any:
        value = super().run_validation(data)
        return "" if value is None else value

    def outward(self, value: str) -> str | None:
        return value or None


class ChoiceField(serializers.ChoiceField):
    def __init__(self, choices: Iterable[Any], **kwargs: Any) -> None:
        super().__init__(choices, **kwargs)
        self.error_messages["invalid_choice"] = f"Must be one of {', '.join(map(str, self.choices))}."

    def run_validation(self, data: Any = empty) -> Any:
        value = super().run_validation(data)
        return "" if value is None else value

    def outward(self, value: str) -> str | None:
        return value or None


class ZoneField(serializers.CharField):
    """A name of the IANA time zone database."""

    default_error_messages = {"unknown_zone": "Must be an IANA time zone, for example America/Chicago."}

    def to_internal_value(self, data: Any) -> str:
        name = super().to_internal_value(data)
        if name not in _zones():
            self.fail("unknown_zone")
        return name


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


class YearField(serializers.IntegerField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=1900, max_value=2200, **kwargs)


class CountField(serializers.IntegerField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=1, max_value=2**31 - 1, **kwargs)


class ExactField(serializers.DecimalField):
    """A decimal in and out, with the digits of its column, never a float in between. Sent as text."""

    default_error_messages = {"out_of_range": "Must be {limits}."}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**{"max_digits": None, "decimal_places": None} | kwargs)

    def bind(self, field_name: str, parent: Any) -> None:
        column = f"{getattr(parent, 'prefix', '')}{field_name}"
        if column != field_name:
            self.source = column
        kept = parent.model._meta.get_field(column)
        self.max_digits, self.decimal_places = kept.max_digits, kept.decimal_places
        self.max_whole_digits = kept.max_digits - kept.decimal_places
        self.limits = limits_of(parent.model, column)
        super().bind(field_name, parent)

    def to_internal_value(self, data: Any) -> Decimal:
        if isinstance(data, bool) or not isinstance(data, int | float | str):
            self.fail("invalid")
        value: Decimal = super().to_internal_value(data)
        if not self.limits.allow(value):
            self.fail("out_of_range", limits=self.limits)
        return value

    def outward(self, value: Decimal | None) -> str | None:
        return None if value is None else f"{value.normalize():f}"


class PriceField(ExactField):
    """Money per unit."""
