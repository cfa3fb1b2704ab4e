"""Base of every resource's serializer: validates bodies into columns and turns columns into what is sent."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from datetime import datetime
from functools import cache
from itertools import islice
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.fields import empty

from api.fields import MomentField, ReferenceField
from dryrecords.core.errors import Invalid
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.rules import broken_rules

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
        return tuple(column for _, column, _ in _flat(cls))

    @classmethod
    def outward(cls, values: Sequence[Any]) -> dict[str, Any]:
        """What is sent of a row, given in the order of `columns`."""
        # What is left when the layout ends belongs to the groups.
        left = iter(values)
        told = {
            name: turn(value) if turn else value for (name, _, turn), value in zip(_layout(cls), left, strict=False)
        }
        for name, group in _groups(cls):
            told[name] = group.outward_group(list(islice(left, len(group.columns()))))
        return told

    @classmethod
    def outward_flat(cls, values: Sequence[Any]) -> list[Any]:
        """The same as a row of a sheet, in the order of `flat_fields`."""
        return [turn(value) if turn else value for (_, _, turn), value in zip(_flat(cls), values, strict=True)]

    @classmethod
    def flat_fields(cls) -> dict[str, serializers.Field]:
        """Fields as the columns of a sheet: those of a group one by one, behind the group's name."""
        fields = cls().fields
        flat = {name: field for name, field in fields.items() if not isinstance(field, GroupSerializer)}
        for name, _ in _groups(cls):
            flat |= {f"{name}_{inner}": field for inner, field in fields[name].fields.items()}
        return flat

    @classmethod
    def nested(cls, cells: Mapping[str, Any]) -> dict[str, Any]:
        """A row of a sheet as a body."""
        body = dict(cells)
        for name, group in _groups(cls):
            within = {inner: body.pop(f"{name}_{inner}") for inner, _, _ in _layout(group) if f"{name}_{inner}" in body}
            body |= {name: within} if within else {}
        return body

    @classmethod
    def name_of_column(cls, column: str) -> str:
        for name, source, _ in _layout(cls):
            if source == column:
                return name
        for name, group in _groups(cls):
            if column in group.columns():
                return f"{name}/{group.name_of_column(column)}"
        return column


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


class GroupSerializer(StrictSerializer):
    """Columns of a record that go together: an object of their own outside, given and replaced as a whole."""

    model: ClassVar[type[Record]]
    # In front of the names of the columns.
    prefix: ClassVar[str]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"source": "*", "required": False, "allow_null": True} | kwargs)

    def run_validation(self, data: Any = empty) -> Any:
        return super().run_validation({} if data is None else data)

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        values = super().to_internal_value(data)
        return {field.source: values.get(field.source) for field in self.fields.values()}

    @classmethod
    def outward_group(cls, values: Sequence[Any]) -> dict[str, Any] | None:
        return None if all(value is None for value in values) else cls.outward(values)


class RecordSerializer(StrictSerializer):
    model: ClassVar[type[Record]]

    id = ReferenceField(required=False, help_text="Made by the client if it likes; UUID version 7 is recommended.")
    version = serializers.IntegerField(
        read_only=True,
        help_text="Goes up by one with every change. Sent back in a PATCH it must be the current one.",
    )
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
    return tuple(
        (name, field.source, _turner(field))
        for name, field in kind().fields.items()
        if not isinstance(field, GroupSerializer)
    )


@cache
def _groups(kind: type[serializers.Serializer]) -> tuple[tuple[str, type[GroupSerializer]], ...]:
    return tuple((name, type(field)) for name, field in kind().fields.items() if isinstance(field, GroupSerializer))


@cache
def _flat(kind: type[serializers.Serializer]) -> Layout:
    """Groups stand behind everything else."""
    within = [
        (f"{name}_{inner}", column, turn) for name, group in _groups(kind) for inner, column, turn in _layout(group)
    ]
    return (*_layout(kind), *within)


def _turner(field: serializers.Field) -> Callable[[Any], Any] | None:
    if isinstance(field, serializers.ListSerializer):
        part = type(field.child).outward_part
        return lambda items: [part(item) for item in items or ()]
    return getattr(field, "outward", None)
