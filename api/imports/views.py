"""Spreadsheets brought over the API: taken in by a worker, with progress and a report to look at meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import F, Func, IntegerField, QuerySet
from django.http import HttpResponse
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.bulk import COUNT, NULLABLE_ID, RESULT
from api.describing import ID, NULLABLE_TEXT, paged
from api.fields import ChoiceField, ZoneField
from api.filters import PAGE, Parameters
from api.idempotency import once
from api.imports.held_rows import MOST_HELD
from api.imports.plan import Options
from api.imports.reports import errors_csv
from api.imports.taking_in import BY_NAME, bring
from api.operations import Answer, Operation
from api.paging import BY_MOMENT_AND_ID, page
from api.record_serializer import StrictSerializer
from api.views import Route
from dryrecords.core.errors import NotFound
from dryrecords.harvest import imports
from dryrecords.harvest.models import Import

REFUSALS_SHOWN = 100

COLUMNS = (
    "id",
    "kind",
    "file_name",
    "state",
    "options",
    "rows",
    "rows_done",
    "created",
    "duplicates",
    "how_many_refused",
    "error",
    "actor",
    "device",
    "created_at",
    "finished_at",
)
MOMENT = {"type": "string", "format": "date-time"}
IMPORT = {
    "type": "object",
    "required": [name if name != "how_many_refused" else "refused" for name in COLUMNS if name != "options"]
    + ["dry_run"],
    "properties": {
        "id": ID["id"],
        "kind": {"enum": list(BY_NAME)},
        "file_name": NULLABLE_TEXT,
        "state": {"enum": [*Import.State.values]},
        "dry_run": {"type": "boolean"},
        "rows": COUNT,
        "rows_done": COUNT,
        "created": COUNT | {"description": "New records; of a dry run those that would be."},
        "duplicates": COUNT | {"description": "Rows that were there already, or twice in the sheet."},
        "refused": COUNT,
        "error": NULLABLE_TEXT | {"description": "Why it failed as a whole."},
        "actor": {"type": "string"},
        "device": NULLABLE_TEXT,
        "created_at": MOMENT,
        "finished_at": MOMENT | {"type": ["string", "null"]},
    },
}
REFUSALS = {
    "type": "array",
    "description": f"The first {REFUSALS_SHOWN}; errors.csv has all of them, with their cells, and {MOST_HELD} are "
    "held to be corrected one by one.",
    "items": {
        "type": "object",
        "required": ["row", "errors", "held"],
        "properties": {
            "row": COUNT | {"description": "As the spreadsheet numbers it."},
            "errors": RESULT["properties"]["errors"],
            "held": NULLABLE_ID | {"description": "Once the import is done: where it waits, sync/held/{id}."},
        },
    },
}
IMPORT_AND_REFUSALS = {
    **IMPORT,
    "required": [*IMPORT["required"], "refusals"],
    "properties": {**IMPORT["properties"], "refusals": REFUSALS},
}


class ImportSerializer(StrictSerializer):
    kind = ChoiceField(list(BY_NAME), help_text="What the rows are.")
    content = serializers.CharField(
        trim_whitespace=False, help_text="The sheet as CSV: a header, then rows. Names of columns may have a unit."
    )
    file_name = serializers.CharField(required=False, max_length=200)
    dates = serializers.ChoiceField(
        ["day_first", "month_first"], required=False, help_text="Needed if the sheet itself does not show it."
    )
    decimal = serializers.ChoiceField(
        ["comma", "point"], required=False, help_text="Needed if there are commas in numbers that could be either."
    )
    timezone = ZoneField(
        required=False, help_text="Of times without offset; left out, that of the sites, if it is one."
    )
    columns = serializers.DictField(
        child=serializers.CharField(allow_blank=True),
        required=False,
        help_text="Their column: our field; blank leaves the column out.",
    )
    dry_run = serializers.BooleanField(required=False, help_text="Only tell what would come of it.")
    new_ids = serializers.BooleanField(
        required=False,
        help_text="Ids in the sheet are another organization's; each gets one of its own, always the same.",
    )


def _outward(values: Sequence[Any]) -> dict[str, Any]:
    row = dict(zip(COLUMNS, values, strict=True))
    return {
        **{name: row[name] for name in COLUMNS if name not in ("options", "how_many_refused")},
        "refused": row["how_many_refused"],
        "dry_run": row["options"]["dry_run"],
        "file_name": row["file_name"] or None,
        "error": row["error"] or None,
        "device": row["device"] or None,
    }


class _Imports(Route):
    def visible(self) -> QuerySet[Import]:
        length = Func(F("refused"), function="jsonb_array_length", output_field=IntegerField())
        return imports.imports_of(self.access).annotate(how_many_refused=length)

    def answer(self, id: UUID, code: int = status.HTTP_200_OK) -> Response:
        found = self.visible().filter(pk=id).values_list(*COLUMNS, "refused").first()
        if found is None:
            raise NotFound()
        refusals = [{"held": None} | each for each in found[-1][:REFUSALS_SHOWN]]
        return Response(_outward(found[:-1]) | {"refusals": refusals}, status=code)


class ImportList(_Imports):
    max_body_bytes = settings.MAX_IMPORT_BYTES

    def parameters(self, method: str) -> Parameters:
        return PAGE if method in ("GET", "HEAD") else {}

    def get(self, request: Request) -> Response:
        keys = dict(zip(("created_at", "id"), BY_MOMENT_AND_ID, strict=True))
        return Response(page(request, self.visible(), self.query, keys=keys, columns=COLUMNS, outward=_outward))

    def post(self, request: Request) -> HttpResponse:
        return once(request, lambda: self._bring(request))

    def _bring(self, request: Request) -> Response:
        given = ImportSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        options = dict(given.validated_data)
        kind, content, name = options.pop("kind"), options.pop("content"), options.pop("file_name", "")
        job = bring(self.access, kind, content, Options(**options), name)
        response = self.answer(job.pk, status.HTTP_202_ACCEPTED)
        response["Location"] = f"{request.path}/{job.pk}"
        return response

    def describe(self, method: str) -> Operation:
        if method == "GET":
            answers = {200: Answer("One page.", paged(IMPORT))}
            return Operation("imports_list", "List imports, newest first", "imports", answers, (401, 422), query=PAGE)
        return Operation(
            "imports_bring",
            "Bring a spreadsheet; what is unclear about it is asked at once, its rows are taken in afterwards",
            "imports",
            {202: Answer("Taken; look at it again.", IMPORT_AND_REFUSALS, ("Location", "Idempotency-Replayed"))},
            problems=(400, 401, 403, 409, 413, 415, 422),
            headers=("Idempotency-Key",),
            body=ImportSerializer,
        )


class OneImport(_Imports):
    def get(self, request: Request, id: UUID) -> Response:
        return self.answer(id)

    def describe(self, method: str) -> Operation:
        answers = {200: Answer("How far it went, and what was refused.", IMPORT_AND_REFUSALS)}
        return Operation("imports_read", "See how far an import went", "imports", answers, (401, 404, 422), path=ID)


class Errors(_Imports):
    def get(self, request: Request, id: UUID) -> HttpResponse:
        job = imports.imports_of(self.access).filter(pk=id).first()
        if job is None:
            raise NotFound()
        return HttpResponse(
            errors_csv(job),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": 'attachment; filename="errors.csv"'},
        )

    def describe(self, method: str) -> Operation:
        return Operation(
            "imports_errors",
            "The rows that were refused, with the reasons in front; corrected, the file can be brought again",
            "imports",
            {200: Answer("A header and a line for each.", csv=True)},
            problems=(401, 404, 422),
            path=ID,
        )
