"""What devices wrote offline: pushing it, and looking after what could not be applied."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import msgspec
import orjson
from django.conf import settings
from django.db.models import Q
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.describing import ID, NULLABLE_TEXT, paged
from api.fields import ChoiceField, MomentField, TextField
from api.filters import PAGE, Parameter, Parameters, conditions
from api.mutations import PushParser, from_text, read_body
from api.operations import WRITE_PROBLEMS, Answer, Operation
from api.paging import page
from api.push import push, resubmit
from api.push_items import BY_NAME, OPERATIONS
from api.record_serializer import StrictSerializer
from api.views import Route
from dryrecords.core.errors import Forbidden, NotFound
from dryrecords.journal import ledger
from dryrecords.journal.ledger import Status
from dryrecords.journal.models import Mutation as Entry
from dryrecords.tenancy.access import WRITES_EVERYTHING, Role

PROBLEM = {"oneOf": [{"$ref": "#/components/schemas/Problem"}, {"type": "null"}]}
MOMENT = {"type": "string", "format": "date-time"}
NULLABLE_MOMENT = {"type": ["string", "null"], "format": "date-time"}
NULLABLE_ID = {"type": ["string", "null"], "format": "uuid"}
NULLABLE_NUMBER = {"type": ["number", "null"]}
NULLABLE_RECORD = {"type": ["object", "null"]}
WARNINGS = {
    "type": "array",
    "items": {
        "type": "object",
        "required": ["pointer", "code", "detail"],
        "properties": {"pointer": {"type": "string"}, "code": {"type": "string"}, "detail": {"type": "string"}},
    },
}
SKEW = NULLABLE_NUMBER | {
    "description": "Seconds by which the server's clock is ahead of the device's, the way of a push included: the "
    "median of its latest pushes. Null while it never said `sent_at`."
}


def _object(properties: dict[str, Any], required: list[str] | None = None) -> dict[str, Any]:
    names = list(properties) if required is None else required
    return {"type": "object", "required": names, "properties": properties}


MUTATION = _object(
    {
        "id": {"type": "string", "format": "uuid", "description": "Made by the device; the mutation happens once."},
        "resource": {"enum": list(BY_NAME)},
        "op": {"enum": list(OPERATIONS)},
        "record": {
            "type": "object",
            "description": "As for POST; for an update its `id` and the fields that change; for a delete its `id`.",
        },
        "base_version": {
            "type": ["integer", "null"],
            "minimum": 1,
            "maximum": 2**31 - 1,
            "description": "Version of the record that was changed. If it is another by now, nothing is overwritten.",
        },
    },
    ["id", "resource", "op", "record"],
) | {"additionalProperties": False}
BODY = _object(
    {
        "mutations": {"type": "array", "maxItems": settings.MAX_MUTATIONS, "items": MUTATION},
        "sent_at": NULLABLE_MOMENT | {"description": "The device's clock as it sends."},
    },
    ["mutations"],
) | {"additionalProperties": False}
RESULT = _object(
    {
        "id": {"type": "string", "format": "uuid"},
        "status": {
            "enum": ["applied", "duplicate", "conflict", "held"],
            "description": "Applied; there already, sent before or just the same; changed by somebody else meanwhile, "
            "`record` being the server's; or kept for later, `problem` says why.",
        },
        "resource": {},
        "record_id": NULLABLE_ID,
        "version": {"type": ["integer", "null"]},
        "problem": PROBLEM,
        "record": NULLABLE_RECORD,
        "warnings": WARNINGS,
    }
)
ANSWER = _object({"results": {"type": "array", "items": RESULT}, "received_at": MOMENT, "clock_skew_s": SKEW})
SOURCE = {
    "type": ["object", "null"],
    "description": "If it was a row of a sheet: the import, and the row as the spreadsheet numbers it.",
    "required": ["import", "row"],
    "properties": {"import": {"type": "string", "format": "uuid"}, "row": {"type": "integer"}},
}
HELD = _object(
    {
        "id": {"type": "string", "format": "uuid"},
        "status": {"enum": [*Status.values]},
        "resource": {},
        "op": {},
        "record_id": NULLABLE_ID,
        "version": {"type": ["integer", "null"]},
        "base_version": {},
        "record": {"description": "As it was sent."},
        "source": SOURCE,
        "problem": PROBLEM,
        "warnings": WARNINGS,
        "waiting_for": {"type": "array", "items": {"type": "string", "format": "uuid"}},
        "device": NULLABLE_TEXT,
        "actor": {"type": "string"},
        "sent_at": NULLABLE_MOMENT,
        "received_at": MOMENT,
        "earlier": {"type": "array", "items": {"type": "object"}, "description": "Sent under the same id before."},
        "settled_by": NULLABLE_TEXT,
        "settled_at": NULLABLE_MOMENT,
    }
)

FILTERS: Parameters = {
    "device": Parameter(TextField(), "Only of this device.", lambda value: Q(push__device=value)),
    "resource": Parameter(ChoiceField(BY_NAME), "Only of this resource.", lambda value: Q(resource=value)),
    "status": Parameter(
        ChoiceField([Status.HELD.value, Status.CONFLICT.value]),
        "`held`, as when left out, or `conflict`: what lost against a change made meanwhile.",
    ),
    **PAGE,
}

COLUMNS = (
    "mutation_id",
    "status",
    "record_id",
    "version",
    "payload",
    "problem",
    "warnings",
    "waiting_for",
    "earlier",
    "settled_by",
    "settled_at",
    "push__device",
    "push__actor",
    "push__sent_at",
    "push__received_at",
    "push_id",
)


def outward(values: Any) -> dict[str, Any]:
    """A kept mutation, given in the order of COLUMNS."""
    row = dict(zip(COLUMNS, values, strict=True))
    mutation = from_text(row["payload"])
    return {
        "id": row["mutation_id"],
        "status": row["status"],
        "resource": mutation.resource,
        "op": mutation.op,
        "record_id": row["record_id"],
        "version": row["version"],
        "base_version": mutation.base_version,
        "record": orjson.Fragment(bytes(mutation.record)),
        "source": mutation.source or None,
        "problem": orjson.Fragment(row["problem"]) if row["problem"] else None,
        "warnings": orjson.Fragment(row["warnings"]) if row["warnings"] else [],
        "waiting_for": row["waiting_for"] or [],
        "device": row["push__device"] or None,
        "actor": row["push__actor"],
        "sent_at": row["push__sent_at"],
        "received_at": row["push__received_at"],
        "earlier": [orjson.Fragment(text) for text in row["earlier"]],
        "settled_by": row["settled_by"] or None,
        "settled_at": row["settled_at"],
    }


class Push(Route):
    # Each kind of records is a transaction of its own.
    one_transaction = False
    parser_classes = (PushParser,)
    max_body_bytes = settings.MAX_PUSH_BYTES

    def post(self, request: Request) -> Response:
        # Without a body there is nothing to parse.
        body = request.data or read_body(b"{}")
        sent_at = None if body.sent_at is None else _moment(body.sent_at)
        return Response(push(self.access, body.mutations, sent_at=sent_at, most_s=settings.MAX_PUSH_S))

    def describe(self, method: str) -> Operation:
        return Operation(
            "sync_push",
            "Bring what was written offline; each mutation happens once, in whatever order and however often it comes",
            "sync",
            {200: Answer("What came of each mutation, in the order in which they were sent.", ANSWER)},
            problems=(400, 401, 413, 415, 422),
            body=BODY,
        )


class _Sent(StrictSerializer):
    sent_at = MomentField()


def _moment(value: Any) -> Any:
    serializer = _Sent(data={"sent_at": value})
    serializer.is_valid(raise_exception=True)
    return serializer.validated_data["sent_at"]


class _Kept(Route):
    def kept(self) -> Any:
        if self.access.role == Role.CUSTOMER:
            raise Forbidden("What devices brought is not shown to customers.")
        return ledger.kept(self.access.organization_id)

    def one(self, id: UUID) -> Entry:
        entry: Entry | None = self.kept().filter(mutation_id=id).first()
        if entry is None:
            raise NotFound()
        return entry

    def answer(self, id: UUID) -> Response:
        return Response(outward(self.kept().filter(mutation_id=id).values_list(*COLUMNS).get()))

    def must_look_after(self) -> None:
        if self.access.role not in WRITES_EVERYTHING:
            raise Forbidden(f"The role {self.access.role} may not settle what was held; the office may.")


class HeldList(_Kept):
    def parameters(self, method: str) -> Parameters:
        return FILTERS if method in ("GET", "HEAD") else {}

    def get(self, request: Request) -> Response:
        status = self.query.get("status", Status.HELD)
        rows = self.kept().filter(*conditions(self.query, FILTERS), status=status)
        keys = {"push_id": int, "mutation_id": UUID}
        return Response(page(request, rows, self.query, keys=keys, columns=COLUMNS, outward=outward))

    def describe(self, method: str) -> Operation:
        return Operation(
            "sync_held_list",
            "List what devices brought and could not be applied, newest first",
            "sync",
            {200: Answer("One page.", paged(HELD))},
            problems=(401, 403, 422),
            query=FILTERS,
        )


class Held(_Kept):
    def get(self, request: Request, id: UUID) -> Response:
        self.one(id)
        return self.answer(id)

    def describe(self, method: str) -> Operation:
        return Operation(
            "sync_held_read",
            "Read one mutation that was not applied at once",
            "sync",
            {200: Answer("The whole of it, and why.", HELD)},
            problems=(401, 403, 404, 422),
            path=ID,
        )


class CorrectionSerializer(StrictSerializer):
    record = serializers.DictField(required=False, help_text="Instead of the record as it was sent; whole.")
    base_version = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=2**31 - 1, help_text="Instead of the one sent."
    )


class Resubmit(_Kept):
    one_transaction = False

    def post(self, request: Request, id: UUID) -> Response:
        entry = self.one(id)
        self.must_look_after()
        correction = CorrectionSerializer(data=request.data)
        correction.is_valid(raise_exception=True)
        mutation = from_text(entry.payload)
        if "record" in correction.validated_data:
            mutation.record = msgspec.Raw(orjson.dumps(correction.validated_data["record"]))
        mutation.base_version = correction.validated_data.get("base_version", mutation.base_version)
        return Response(resubmit(self.access, entry, mutation).answer())

    def describe(self, method: str) -> Operation:
        return Operation(
            "sync_held_resubmit",
            "Try a held mutation again, corrected or as it is, in the name of whoever asks for it",
            "sync",
            {200: Answer("What came of it.", RESULT)},
            problems=tuple(code for code in WRITE_PROBLEMS if code not in (409, 412)),
            path=ID,
            body=CorrectionSerializer,
        )


class Dismiss(_Kept):
    def post(self, request: Request, id: UUID) -> Response:
        self.one(id)
        self.must_look_after()
        ledger.dismiss(self.access.organization_id, id, self.access.actor.name)
        return self.answer(id)

    def describe(self, method: str) -> Operation:
        return Operation(
            "sync_held_dismiss",
            "Give a held mutation up; the ledger keeps it, and it is not tried again",
            "sync",
            {200: Answer("As it is now.", HELD)},
            problems=(401, 403, 404, 422),
            path=ID,
            body=None,
        )
