"""Reads the body of a push into mutations; the records in them are read later, each by itself."""

from __future__ import annotations

import re
from typing import Any
from uuid import UUID

import msgspec
import orjson
from django.conf import settings
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

from api.rendering import DEEPEST, is_deeper, may_be_deeper
from dryrecords.core.errors import Invalid, invalid


class Mutation(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    """One write made offline. Only the id must be right for it to be kept; what else is wrong is told of it alone."""

    id: UUID
    resource: Any = None
    op: Any = None
    record: msgspec.Raw = msgspec.Raw(b"null")
    base_version: Any = None


class Kept(Mutation, kw_only=True):
    """As the ledger keeps it: with the row of the sheet that it was, if it was one."""

    source: Any = msgspec.UNSET


class Body(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    mutations: list[Mutation]
    sent_at: Any = None


_bodies = msgspec.json.Decoder(Body)
_kept = msgspec.json.Decoder(Kept)
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
    if may_be_deeper(text, DEEPEST) and _is_too_deep(text):
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


def from_text(text: str) -> Kept:
    return _kept.decode(text)
