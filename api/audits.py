"""Audits of a buyer's tickets: asked for, worked on in the background, with findings to page through or take as CSV."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.http import HttpResponse, StreamingHttpResponse
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.csv_cells import cell_of
from api.csv_lists import Echo
from api.describing import ID, NULLABLE_TEXT, paged
from api.fields import ChoiceField, MomentOrDayField, YearField, optional
from api.filters import PAGE, Parameter, Parameters, conditions
from api.idempotency import once
from api.operations import Answer, Operation
from api.paging import BY_MOMENT_AND_ID, all_pages, page
from api.record_serializer import StrictSerializer
from api.views import Route
from dryrecords.core.errors import NotFound
from dryrecords.harvest.models import Crop
from dryrecords.settlement import audits
from dryrecords.settlement.audit_model import Audit, Finding
from dryrecords.settlement.audit_summary import summary_of
from dryrecords.tenancy import scope

COLUMNS = (
    "id",
    "buyer",
    "crop",
    "season",
    "delivered_from",
    "delivered_to",
    "state",
    "tickets",
    "tickets_done",
    "findings",
    "error",
    "actor",
    "created_at",
    "finished_at",
)
FINDING_COLUMNS = (
    "place",
    "kind",
    "consequence_of",
    "ticket_id",
    "schedule_id",
    "number",
    "delivered_at",
    "unit",
    "expected",
    "stated",
    "difference",
    "effect_usd",
    "rule",
    "explanations",
    "figures",
)
EXAMPLE = {"buyer": "Riverside Feeds", "crop": "corn", "season": 2026}
NARROWED: Parameters = {
    "kind": Parameter(ChoiceField(Finding.Kind.choices), "Only of this kind.", lambda value: Q(kind=value)),
    "consequences": Parameter(
        serializers.BooleanField(),
        "`false`: without findings that only follow from another one of the same ticket.",
        lambda value: Q() if value else Q(consequence_of=""),
    ),
}
FINDINGS: Parameters = {**PAGE, **NARROWED}


class AuditSerializer(StrictSerializer):
    buyer = serializers.CharField(max_length=200, help_text="As the tickets name it.")
    crop = ChoiceField(Crop.choices)
    season = optional(YearField, help_text="Harvest year. Or a time:")

    def get_fields(self) -> dict[str, Any]:
        moment = "RFC 3339 with offset, or a date, which is its midnight UTC."
        return super().get_fields() | {
            "from": optional(MomentOrDayField, help_text=f"Delivered at this moment or later. {moment}"),
            "to": optional(MomentOrDayField, help_text=f"Delivered before this moment. {moment}"),
        }


class _Audits(Route):
    def answer(self, audit_id: UUID, code: int = status.HTTP_200_OK) -> Response:
        found = audits.audits_of(self.access).filter(pk=audit_id).first()
        if found is None:
            raise NotFound()
        told = _outward([getattr(found, name) for name in COLUMNS])
        return Response(told | {"summary": summary_of(found)}, status=code)


class AuditList(_Audits):
    def parameters(self, method: str) -> Parameters:
        return PAGE if method in ("GET", "HEAD") else {}

    def get(self, request: Request) -> Response:
        keys = dict(zip(("created_at", "id"), BY_MOMENT_AND_ID, strict=True))
        rows = audits.audits_of(self.access)
        return Response(page(request, rows, self.query, keys=keys, columns=COLUMNS, outward=_outward))

    def post(self, request: Request) -> HttpResponse:
        return once(request, lambda: self._ask(request))

    def _ask(self, request: Request) -> Response:
        given = AuditSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        asked = dict(given.validated_data)
        delivered = {f"delivered_{name}": asked.pop(name, None) for name in ("from", "to")}
        audit = audits.ask(self.access, **asked, **delivered)
        response = self.answer(audit.pk, status.HTTP_202_ACCEPTED)
        response["Location"] = f"{request.path}/{audit.pk}"
        return response

    def describe(self, method: str) -> Operation:
        if method == "GET":
            answers = {200: Answer("One page.", paged(AUDIT))}
            return Operation("audits_list", "List audits, newest first", "audits", answers, (401, 422), query=PAGE)
        return Operation(
            "audits_ask",
            "Audit a buyer's tickets of one crop: of a season, or of a time",
            "audits",
            {202: Answer("Asked for; look at it again.", AUDIT_AND_SUMMARY, ("Location", "Idempotency-Replayed"))},
            problems=(400, 401, 403, 409, 413, 415, 422),
            headers=("Idempotency-Key",),
            body=AuditSerializer,
            example=EXAMPLE,
        )


class OneAudit(_Audits):
    def get(self, request: Request, id: UUID) -> Response:
        return self.answer(id)

    def describe(self, method: str) -> Operation:
        answers = {200: Answer("How far it went, and what it comes to so far.", AUDIT_AND_SUMMARY)}
        return Operation("audits_read", "See how far an audit went, and its summary", "audits", answers, path=ID)


class CancelAudit(_Audits):
    def post(self, request: Request, id: UUID) -> HttpResponse:
        return once(request, lambda: self._cancel(id))

    def _cancel(self, id: UUID) -> Response:
        audits.cancel(self.access, id)
        return self.answer(id)

    def describe(self, method: str) -> Operation:
        return Operation(
            "audits_cancel",
            "Stop an audit; what it found so far stays",
            "audits",
            {200: Answer("As it is now; one that had ended is left as it was.", AUDIT_AND_SUMMARY)},
            problems=(401, 403, 404, 409, 413, 422),
            path=ID,
            headers=("Idempotency-Key",),
        )


class Findings(Route):
    def parameters(self, method: str) -> Parameters:
        return FINDINGS

    def get(self, request: Request, id: UUID) -> Response:
        rows = audits.findings_of(self.access, id).filter(*conditions(self.query, FINDINGS))
        keys = {"place": int}
        return Response(page(request, rows, self.query, keys=keys, columns=FINDING_COLUMNS, outward=_finding))

    def describe(self, method: str) -> Operation:
        return Operation(
            "audits_findings",
            "Findings of an audit: those about all tickets together first, then by delivery, newest first",
            "audits",
            {200: Answer("One page.", paged(FINDING))},
            path=ID,
            query=FINDINGS,
        )


class FindingsCsv(Route):
    def parameters(self, method: str) -> Parameters:
        return NARROWED

    def get(self, request: Request, id: UUID) -> StreamingHttpResponse:
        rows = audits.findings_of(self.access, id).filter(*conditions(self.query, NARROWED))
        pages = scope.reading(self.access.organization_id, all_pages(rows, keys=["place"], columns=FINDING_COLUMNS))
        first = next(pages, [])
        return StreamingHttpResponse(
            _lines(chain([first], pages)),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": 'attachment; filename="findings.csv"'},
        )

    def describe(self, method: str) -> Operation:
        return Operation(
            "audits_findings_csv",
            "All findings of an audit as a CSV file",
            "audits",
            {200: Answer("A header and a line for each.", csv=True)},
            path=ID,
            query=NARROWED,
        )


def _lines(pages: Iterator[Sequence[Sequence[Any]]]) -> Iterator[str]:
    writer = csv.writer(Echo())
    yield writer.writerow(FINDING["properties"])
    for rows in pages:
        yield "".join(writer.writerow(map(cell_of, _cells(row))) for row in rows)


def _cells(row: Sequence[Any]) -> Iterator[Any]:
    for name, value in _finding(row).items():
        yield "; ".join(value) if name == "explanations" else value


def _outward(values: Sequence[Any]) -> dict[str, Any]:
    row = dict(zip(COLUMNS, values, strict=True))
    tickets, done = row["tickets"], row["tickets_done"]
    return {
        "id": row["id"],
        "buyer": row["buyer"],
        "crop": row["crop"],
        "season": row["season"],
        "from": row["delivered_from"],
        "to": row["delivered_to"],
        "status": row["state"],
        "progress": 1.0 if row["state"] == Audit.State.DONE else min(done / tickets, 1.0) if tickets else 0.0,
        "tickets": tickets,
        "tickets_done": done,
        "findings": row["findings"],
        "error": row["error"] or None,
        "actor": row["actor"],
        "created_at": row["created_at"],
        "finished_at": row["finished_at"],
    }


def _finding(values: Sequence[Any]) -> dict[str, Any]:
    row = dict(zip(FINDING_COLUMNS, values, strict=True))
    ids = {"ticket": row.pop("ticket_id"), "schedule": row.pop("schedule_id")}
    decimals = {name: _decimal(row[name]) for name in ("expected", "stated", "difference", "effect_usd")}
    texts = {name: row[name] or None for name in ("consequence_of", "number", "unit")}
    return {"place": row["place"], "kind": row["kind"], **ids, **row, **texts, **decimals}


def _decimal(value: Any) -> str | None:
    return None if value is None else f"{value.normalize():f}"


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "required": list(properties), "properties": properties}


COUNT = {"type": "integer", "minimum": 0}
MONEY = {"type": "string", "description": "A decimal."}
MOMENT = {"type": "string", "format": "date-time"}
NULLABLE_MOMENT = {"type": ["string", "null"], "format": "date-time"}
NULLABLE_ID = {"type": ["string", "null"], "format": "uuid"}
TEXTS = {"type": "array", "items": {"type": "string"}}
PAID = {"paid_too_little_usd": MONEY, "paid_too_much_usd": MONEY}
GROUPS = {"type": "array", "items": {"type": "object"}}
AUDIT = _object(
    {
        "id": ID["id"],
        "buyer": {"type": "string"},
        "crop": {"enum": Crop.values},
        "season": {"type": ["integer", "null"]},
        "from": NULLABLE_MOMENT,
        "to": NULLABLE_MOMENT,
        "status": {"enum": [*Audit.State.values]},
        "progress": {"type": "number", "minimum": 0, "maximum": 1},
        "tickets": {"type": ["integer", "null"], "description": "Null until they are counted."},
        "tickets_done": COUNT,
        "findings": COUNT,
        "error": NULLABLE_TEXT | {"description": "Why it failed as a whole."},
        "actor": {"type": "string"},
        "created_at": MOMENT,
        "finished_at": NULLABLE_MOMENT,
    }
)
SUMMARY = _object(
    {
        "tickets": COUNT,
        "tickets_with_findings": COUNT,
        "findings": COUNT,
        **PAID,
        "balance_usd": MONEY | {"description": "In the seller's view: below zero it was paid too little."},
        "by_kind": {
            "type": "array",
            "items": _object({"kind": {"enum": Finding.Kind.values}, "findings": COUNT, "consequences": COUNT, **PAID}),
        },
        "by_month": {
            "type": "array",
            "items": _object({"month": {"type": "string"}, "tickets": COUNT, "tickets_with_findings": COUNT, **PAID}),
        },
        "explanations": {
            "type": "array",
            "description": "Other rules by which tickets that are off come out as they state.",
            "items": _object({"rule": {"type": "string"}, "tickets": COUNT, "of": COUNT, "all": {"type": "boolean"}}),
        },
        "moistures": GROUPS | {"description": "Tickets less our own samples: all, then by bands of moisture."},
        "own_meters_u_pct": {"type": "number"},
        "rounding": GROUPS,
        "statutes": GROUPS,
        "not_compared": {"type": "object", "additionalProperties": COUNT},
        "in_words": TEXTS,
        "cautions": TEXTS,
    }
)
AUDIT_AND_SUMMARY = {
    **AUDIT,
    "required": [*AUDIT["required"], "summary"],
    "properties": {
        **AUDIT["properties"],
        "summary": SUMMARY | {"description": "Of the tickets looked at so far."},
    },
}
FINDING = _object(
    {
        "place": COUNT | {"description": "Running number."},
        "kind": {"enum": Finding.Kind.values},
        "ticket": NULLABLE_ID | {"description": "Null where it is about many."},
        "schedule": NULLABLE_ID,
        "consequence_of": {"enum": [*Finding.Kind.values, None]},
        "number": NULLABLE_TEXT,
        "delivered_at": NULLABLE_MOMENT,
        "unit": NULLABLE_TEXT,
        "expected": NULLABLE_TEXT,
        "stated": NULLABLE_TEXT,
        "difference": NULLABLE_TEXT | {"description": "Stated less expected."},
        "effect_usd": NULLABLE_TEXT | {"description": "On the amount paid: below zero the seller got too little."},
        "rule": {"type": "string", "description": "What was expected, and why."},
        "explanations": TEXTS | {"description": "Other rules by which all that the ticket states comes out so."},
        "figures": {"type": ["object", "null"]},
    }
)
