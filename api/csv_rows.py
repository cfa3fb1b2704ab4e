"""Rows of a CSV file as bodies of the API: the header names the fields, a blank cell was not noted."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import orjson
from rest_framework import serializers

from api.csv_cells import text_of
from api.record_serializer import RecordSerializer
from dryrecords.core.errors import FieldError, Invalid, invalid

TOO_MANY_CELLS = "cells beyond the header"


def bodies(kind: type[RecordSerializer], lines: Iterable[str]) -> Iterator[dict[str, Any]]:
    """Cells that are not what their field wants stay text, for the serializer to say so."""
    fields = kind.flat_fields()
    rows = csv.DictReader(lines, restkey=TOO_MANY_CELLS)
    try:
        unknown = [name for name in rows.fieldnames or () if name not in fields]
        if unknown:
            text = f"There is no such field. Known are: {', '.join(fields)}."
            raise Invalid(text, errors=[FieldError(f"/{name}", "unknown_field", text) for name in unknown[:20]])
        readers = {name: _reader(field) for name, field in fields.items() if not field.read_only}
        readers[TOO_MANY_CELLS] = str
        for row in rows:
            yield kind.nested({name: readers[name](cell) for name, cell in row.items() if cell and name in readers})
    except csv.Error as error:
        raise invalid("", "not_csv", f"This cannot be read as CSV: {error}.") from error


def _reader(field: serializers.Field) -> Callable[[Any], Any]:
    if isinstance(field, serializers.ListSerializer | serializers.JSONField):
        return _or_as_it_is(orjson.loads)
    if isinstance(field, serializers.IntegerField):
        return _or_as_it_is(int)
    if isinstance(field, serializers.FloatField):
        return _or_as_it_is(_finite)
    return text_of


def _finite(cell: str) -> float:
    """A number as JSON may have it."""
    value = float(cell)
    if not math.isfinite(value):
        raise ValueError(cell)
    return value


def _or_as_it_is(read: Callable[[str], Any]) -> Callable[[str], Any]:
    def reader(cell: str) -> Any:
        try:
            return read(cell)
        except ValueError:
            return cell

    return reader
