"""A list as a CSV file: every row that the filters leave, written while it is read, in the columns an import takes."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from rest_framework.request import Request

from api.csv_cells import cell_of
from api.paging import all_pages
from api.record_serializer import RecordSerializer
from dryrecords.core.errors import FieldError, Invalid
from dryrecords.tenancy import scope


class Echo:
    """A file for csv.writer that hands each line back."""

    def write(self, line: str) -> str:
        return line


def csv_is_wanted(request: Request, query: Mapping[str, Any]) -> bool:
    preferred = request.get_preferred_type(["application/json", "text/csv"]) == "text/csv"
    if not (query["format"] == "csv" if "format" in query else preferred):
        return False
    paged = [name for name in ("limit", "cursor") if name in query]
    if paged:
        detail = "A CSV file holds every row: leave it out."
        raise Invalid(detail, errors=[FieldError(f"/{name}", "not_with_csv", detail) for name in paged])
    return True


def csv_of(
    serializer: type[RecordSerializer], rows: QuerySet[Any], keys: Sequence[str], organization_id: UUID
) -> StreamingHttpResponse:
    pages = scope.reading(organization_id, all_pages(rows, keys=keys, columns=serializer.columns()))
    # Read before the answer begins: a database that is not there is still told of as such.
    first = next(pages, [])
    return StreamingHttpResponse(
        _lines(serializer, chain([first], pages)),
        content_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="{serializer.model.resource}.csv"',
            "Vary": "Accept",
        },
    )


def _lines(serializer: type[RecordSerializer], pages: Iterator[Sequence[Sequence[Any]]]) -> Iterator[str]:
    writer = csv.writer(Echo())
    yield writer.writerow(serializer.flat_fields())
    for page in pages:
        yield "".join(writer.writerow(map(cell_of, serializer.outward_flat(row))) for row in page)
