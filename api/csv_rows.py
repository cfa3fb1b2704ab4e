"""Rows of a CSV file as bodies of the API: the header names the fields, a blank cell was not noted."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from typing import Any

import orjson
from rest_framework import serializers

from api.record_serializer import RecordSerializer


def bodies(kind: type[RecordSerializer], lines: Iterable[str]) -> list[dict[str, Any]]:
    readers = {name: _reader(field) for name, field in kind().fields.items()}
    return [
        {name: readers.get(name, str)(text) for name, text in row.items() if name and text not in ("", None)}
        for row in csv.DictReader(lines)
    ]


def _reader(field: serializers.Field) -> Callable[[str], Any]:
    if isinstance(field, serializers.ListSerializer):
        return orjson.loads
    if isinstance(field, serializers.IntegerField):
        return int
    if isinstance(field, serializers.FloatField):
        return float
    return str
