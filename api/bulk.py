"""Thousands of readings or samples in one call, as JSON or CSV: the right ones land, and of each it is told."""

from __future__ import annotations

import io
from collections import Counter
from typing import Any

from django.conf import settings
from django.db import transaction
from django.http import HttpResponse
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.csv_rows import bodies
from api.holding import hold
from api.idempotency import once
from api.landing import CREATED, DUPLICATE, REFUSED, Landing, Reader, Row
from api.operations import Answer, Operation
from api.record_views import RecordRoute
from api.rendering import JSONParser
from api.views import outward_error
from dryrecords.core.errors import invalid

NULLABLE_ID = {"type": ["string", "null"], "format": "uuid"}
RESULT = {
    "type": "object",
    "required": ["index", "status", "id", "held", "errors"],
    "properties": {
        "index": {
            "type": "integer",
            "description": "Place of the row, from 0; of a CSV file the first below the header.",
        },
        "status": {"enum": [CREATED, DUPLICATE, REFUSED]},
        "id": NULLABLE_ID | {"description": "Of the record that was made, or was there already."},
        "held": NULLABLE_ID | {"description": "Where a refused row waits to be corrected: sync/held/{id}."},
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["pointer", "code", "detail"],
                "properties": {
                    "pointer": {"type": "string", "description": "JSON pointer into the row."},
                    "code": {"type": "string"},
                    "detail": {"type": "string"},
                },
            },
        },
    },
}
COUNT = {"type": "integer"}
ANSWER = {
    "type": "object",
    "required": ["created", "duplicates", "refused", "results"],
    "properties": {
        "created": COUNT,
        "duplicates": COUNT,
        "refused": COUNT,
        "results": {"type": "array", "items": RESULT},
    },
}


class CsvText(str):
    """The body of a request that came as CSV."""


class CsvParser(BaseParser):
    media_type = "text/csv"

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> CsvText:
        try:
            return CsvText(stream.read().decode("utf-8-sig"))
        except UnicodeDecodeError as error:
            raise ParseError(f"The body is not UTF-8: {error}") from error


class Bulk(RecordRoute):
    parser_classes = (JSONParser, CsvParser)
    max_body_bytes = settings.MAX_BULK_BYTES

    def post(self, request: Request) -> HttpResponse:
        return once(request, lambda: self._land(request))

    def _land(self, request: Request) -> Response:
        self.access.must_write(self.resource.name)
        given = self._bodies(request.data)
        reader = Reader(self.resource)
        rows = [Row(number) for number in range(len(given))]
        for row, body in zip(rows, given, strict=True):
            reader.read(row, body)
        with transaction.atomic():
            Landing(self.access, self.resource).land(rows)
        refused = [(row, body) for row, body in zip(rows, given, strict=True) if row.status == REFUSED]
        for row, _ in refused:
            row.errors = [outward_error(self.resource.serializer, error) for error in row.errors]
        held = hold(self.access, self.resource, refused)
        count = Counter(row.status for row in rows)
        return Response(
            {
                "created": count[CREATED],
                "duplicates": count[DUPLICATE],
                "refused": count[REFUSED],
                "results": [
                    {
                        "index": row.number,
                        "status": row.status,
                        "id": row.id,
                        "held": held.get(row.number),
                        "errors": row.errors,
                    }
                    for row in rows
                ],
            }
        )

    def _bodies(self, data: Any) -> list[Any]:
        if isinstance(data, CsvText):
            data = list(bodies(self.resource.serializer, io.StringIO(data, newline="")))
        if not isinstance(data, list):
            raise invalid("", "not_a_list", "Send an array of records, or a CSV file with their fields in its header.")
        most = settings.MAX_BULK_ROWS
        if len(data) > most:
            raise invalid("", "too_many", f"At most {most} rows at a time; these are {len(data)}.")
        return data

    def describe(self, method: str) -> Operation:
        name = self.resource.name
        return Operation(
            f"{name}_bulk",
            f"Add many {name} at once; those that are right land, whatever is wrong with others",
            name,
            {
                200: Answer(
                    "What came of each row, in the order in which they were sent.", ANSWER, ("Idempotency-Replayed",)
                )
            },
            problems=(400, 401, 403, 409, 413, 415, 422),
            headers=("Idempotency-Key",),
            body={"type": "array", "maxItems": settings.MAX_BULK_ROWS, "items": self.resource.serializer},
            csv_body=True,
        )
