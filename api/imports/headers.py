"""Which field each column of a spreadsheet is, and in which unit: by its name, by a usual other name, or as told."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rest_framework import serializers

from api.fields import ExactField, MomentField, ReferenceField
from api.imports.aliases import aliases_of
from api.imports.units import ENDING, plain, unit_named
from api.quantities import QuantityField
from api.record_serializer import RecordSerializer
from dryrecords.core.errors import FieldError, Invalid
from dryrecords.core.quantities import Unit

# What a report of errors adds, and what only the service writes: a sheet may have them, nothing is read from them.
NOT_READ = {"row", "reason", "version", "created_at", "updated_at"}
BRACKETS = re.compile(r"[(\[]([^)\]]*)[)\]]")
# Columns that are no field of a kind may still tell which of two things of one name is meant.
NARROWING = {"customer", "site", "dryer"}


@dataclass(frozen=True)
class Column:
    """Where the cells of a field stand: one place, or date and time in two."""

    name: str
    field: str
    places: tuple[int, ...]
    # None: the field's own.
    unit: Unit | None = None


@dataclass(frozen=True)
class _Found:
    field: str
    unit: Unit | None = None


class _Unclear(Exception):
    def __init__(self, code: str, detail: str) -> None:
        super().__init__(detail)
        self.code, self.detail = code, detail


def columns_of(kind: type[RecordSerializer], header: list[str], told: Mapping[str, str]) -> list[Column]:
    """Every column with its field; or a refusal that names all that are unclear."""
    known = _Names(kind)
    told = {name.strip().casefold(): target.strip() for name, target in told.items()}
    columns: dict[str, Column] = {}
    errors = [
        FieldError(_pointer(name), "no_such_column", f"There is no column {name!r}.")
        for name in told
        if name not in {each.casefold() for each in header}
    ]
    for place, name in enumerate(header):
        try:
            found = known.find(name, told.get(name.casefold()))
            if found is not None:
                columns[found.field] = _joined(
                    known, columns.get(found.field), Column(name, found.field, (place,), found.unit)
                )
        except _Unclear as error:
            errors.append(FieldError(_pointer(name), error.code, error.detail))
    if not errors:
        errors = list(_missing(known, columns))
    if errors:
        raise Invalid(errors[0].detail, errors=errors)
    return list(columns.values())


def _joined(known: _Names, first: Column | None, column: Column) -> Column:
    """A date and a time in two columns are one moment."""
    if first is None:
        return column
    is_moment = isinstance(known.fields.get(column.field), MomentField)
    if is_moment and len(first.places) == 1:
        words = [set(_words(first.name)), set(_words(column.name))]
        for early, late, places in (
            (*words, first.places + column.places),
            (*reversed(words), column.places + first.places),
        ):
            if early & {"date", "day"} and "time" in late and "date" not in late:
                return Column(f"{first.name}, {column.name}", column.field, places)
    raise _Unclear(
        "column_twice", f"{first.name!r} and {column.name!r} are both {column.field}. Leave one of them out."
    )


def _missing(known: _Names, columns: Mapping[str, Column]) -> Iterator[FieldError]:
    for name, field in known.fields.items():
        if field.required and name not in columns:
            yield FieldError(_pointer(name), "column_missing", f"No column is {name}. Which is? Say theirs={name}.")


class _Names:
    """Of one kind of record: every name by which its fields go."""

    def __init__(self, kind: type[RecordSerializer]) -> None:
        self.fields = {name: field for name, field in kind.flat_fields().items() if not field.read_only}
        narrowing = NARROWING if any(isinstance(each, ReferenceField) for each in self.fields.values()) else set()
        self.by_words: dict[str, str] = {}
        others = aliases_of(kind.model.resource)
        # A field's own name goes before other names, and these before the names of what only narrows.
        for names in (
            {name: [name, _stem(name, field)] for name, field in self.fields.items()},
            {name: others.get(_stem(name, field), ()) for name, field in self.fields.items()},
            {name: [name, *others.get(name, ())] for name in sorted(narrowing - set(self.fields))},
        ):
            for field, given in names.items():
                for each in given:
                    self.by_words.setdefault(" ".join(_words(each)), field)

    def find(self, name: str, told: str | None) -> _Found | None:
        if told is not None:
            return self._told(name, told) if told else None
        if not name or name.casefold() in NOT_READ:
            return None
        found = self._by_name(name)
        if found is None:
            known = ", ".join(self.fields)
            raise _Unclear(
                "unknown_column",
                f"Which field is {name!r}? Say {name}=field, or {name}= to leave the column out. Fields: {known}.",
            )
        return found

    def _told(self, name: str, told: str) -> _Found:
        if told in self.fields or told in self.by_words.values():
            in_brackets = BRACKETS.search(name)
            unit = self._unit(told, in_brackets[1], name) if in_brackets else None
            return _Found(told, unit)
        found = self._by_name(told)
        if found is None:
            raise _Unclear("unknown_field", f"There is no field {told!r}. Fields: {', '.join(self.fields)}.")
        return found

    def _by_name(self, name: str) -> _Found | None:
        if name in self.fields:
            return _Found(name)
        in_brackets = BRACKETS.search(name)
        bare = BRACKETS.sub(" ", name)
        if in_brackets:
            field = self.by_words.get(" ".join(_words(bare)))
            return None if field is None else _Found(field, self._unit(field, in_brackets[1], name))
        words = _words(bare)
        if field := self.by_words.get(" ".join(words)):
            return _Found(field, self._unit(field, "", name))
        # The unit may stand behind the name without brackets: `wet weight kg`, `moisture %`, `temp °F`.
        for cut in range(len(words) - 1, 0, -1):
            field = self.by_words.get(" ".join(words[:cut]))
            if isinstance(self.fields.get(field or ""), QuantityField | ExactField):
                return _Found(field, self._unit(field, "".join(words[cut:]), name))
        return None

    def _unit(self, name: str, text: str, written: str) -> Unit | None:
        field = self.fields.get(name)
        if _has_unit(name, field) and not plain(text):
            stem = _stem(name, field)
            raise _Unclear(
                "unit_needed",
                f"In which unit is {written!r}? Write it into the header, like {written} ({_written(name, field)}),"
                f" or say {written}={stem}_ and the unit.",
            )
        if isinstance(field, MomentField) and text.strip().casefold() in ("", "local", "local time"):
            return None
        unit = unit_named(text, field) if field is not None else True
        if unit is None:
            raise _Unclear("unknown_unit", f"What does {text!r} in {written!r} mean for {name}?")
        return unit if isinstance(unit, Unit) else None


def _has_unit(name: str, field: serializers.Field | None) -> bool:
    """Pounds and kilograms go by the same names; percent, dollars and bushels do not."""
    exact = isinstance(field, ExactField) and name.endswith(("_lb", "_lb_bu"))
    return exact or (isinstance(field, QuantityField) and field.unit is not None)


def _written(name: str, field: serializers.Field | None) -> str:
    return name.removeprefix(_stem(name, field) + "_").replace("_", "/")


def _stem(name: str, field: serializers.Field | None) -> str:
    """`wet_mass_lb` -> `wet_mass`, `moisture_pct` -> `moisture`."""
    if isinstance(field, QuantityField) and field.unit is not None:
        suffix = field.unit.suffix.removeprefix("volume_")
        return name.removesuffix(f"_{suffix}")
    return ENDING.sub("", name) if isinstance(field, QuantityField | ExactField) else name


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+(?:/[^\W_]+)?|[%$°º]+", text.lower())


def _pointer(name: str) -> str:
    return f"/columns/{name.replace('~', '~0').replace('/', '~1')}"
