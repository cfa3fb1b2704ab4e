"""JSON in and out by orjson: decimals leave as text, times in UTC, numbers that are none are refused."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import orjson
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.renderers import BaseRenderer

DEEPEST = 32
OPTIONS = orjson.OPT_UTC_Z | orjson.OPT_NON_STR_KEYS | orjson.OPT_SERIALIZE_NUMPY


def dumps(data: Any) -> bytes:
    return orjson.dumps(data, default=_plain, option=OPTIONS)


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return str(value)
    if isinstance(value, dict):
        return dict(value)
    return str(value)


class JSONRenderer(BaseRenderer):
    media_type = "application/json"
    format = "json"
    charset = None

    def render(self, data: Any, accepted_media_type: Any = None, renderer_context: Any = None) -> bytes:
        return b"" if data is None else dumps(data)


class JSONParser(BaseParser):
    media_type = "application/json"

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        try:
            text = stream.read()
            data = orjson.loads(text)
        except orjson.JSONDecodeError as error:
            raise ParseError(f"The body is not JSON: {error}") from error
        if may_be_deeper(text, DEEPEST) and is_deeper(data, DEEPEST):
            raise ParseError(f"The body is nested more than {DEEPEST} levels deep.", code="too_deep")
        return data


def may_be_deeper(text: bytes, levels: int) -> bool:
    """Fewer brackets cannot be nested deeper; whoever has more of them looks."""
    return text.count(b"{") + text.count(b"[") > levels


def is_deeper(data: Any, levels: int) -> bool:
    if levels == 0:
        return isinstance(data, dict | list)
    inner = data.values() if isinstance(data, dict) else data if isinstance(data, list) else ()
    return any(is_deeper(each, levels - 1) for each in inner if isinstance(each, dict | list))
