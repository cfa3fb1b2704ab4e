"""How the routes of a resource are described in the OpenAPI document."""

from __future__ import annotations

from typing import Any

from api.examples import EXAMPLES
from api.filters import PAGE
from api.operations import READ_PROBLEMS, WRITE_PROBLEMS, Answer, Operation
from api.resources import Resource

ID = {"id": {"type": "string", "format": "uuid"}}
NULLABLE_TEXT = {"type": ["string", "null"]}

CHANGE = {
    "type": "object",
    "required": ["version", "operation", "changed_at", "actor", "device", "request_id", "changes"],
    "properties": {
        "version": {"type": "integer"},
        "operation": {"enum": ["create", "update", "delete", "restore"]},
        "changed_at": {"type": "string", "format": "date-time"},
        "actor": {"type": "string"},
        "device": NULLABLE_TEXT,
        "request_id": NULLABLE_TEXT,
        "changes": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["field", "before", "after"],
                "properties": {"field": {"type": "string"}, "before": {}, "after": {}},
            },
        },
    },
}


def paged(item: Any) -> dict[str, Any]:
    return {
        "type": "object",
        "required": ["results", "next", "next_cursor"],
        "properties": {
            "results": {"type": "array", "items": item},
            "next": NULLABLE_TEXT,
            "next_cursor": NULLABLE_TEXT,
        },
    }


def collection(resource: Resource, method: str) -> Operation:
    name = resource.name
    if method == "GET":
        return Operation(
            f"{name}_list",
            f"List {name}, newest first",
            name,
            {200: Answer("One page.", paged(resource.serializer), csv=True)},
            problems=(401, 422),
            query=resource.parameters,
        )
    made = ("ETag", "Location", "Idempotency-Replayed")
    return Operation(
        f"{name}_create",
        f"Record one: {name}",
        name,
        {
            201: Answer("Created.", resource.serializer, made),
            200: Answer("The same record was sent before with this id; here it is.", resource.serializer, made),
        },
        problems=tuple(code for code in WRITE_PROBLEMS if code not in (404, 412)),
        headers=("Idempotency-Key",),
        body=resource.serializer,
        example=EXAMPLES.get(name),
    )


def single(resource: Resource, method: str) -> Operation:
    name = resource.name
    if method == "GET":
        return Operation(
            f"{name}_read",
            f"Read one: {name}",
            name,
            {
                200: Answer("The record.", resource.serializer, ("ETag",)),
                304: Answer("You have it.", headers=("ETag",)),
            },
            path=ID,
            headers=("If-None-Match",),
        )
    if method == "PATCH":
        return Operation(
            f"{name}_correct",
            f"Correct one: {name}. A `version` in the body must be the current one, as with If-Match",
            name,
            {200: Answer("The record as it is now.", resource.serializer, ("ETag", "Idempotency-Replayed"))},
            problems=WRITE_PROBLEMS,
            path=ID,
            headers=("If-Match", "Idempotency-Key"),
            body=resource.serializer,
        )
    return Operation(
        f"{name}_remove",
        f"Remove one, and what is part of it: {name}",
        name,
        {204: Answer("Removed. The history keeps it.", headers=("Idempotency-Replayed",))},
        problems=tuple(code for code in WRITE_PROBLEMS if code not in (400, 415)),
        path=ID,
        headers=("If-Match", "Idempotency-Key"),
    )


def restore(resource: Resource) -> Operation:
    return Operation(
        f"{resource.name}_restore",
        f"Take the removal of one of {resource.name} back, with what was removed along with it",
        resource.name,
        {200: Answer("The record as it is now.", resource.serializer, ("ETag", "Idempotency-Replayed"))},
        problems=tuple(code for code in WRITE_PROBLEMS if code not in (400, 415)),
        path=ID,
        headers=("If-Match", "Idempotency-Key"),
    )


def history(resource: Resource) -> Operation:
    return Operation(
        f"{resource.name}_history",
        f"Who changed what, when and from which device, in one of {resource.name}; also after it was removed. "
        "A customer sees it from when the record became its own",
        resource.name,
        {200: Answer("One page, newest first.", paged(CHANGE))},
        problems=READ_PROBLEMS,
        path=ID,
        query=PAGE,
    )
