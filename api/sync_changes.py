"""What changed since a device last asked, in the order in which it was committed."""

from __future__ import annotations

import base64
import binascii
from typing import Any
from uuid import UUID

import orjson
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.changes import SERIALIZERS, changes_after
from api.filters import Parameter, Parameters
from api.operations import Answer, Operation
from api.views import Route
from dryrecords.core.errors import Gone, invalid
from dryrecords.journal import feed
from dryrecords.tenancy.access import Access

MOST, USUAL = 5000, 1000
PARAMETERS: Parameters = {
    "limit": Parameter(
        serializers.IntegerField(min_value=1, max_value=MOST),
        f"How many at most, 1 to {MOST}; {USUAL} if left out.",
    ),
    "cursor": Parameter(
        serializers.CharField(max_length=400),
        "`cursor` of the answer before, kept as it is, however long ago; from the beginning if left out.",
    ),
}
ANSWER = {
    "type": "object",
    "required": ["changes", "cursor", "more"],
    "properties": {
        "changes": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["resource", "id", "version", "op", "record"],
                "properties": {
                    "resource": {"enum": list(SERIALIZERS)},
                    "id": {"type": "string", "format": "uuid"},
                    "version": {"type": "integer"},
                    "op": {
                        "enum": ["create", "update", "delete"],
                        "description": "delete: removed, or no longer yours to see. A restored record is a create.",
                    },
                    "record": {"anyOf": [*SERIALIZERS.values(), {"type": "null"}]},
                },
            },
        },
        "cursor": {"type": "string", "description": "Where to go on, now or later."},
        "more": {"type": "boolean", "description": "Ask again at once: there is more already."},
    },
}


class Changes(Route):
    def parameters(self, method: str) -> Parameters:
        return PARAMETERS

    def get(self, request: Request) -> Response:
        epoch = feed.epoch()
        number = _place(self.access, epoch, self.query["cursor"]) if "cursor" in self.query else 0
        changes, number, more = changes_after(self.access, number, self.query.get("limit", USUAL))
        return Response({"changes": changes, "cursor": _cursor(self.access, epoch, number), "more": more})

    def describe(self, method: str) -> Operation:
        return Operation(
            "sync_changes",
            "What changed, in the order in which it was committed; nothing is ever skipped",
            "sync",
            {200: Answer("Changes, oldest first; for a customer each record as it is now.", ANSWER)},
            problems=(401, 410, 422),
            query=PARAMETERS,
        )


def _sight(access: Access) -> str:
    """A place counts what one sees, so it is of no use to somebody who sees something else."""
    return str(access.customer_id or access.organization_id)


def _cursor(access: Access, epoch: UUID, number: int) -> str:
    return base64.urlsafe_b64encode(orjson.dumps([epoch, _sight(access), number])).decode().rstrip("=")


def _place(access: Access, epoch: UUID, cursor: str) -> int:
    given_epoch, sight, number = _read(cursor)
    # A database that was set back and not told so may still know less than the device does.
    if (given_epoch, sight) != (str(epoch), _sight(access)) or number > feed.head(access.organization_id):
        text = "This cursor is of another history. Begin anew without one, and forget what the answer does not hold."
        raise Gone(text, code="cursor_gone")
    return number


def _read(cursor: str) -> tuple[str, str, int]:
    try:
        read: Any = orjson.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
        epoch, sight, number = read
        if type(number) is int and number >= 0:
            return epoch, sight, number
    except (ValueError, TypeError, binascii.Error):
        pass
    raise invalid("/cursor", "bad_cursor", "This is not a cursor of this feed. Begin anew without one.")
