"""Pages by keyset: a page goes on after the last row of the one before, whatever was added in between."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import orjson
from django.db.models import Q, QuerySet
from rest_framework.request import Request

from dryrecords.core.errors import invalid

DEFAULT_LIMIT = 100
ROWS_AT_A_TIME = 2000


def page(
    request: Request,
    rows: QuerySet[Any],
    parameters: Mapping[str, Any],
    *,
    keys: Mapping[str, Callable[[str], Any]],
    columns: Sequence[str],
    outward: Callable[[Sequence[Any]], dict[str, Any]],
) -> dict[str, Any]:
    """One page, newest first. `keys`: those of the columns that order the rows, and how each reads from a cursor."""
    limit = parameters.get("limit", DEFAULT_LIMIT)
    if "cursor" in parameters:
        rows = rows.filter(_after(list(keys), _read_cursor(parameters["cursor"], keys)))
    found = list(rows.order_by(*(f"-{key}" for key in keys)).values_list(*columns)[: limit + 1])
    places = [columns.index(key) for key in keys]
    cursor = _cursor([found[limit - 1][place] for place in places]) if len(found) > limit else None
    return {
        "results": [outward(row) for row in found[:limit]],
        "next": _address(request, cursor) if cursor else None,
        "next_cursor": cursor,
    }


def all_pages(rows: QuerySet[Any], *, keys: Sequence[str], columns: Sequence[str]) -> Iterator[Sequence[Sequence[Any]]]:
    """Everything, newest first, page by page: a slow reader keeps no transaction and no cursor open."""
    places = [columns.index(key) for key in keys]
    newest_first = rows.order_by(*(f"-{key}" for key in keys)).values_list(*columns)
    found = list(newest_first[:ROWS_AT_A_TIME])
    while found:
        yield found
        last = [found[-1][place] for place in places]
        more = len(found) == ROWS_AT_A_TIME
        found = list(newest_first.filter(_after(list(keys), last))[:ROWS_AT_A_TIME]) if more else []


def aware(text: str) -> datetime:
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError("no offset")
    return moment


BY_MOMENT_AND_ID = (aware, UUID)


def _after(keys: list[str], place: list[Any]) -> Q:
    first, *rest = keys
    if not rest:
        return Q(**{f"{first}__lt": place[0]})
    # The first condition alone is what an index can use.
    return Q(**{f"{first}__lte": place[0]}) & (Q(**{f"{first}__lt": place[0]}) | _after(rest, place[1:]))


def _cursor(place: Sequence[Any]) -> str:
    texts = [value.isoformat() if isinstance(value, datetime) else str(value) for value in place]
    return base64.urlsafe_b64encode(orjson.dumps(texts)).decode().rstrip("=")


def _read_cursor(cursor: str, keys: Mapping[str, Callable[[str], Any]]) -> list[Any]:
    try:
        texts = orjson.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
        return [read(text) for read, text in zip(keys.values(), texts, strict=True)]
    except (ValueError, TypeError, AttributeError, OverflowError, binascii.Error) as error:
        text = "This is not a cursor of this list. Start again without one."
        raise invalid("/cursor", "bad_cursor", text) from error


def _address(request: Request, cursor: str) -> str:
    query = request.query_params.copy()
    query["cursor"] = cursor
    return request.build_absolute_uri(f"{request.path}?{query.urlencode()}")
