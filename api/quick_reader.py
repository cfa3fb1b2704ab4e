"""Reads new records of plain kinds as fast as can be, from JSON or from bodies; all others are their serializer's.

What the fast way accepts, the serializer accepts too, and reads the same; what it does not, it leaves to it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import cache
from typing import Annotated, Any, Literal
from uuid import UUID

import msgspec
from rest_framework.exceptions import ValidationError

from api.fields import ChoiceField, CountField, MomentField, MomentOrDayField, ReferenceField
from api.quantities import QuantityField
from api.record_serializer import RecordSerializer
from api.resources import Resource
from dryrecords.core.ids import new_id
from dryrecords.tenancy.rules import rules_of
from dryrecords.tenancy.writes import nothing_to_add


class QuickReader:
    """Makes a record's columns, as attributes, of what was sent; of what it cannot read, None."""

    def __init__(self, serializer: type[RecordSerializer]) -> None:
        fields = [field for field in serializer().fields.values() if not field.read_only]
        layout = [(field.source, _kind(field), _name_and_default(field)) for field in fields]
        self._struct = msgspec.defstruct(
            f"Quick{serializer.__name__}", layout, forbid_unknown_fields=True, kw_only=True
        )
        self._decode = msgspec.json.Decoder(self._struct).decode
        self._turned = [(field.source, turn) for field in fields for turn in [PLAIN[type(field)](field)] if turn]
        self._choices = [field.source for field in fields if isinstance(field, ChoiceField)]
        self._rules = [holds for holds, _ in rules_of(serializer.model)]
        self._columns = {field.field_name: field.source for field in fields}

    def of_text(self, text: bytes | msgspec.Raw) -> Any:
        try:
            return self._finished(self._decode(text))
        except (msgspec.MsgspecError, ValidationError):
            return None

    def of_body(self, body: Any) -> Any:
        """Of what JSON was read into; a number in it is one."""
        try:
            return self._finished(msgspec.convert(body, self._struct))
        except (msgspec.MsgspecError, ValidationError):
            return None

    def given(self, row: Any, body: dict[str, Any]) -> dict[str, Any]:
        """The columns that a body says something of."""
        return {column: getattr(row, column) for column in map(self._columns.__getitem__, body)}

    def _finished(self, row: Any) -> Any:
        for column, turn in self._turned:
            value = getattr(row, column)
            if value is not None:
                setattr(row, column, turn(value))
        if row.id is msgspec.UNSET:
            row.id = new_id()
        for column in self._choices:
            # What is null outside is empty inside.
            if getattr(row, column) is None:
                setattr(row, column, "")
        return row if all(holds(row) for holds in self._rules) else None


def quick_reader(resource: Resource) -> QuickReader | None:
    """None for a kind with fields that are not plain, or with columns that follow from others."""
    return _reader(resource.serializer) if resource.writer.complete is nothing_to_add else None


@cache
def _reader(serializer: type[RecordSerializer]) -> QuickReader | None:
    fields = [field for field in serializer().fields.values() if not field.read_only]
    return QuickReader(serializer) if all(type(field) in PLAIN for field in fields) else None


@cache
def moments_of(serializer: type[RecordSerializer]) -> tuple[tuple[str, str], ...]:
    """Name and column of the times at which something happened; from when a price holds may well lie ahead."""
    return tuple(
        (name, field.source)
        for name, field in serializer().fields.items()
        if isinstance(field, MomentField) and not isinstance(field, MomentOrDayField) and not field.read_only
    )


def _quantity(field: Any) -> Callable[[float], float] | None:
    return field.inward if field.unit else None


def _moment(field: Any) -> Callable[[datetime], datetime]:
    return field.enforce_timezone


def _as_it_is(field: Any) -> None:
    return None


PLAIN: dict[type, Callable[[Any], Any]] = {
    ReferenceField: _as_it_is,
    MomentField: _moment,
    QuantityField: _quantity,
    ChoiceField: _as_it_is,
    CountField: _as_it_is,
}


def _kind(field: Any) -> Any:
    kind: Any = {
        ReferenceField: lambda: UUID,
        MomentField: lambda: Annotated[datetime, msgspec.Meta(tz=True)],
        QuantityField: lambda: Annotated[float, _bounds(field.limits.low, field.limits.high, field.limits.above)],
        ChoiceField: lambda: Literal[tuple(field.choices)],
        CountField: lambda: Annotated[int, _bounds(field.min_value, field.max_value)],
    }[type(field)]()
    return kind | None if field.allow_null else kind


def _bounds(low: float | None, high: float | None, above: float | None = None) -> msgspec.Meta:
    return msgspec.Meta(ge=low, le=high, gt=above)


def _name_and_default(field: Any) -> Any:
    if field.required:
        return msgspec.field(name=field.field_name)
    column = field.parent.model._meta.get_field(field.source)
    return msgspec.field(
        name=field.field_name, default=msgspec.UNSET if field.field_name == "id" else column.get_default()
    )
