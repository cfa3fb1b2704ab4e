"""Versions on the wire: a strong ETag (RFC 9110, section 8.8.3), and the conditions that name one."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from rest_framework.request import Request

from dryrecords.core.errors import FieldError, Invalid, VersionMismatch, invalid
from dryrecords.tenancy.records import Record

ONE_TAG = r'(?:W/)?"[\x21\x23-\x7e\x80-\xff]*"'
TAGS = re.compile(rf"\s*(?:\*|{ONE_TAG}(?:\s*,\s*{ONE_TAG})*)\s*")


def etag(version: int) -> str:
    return f'"{version}"'


def version_to_match(request: Request, record: Record) -> int | None:
    """The version that a write may change: None for any. If-Match compares strongly: a weak tag matches nothing."""
    text = request.headers.get("If-Match")
    if text is None:
        return None
    if not TAGS.fullmatch(text):
        detail = 'If-Match must be * or an ETag in double quotes, for example "3".'
        raise Invalid(detail, code="bad_if_match", errors=[FieldError("", "bad_if_match", detail)])
    if text.strip() == "*":
        return None
    if etag(record.version) not in _tags(text):
        raise VersionMismatch()
    return record.version


def version_in_body(data: Any, record: Record) -> int | None:
    """The same, of a body: what was read and is sent back changed carries the version that was read."""
    if not isinstance(data, Mapping) or "version" not in data:
        return None
    version = data["version"]
    if type(version) is not int:
        raise invalid("/version", "invalid", "Must be the version of the record that is changed, or left out.")
    if version != record.version:
        raise VersionMismatch()
    return version


def is_known(request: Request, version: int) -> bool:
    """Does If-None-Match name this version? It compares weakly; nonsense in it matches nothing."""
    text = request.headers.get("If-None-Match", "")
    return text.strip() == "*" or etag(version) in {tag.removeprefix("W/") for tag in _tags(text)}


def _tags(text: str) -> list[str]:
    return re.findall(ONE_TAG, text)
