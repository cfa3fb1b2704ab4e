"""Base of every resource's serializer: validates bodies into columns and turns columns into what is sent."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from datetime import datetime
from functools import cache
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from api.fields import MomentField, ReferenceField
from api.rules import broken_rules
from dryrecords.core.errors import Invalid
from dryrecords.tenancy.records import Record

# So many wrong names are told at once; a body of rubbish does not get a bigger answer.
UNKNOWN_TOLD = 20


class StrictSerializer(serializers.Serializer):
    """Refuses fields it does not know: a typo must not lose data."""

    def to_internal_value(self, data: Any) -> Any:
        errors = self.refusals(data) if isinstance(data, Mapping) else {}
        try:
            values = super().to_internal_value(data)
        except ValidationError as error:
            raise ValidationError({**errors, **error.detail}) from error
        if errors:
            raise ValidationError(errors)
        return values

    def refusals(self, data: Mapping[str, Any]) -> dict[str, list[ErrorDetail]]:
        unknown = [name for name in data if name not in self.fields][:UNKNOWN_TOLD]
        text = "There is no such field. Known are: " + ", ".join(self.fields) + "."
        return {name: [ErrorDetail(text, code="unknown_field")] for name in unknown}

    @classmethod
    def columns(cls) -> tuple[str, ...]:
        return tuple(column for _, column, _ in _layout(cls))

    @classmethod
    def outward(cls, values: Sequence[Any]) -> dict[str, Any]:
        """What is sent of a row, given in the order of `columns`."""
        return {
            name: turn(value) if turn else value for (name, _, turn), value in zip(_layout(cls), values, strict=True)
        }

    @classmethod
    def name_of_column(cls, column: str) -> str:
        return next((name for name, source, _ in _layout(cls) if source == column), column)


class PartSerializer(StrictSerializer):
    """A part of a record, kept inside it as JSON in SI units."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        return {
            field.source: value.isoformat() if isinstance(value, datetime) else value
            for field in self.fields.values()
            for value in [values.get(field.source)]
        }

    @classmethod
    def outward_part(cls, value: Mapping[str, Any]) -> dict[str, Any]:
        return cls.outward([value.get(column) for column in cls.columns()])


class RecordSerializer(StrictSerializer):
    model: ClassVar[type[Record]]

    id = ReferenceField(required=False, help_text="Made by the client if it likes; UUID version 7 is recommended.")
    version = serializers.IntegerField(read_only=True, help_text="Goes up by one with every change.")
    created_at = MomentField(read_only=True)
    updated_at = MomentField(read_only=True)

    def refusals(self, data: Mapping[str, Any]) -> dict[str, list[ErrorDetail]]:
        errors = super().refusals(data)
        if self.instance is not None and str(data.get("id", self.instance.pk)).lower() != str(self.instance.pk):
            errors["id"] = [ErrorDetail("The id of a record never changes.", code="id_fixed")]
        return errors

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if self.instance is not None:
            attrs.pop("id", None)
        candidate = copy(self.instance) if self.instance is not None else self.model()
        for column, value in attrs.items():
            setattr(candidate, column, value)
        if errors := broken_rules(candidate):
            raise Invalid(errors[0].detail, errors=errors)
        return attrs

    @classmethod
    def outward_record(cls, record: Record) -> dict[str, Any]:
        return cls.outward([getattr(record, column) for column in cls.columns()])


# Name and column of a field, and what turns the one into the other if anything does.
Layout = tuple[tuple[str, str, Callable[[Any], Any] | None], ...]


@cache
def _layout(kind: type[serializers.Serializer]) -> Layout:
    """Worked out once: serializer fields are too slow to be made for every row."""
    return tuple((name, field.source, _turner(field)) for name, field in kind().fields.items())


def _turner(field: serializers.Field) -> Callable[[Any], Any] | None:
    if isinstance(field, serializers.ListSerializer):
        part = type(field.child).outward_part
        return lambda items: [part(item) for item in items or ()]
    return getattr(field, "outward", None)
