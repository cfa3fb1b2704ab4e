"""Reads the body of a push, and the records in it: plain ones as fast as can be, all others by their serializer.

What the fast way accepts, the serializer accepts too, and reads the same; what it does not, it leaves to it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import datetime
from functools import cache
from typing import Annotated, Any, Literal, NamedTuple
from uuid import UUID

import msgspec
import orjson
from django.conf import settings
from rest_framework.exceptions import ParseError, ValidationError
from rest_framework.parsers import BaseParser

from api.fields import ChoiceField, CountField, MomentField, MomentOrDayField, ReferenceField
from api.quantities import QuantityField
from api.record_serializer import RecordSerializer
from api.rendering import DEEPEST, is_deeper
from api.rules import rules_of
from dryrecords.core.errors import Invalid, invalid
from dryrecords.core.ids import new_id


class Mutation(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """One write made offline. Only the id must be right for it to be kept; what else is wrong is told of it alone."""

    id: UUID
    resource: Any = None
    op: Any = None
    record: msgspec.Raw = msgspec.Raw(b"null")
    base_version: Any = None


class Body(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    mutations: list[Mutation]
    sent_at: Any = None


_bodies = msgspec.json.Decoder(Body)
_mutations = msgspec.json.Decoder(Mutation)
PLACE = re.compile(r"(?P<text>.*?)(?: - at `\$(?P<path>.*)`)?$", re.DOTALL)
NAMED = re.compile(r"(?P<what>missing required|unknown) field `(?P<name>.*)`$", re.DOTALL)


class PushParser(BaseParser):
    media_type = "application/json"

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Body:
        return read_body(stream.read())


def read_body(text: bytes) -> Body:
    try:
        # Records are not looked into here, so their text is not either.
        text.decode()
        body = _bodies.decode(text)
    except (UnicodeDecodeError, msgspec.DecodeError) as error:
        if isinstance(error, msgspec.ValidationError):
            raise _misshapen(str(error)) from error
        raise ParseError(f"The body is not JSON: {error}") from error
    except RecursionError as error:
        raise _too_deep("") from error
    most = settings.MAX_MUTATIONS
    if len(body.mutations) > most:
        raise invalid("/mutations", "too_many", f"At most {most} mutations at a time; these are {len(body.mutations)}.")
    for place, mutation in enumerate(body.mutations):
        _bounded(mutation.record, f"/mutations/{place}/record")
    return body


def _bounded(record: msgspec.Raw, pointer: str) -> None:
    text = bytes(record)
    if len(text) > settings.MAX_RECORD_BYTES:
        raise invalid(pointer, "too_large", f"A record has at most {settings.MAX_RECORD_BYTES} bytes.")
    # Fewer brackets cannot be nested deeper.
    if text.count(b"{") + text.count(b"[") > DEEPEST and _is_too_deep(text):
        raise _too_deep(pointer)


def _is_too_deep(text: bytes) -> bool:
    try:
        return is_deeper(orjson.loads(text), DEEPEST)
    except orjson.JSONDecodeError:
        # What nobody can read is told of when it is its turn.
        return False


def _too_deep(pointer: str) -> Invalid:
    return invalid(pointer, "too_deep", f"The body is nested more than {DEEPEST} levels deep.")


def _misshapen(message: str) -> Invalid:
    found = PLACE.match(message)
    text, path = found["text"], found["path"] or ""
    pointer = re.sub(r"\[(\d+)\]", r"/\1", path).replace(".", "/")
    code = "invalid"
    if named := NAMED.search(text):
        pointer += "/" + named["name"].replace("~", "~0").replace("/", "~1")
        code = "required" if named["what"].startswith("missing") else "unknown_field"
    return invalid(pointer, code, f"{text}.")


def as_text(mutation: Mutation) -> str:
    """The whole mutation, as it is kept."""
    return msgspec.json.encode(mutation).decode()


def from_text(text: str) -> Mutation:
    return _mutations.decode(text)


class Row(NamedTuple):
    """A new record's columns as attributes, and the fields whose times lie in the future."""

    values: Any
    ahead: list[str]


@cache
def quick_reader(serializer: type[RecordSerializer]) -> Callable[[bytes, datetime], Row | None] | None:
    """Reads a record of a kind that has only plain fields; what it cannot, is None and left to the serializer."""
    fields = [field for field in serializer().fields.values() if not field.read_only]
    if not all(type(field) in PLAIN for field in fields):
        return None
    layout = [(field.source, _kind(field), _name_and_default(field)) for field in fields]
    struct = msgspec.defstruct(f"Quick{serializer.__name__}", layout, forbid_unknown_fields=True, kw_only=True)
    decoder = msgspec.json.Decoder(struct)
    turned = [(field.source, turn) for field in fields for turn in [PLAIN[type(field)](field)] if turn]
    choices = [field.source for field in fields if isinstance(field, ChoiceField)]
    moments = moments_of(serializer)
    rules = [holds for holds, _ in rules_of(serializer.model)]

    def read(text: bytes, horizon: datetime) -> Row | None:
        try:
            row = decoder.decode(text)
            for column, turn in turned:
                value = getattr(row, column)
                if value is not None:
                    setattr(row, column, turn(value))
        except (msgspec.MsgspecError, ValidationError):
            return None
        if row.id is msgspec.UNSET:
            row.id = new_id()
        for column in choices:
            # What is null outside is empty inside.
            if getattr(row, column) is None:
                setattr(row, column, "")
        if not all(holds(row) for holds in rules):
            return None
        return Row(row, [name for name, column in moments if (getattr(row, column) or horizon) > horizon])

    return read


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
