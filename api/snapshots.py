"""Rows as the history keeps them, JSON of columns in SI units, read back as values of those columns."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from functools import cache
from typing import Any

from django.db import models

from api.record_serializer import RecordSerializer


def outward(serializer: type[RecordSerializer], snapshot: Mapping[str, Any]) -> dict[str, Any]:
    """The record as the lists show it. An old snapshot may lack columns that came later."""
    values = [
        value if value is None or read is None else read(value)
        for column, read in _readers(serializer)
        for value in [snapshot.get(column)]
    ]
    return serializer.outward(values)


@cache
def _readers(serializer: type[RecordSerializer]) -> tuple[tuple[str, Callable[[Any], Any] | None], ...]:
    of = serializer.model._meta.get_field
    return tuple((column, _reader(of(column))) for column in serializer.columns())


def _reader(field: Any) -> Callable[[Any], Any] | None:
    if isinstance(field, models.DateTimeField):
        return datetime.fromisoformat
    if isinstance(field, models.FloatField):
        return float
    if isinstance(field, models.DecimalField):
        # JSON knows no decimals; the column's digits are fewer than a double holds.
        read: Callable[[Any], Any] = field.to_python
        return read
    return None
