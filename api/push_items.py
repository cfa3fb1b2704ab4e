"""One pushed mutation on its way through: what it is, whether it can be understood, what came of it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

import orjson

from api.mutations import Mutation
from api.problems import problem_of
from api.quick_reader import moments_of
from api.resources import Resource
from api.root import RESOURCES
from api.views import outward_error
from dryrecords.core.errors import DomainError, invalid
from dryrecords.journal.ledger import Status
from dryrecords.tenancy.records import Record

# Parents stand before children.
BY_NAME = {resource.name: resource for resource in RESOURCES}
ORDER = {name: place for place, name in enumerate(BY_NAME)}
OPERATIONS = ("create", "update", "delete")
LARGEST_VERSION = 2**31 - 1


@dataclass(eq=False, slots=True)
class Item:
    """A mutation on its way, and what came of it."""

    mutation: Mutation
    fingerprint: bytes
    record_id: UUID | None = None
    # A new record's columns as attributes.
    row: Any = None
    # A serializer's values, for records that are not read the quick way.
    values: dict[str, Any] | None = None
    status: str = Status.APPLIED
    version: int | None = None
    problem: dict[str, Any] | None = None
    record: dict[str, Any] | None = None
    warnings: list[dict[str, str]] = field(default_factory=list)
    waiting_for: list[UUID] = field(default_factory=list)
    # It was in the ledger before, so that its entry has to be written again.
    seen: bool = False

    @property
    def resource(self) -> Resource | None:
        name = self.mutation.resource
        return BY_NAME.get(name) if isinstance(name, str) else None

    def refuse(self, error: Exception, status: str = Status.HELD, *, within: str = "/record") -> None:
        if isinstance(error, DomainError) and self.resource is not None:
            error.errors = [outward_error(self.resource.serializer, each) for each in error.errors]
        problem = problem_of(error)
        if problem is None:
            raise error
        for each in problem["errors"]:
            each["pointer"] = within + each["pointer"]
        self.status, self.problem, self.version, self.row = status, problem, None, None
        self.record_id = self.record_id or id_in(self.mutation)

    def as_duplicate(self, record_id: UUID | None, version: int | None) -> None:
        self.status, self.problem = Status.DUPLICATE, None
        self.record_id, self.version = record_id, version

    def start_over(self) -> None:
        self.status, self.version, self.problem, self.record = Status.APPLIED, None, None, None
        self.warnings, self.waiting_for = [], []

    def answer(self) -> dict[str, Any]:
        return {
            "id": self.mutation.id,
            "status": self.status,
            "resource": self.mutation.resource,
            "record_id": self.record_id,
            "version": self.version,
            "problem": self.problem,
            "record": self.record,
            "warnings": self.warnings,
        }


def fingerprint(mutation: Mutation) -> bytes:
    """Tells apart what is sent under one id; neither white space nor the order of fields makes a difference."""
    try:
        record = orjson.loads(bytes(mutation.record))
    except orjson.JSONDecodeError:
        record = bytes(mutation.record).decode()
    told = [mutation.resource, mutation.op, mutation.base_version, record]
    return hashlib.blake2b(orjson.dumps(told, option=orjson.OPT_SORT_KEYS), digest_size=16).digest()


def kind_of(item: Item) -> tuple[str, str]:
    """Resource and operation for the ledger's columns; the payload has them as they were sent."""
    op = item.mutation.op
    return item.resource.name if item.resource else "", op if op in OPERATIONS else ""


def turn_of(item: Item) -> tuple[Any, ...]:
    """Corrections, parents first, then removals, children first; of one record by the version each builds on."""
    place, base = ORDER[item.mutation.resource], item.mutation.base_version
    removal = item.mutation.op == "delete"
    return removal, -place if removal else place, LARGEST_VERSION if base is None else base


def id_in(mutation: Mutation) -> UUID | None:
    try:
        return UUID(orjson.loads(bytes(mutation.record))["id"])
    except (ValueError, TypeError, KeyError, AttributeError):
        return None


def check_envelope(item: Item) -> None:
    mutation = item.mutation
    if item.resource is None:
        raise invalid("/resource", "unknown_resource", f"Must be one of {', '.join(BY_NAME)}.")
    if mutation.op not in OPERATIONS:
        raise invalid("/op", "unknown_op", f"Must be one of {', '.join(OPERATIONS)}.")
    base = mutation.base_version
    if base is not None and (type(base) is not int or not 0 < base <= LARGEST_VERSION):
        raise invalid("/base_version", "invalid", "Must be the version of the record that was changed, or left out.")
    if mutation.op != "create" and item.record_id is None:
        raise invalid("/record/id", "required", "Say the id of the record.")


def validated(resource: Resource, mutation: Mutation, record: Record | None = None) -> dict[str, Any]:
    try:
        data = orjson.loads(bytes(mutation.record))
    except orjson.JSONDecodeError as error:
        raise invalid("", "unreadable", f"The record cannot be read: {error}") from error
    serializer = resource.serializer(record, data=data, partial=record is not None)
    serializer.is_valid(raise_exception=True)
    values: dict[str, Any] = serializer.validated_data
    return values


def fields_ahead(resource: Resource, values: Any, horizon: datetime) -> list[str]:
    """The fields whose times lie in the future, of columns as attributes."""
    moments = moments_of(resource.serializer)
    return [name for name, column in moments if (getattr(values, column) or horizon) > horizon]


def future_warnings(names: list[str]) -> list[dict[str, str]]:
    text = "lies in the future. It was kept as it is; is the device's clock right?"
    return [{"pointer": f"/record/{name}", "code": "in_the_future", "detail": f"{name} {text}"} for name in names]
