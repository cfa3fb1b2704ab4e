"""Statements: issued once, read as JSON, as a page or as a PDF document."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django.db.models import Q
from django.http import HttpResponse
from rest_framework import serializers, status
from rest_framework.request import Request
from rest_framework.response import Response

from api.describing import ID, NULLABLE_TEXT, paged
from api.fields import ReferenceField, YearField, optional
from api.filters import PAGE, Parameter, Parameters, conditions, season
from api.idempotency import once
from api.operations import Answer, Operation
from api.paging import BY_MOMENT_AND_ID, page
from api.record_serializer import StrictSerializer
from api.views import Route
from dryrecords.settlement import statement_pages, statement_services
from dryrecords.settlement.models import Statement
from dryrecords.settlement.statement_services import get_statement, statements_of

COLUMNS = (
    "id",
    "season",
    "number",
    "customer_id",
    "issued_at",
    "actor",
    "device",
    "total_usd",
    "corrects_id",
    "corrected_by",
)
FILTERS: Parameters = {
    "customer": Parameter(ReferenceField(), "Only of this customer (its id).", lambda value: Q(customer_id=value)),
    "season": season(),
    **PAGE,
}
HTML, PDF = "text/html", "application/pdf"

UUID_TEXT = {"type": "string", "format": "uuid"}
NULLABLE_ID = {"type": ["string", "null"], "format": "uuid"}
SUMMARY = {
    "type": "object",
    "required": [
        *("id", "number", "season", "customer", "issued_at", "actor", "device", "total_usd"),
        *("corrects", "corrected_by"),
    ],
    "properties": {
        "id": UUID_TEXT,
        "number": {"type": "string", "description": "Consecutive in the season, without a gap: 2025-0001."},
        "season": {"type": "integer"},
        "customer": UUID_TEXT,
        "issued_at": {"type": "string", "format": "date-time"},
        "actor": {"type": "string"},
        "device": NULLABLE_TEXT,
        "total_usd": {"type": "string", "description": "Decimal, to the cent."},
        "corrects": NULLABLE_ID | {"description": "The statement whose place this one takes."},
        "corrected_by": NULLABLE_ID | {"description": "The statement that took its place; this one stands if null."},
    },
}
LISTED = {"type": "array", "items": {"type": "object"}}
DOCUMENT = {
    "type": "object",
    "description": "Everything that is printed, as it was when it was issued; amounts as decimal text.",
    "required": [
        *("number", "issued_at", "corrects", "difference_usd", "issuer", "currency", "customer", "season"),
        *("rates", "lots", "totals", "unresolved", "doubts", "notes", "caution", "method"),
    ],
    "properties": {
        "number": NULLABLE_TEXT | {"description": "Null in a preview."},
        "issued_at": NULLABLE_TEXT,
        "corrects": {"type": ["object", "null"]},
        "difference_usd": NULLABLE_TEXT | {"description": "Its total less that of the statement it corrects."},
        "issuer": {"type": "string"},
        "currency": {"type": "string"},
        "customer": {"type": "object"},
        "season": {"type": "integer"},
        "rates": LISTED | {"description": "The rates that were used, with their terms and in words."},
        "lots": LISTED
        | {"description": "For each lot its loads, each with bushels, charges and rate, and their sums."},
        "totals": {"type": "object", "description": "Sums of printed lines; bushels within each crop."},
        "unresolved": LISTED | {"description": "What is not charged here, and why: `code`, `detail`, often `batch`."},
        "doubts": LISTED | {"description": "What looks wrong or was assumed in loads that are charged."},
        "notes": {"type": "array", "items": {"type": "string"}},
        "caution": {"type": "string"},
        "method": {"type": "string"},
    },
}
WHOLE = SUMMARY | {
    "required": [*SUMMARY["required"], "document"],
    "properties": {**SUMMARY["properties"], "document": DOCUMENT},
}


class StatementSerializer(StrictSerializer):
    customer = ReferenceField()
    season = YearField(help_text="Harvest year.")
    corrects = optional(
        ReferenceField,
        help_text="The statement that stands, to be sure that it is this one that is corrected. Left out, the one that "
        "stands is corrected, if there is one and it would not say the same.",
    )
    preview = serializers.BooleanField(required=False, help_text="Only show what it would say: nothing is issued.")


def _outward(values: Sequence[Any]) -> dict[str, Any]:
    row = dict(zip(COLUMNS, values, strict=True))
    return {
        "id": row["id"],
        "number": str(Statement(season=row["season"], number=row["number"])),
        "season": row["season"],
        "customer": row["customer_id"],
        "issued_at": row["issued_at"],
        "actor": row["actor"],
        "device": row["device"] or None,
        "total_usd": row["total_usd"],
        "corrects": row["corrects_id"],
        "corrected_by": row["corrected_by"],
    }


def _whole(statement: Statement) -> dict[str, Any]:
    successor = getattr(statement, "corrected_by", None)
    values = [getattr(statement, column) for column in COLUMNS[:-1]]
    return _outward([*values, successor and successor.pk]) | {"document": statement.document}


def as_page(statement: Statement) -> HttpResponse:
    """The one answer that a browser shows: its style is allowed by its digest, and nothing else is."""
    response = HttpResponse(statement_pages.html(statement.document), content_type=f"{HTML}; charset=utf-8")
    response["Content-Security-Policy"] = (
        f"default-src 'none'; style-src {statement_pages.STYLE_SOURCE}; frame-ancestors 'none'"
    )
    return response


def as_pdf(statement: Statement) -> HttpResponse:
    response = HttpResponse(statement_pages.pdf(statement.document), content_type=PDF)
    response["Content-Disposition"] = f'inline; filename="statement-{statement}.pdf"'
    return response


class StatementList(Route):
    def parameters(self, method: str) -> Parameters:
        return FILTERS if method in ("GET", "HEAD") else {}

    def get(self, request: Request) -> Response:
        keys = dict(zip(("issued_at", "id"), BY_MOMENT_AND_ID, strict=True))
        rows = statements_of(self.access).filter(*conditions(self.query, FILTERS))
        return Response(page(request, rows, self.query, keys=keys, columns=COLUMNS, outward=_outward))

    def post(self, request: Request) -> HttpResponse:
        return once(request, lambda: self._issue(request))

    def _issue(self, request: Request) -> Response:
        self.access.must_write(statement_services.RESOURCE)
        given = StatementSerializer(data=request.data)
        given.is_valid(raise_exception=True)
        values = given.validated_data
        customer, year, corrects = values["customer_id"], values["season"], values.get("corrects_id")
        if values.get("preview"):
            return Response({"document": statement_services.preview(self.access, customer, year)})
        if corrects is None:
            statement, is_new = statement_services.issue_if_new(self.access, customer, year)
        else:
            statement, is_new = statement_services.issue(self.access, customer, year, corrects), True
        code = status.HTTP_201_CREATED if is_new else status.HTTP_200_OK
        return Response(_whole(statement), status=code, headers={"Location": f"{request.path}/{statement.pk}"})

    def describe(self, method: str) -> Operation:
        if method == "GET":
            answers = {200: Answer("One page.", paged(SUMMARY))}
            return Operation(
                "statements_list", "List statements, newest first", "statements", answers, (401, 422), query=FILTERS
            )
        preview = {"type": "object", "required": ["document"], "properties": {"document": DOCUMENT}}
        return Operation(
            "statements_issue",
            "Issue a statement of a customer's season; it never changes, and a correction is a new one",
            "statements",
            {
                201: Answer("Issued.", WHOLE, ("Location", "Idempotency-Replayed")),
                200: Answer(
                    "A preview: what it would say. Or, without `corrects`, the statement that stands, if another would "
                    "say the same: then none is issued.",
                    {"oneOf": [preview | {"additionalProperties": False}, WHOLE]},
                    ("Location", "Idempotency-Replayed"),
                ),
            },
            problems=(400, 401, 403, 409, 413, 415, 422),
            headers=("Idempotency-Key",),
            body=StatementSerializer,
            example={"customer": "01a211a1-e7da-77a6-80d1-e3598be6441e", "season": 2026},
        )


class OneStatement(Route):
    """JSON, or with `Accept: text/html` or `application/pdf`, as the addresses that end so, a document to print."""

    # Given by as_view for the addresses that end so.
    form = ""

    def get(self, request: Request, id: UUID) -> HttpResponse:
        statement = get_statement(self.access, id)
        form = self.form or request.get_preferred_type(["application/json", HTML, PDF])
        if form == HTML:
            response = as_page(statement)
        elif form == PDF:
            response = as_pdf(statement)
        else:
            response = Response(_whole(statement))
        response["Vary"] = "Accept"
        return response

    def describe(self, method: str) -> Operation:
        forms = (self.form,) if self.form else (HTML, PDF)
        ending = {HTML: "_html", PDF: "_pdf"}.get(self.form, "")
        summary = {HTML: " as a page to print", PDF: " as a PDF document"}.get(self.form, ", as it was issued")
        answer = Answer("The statement.", None if self.form else WHOLE, documents=forms)
        return Operation(f"statements_read{ending}", f"Read a statement{summary}", "statements", {200: answer}, path=ID)
