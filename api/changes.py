"""Entries of the history as a device gets them: everything for those who see everything, for a customer its own."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID

import orjson

from api import snapshots
from api.root import RESOURCES
from dryrecords.journal import feed
from dryrecords.journal.feed import Entry
from dryrecords.tenancy.access import Access

SERIALIZERS = {resource.name: resource.serializer for resource in RESOURCES}
# A record that was restored appears anew.
OP = {"restore": "create"}
# For a customer so many entries are read at a time, and so many windows in one request: the rest is others'.
WINDOW, WINDOWS = 2000, 10

Change = dict[str, Any]


def changes_after(access: Access, number: int, limit: int) -> tuple[list[Change], int, bool]:
    """Changes after a number, the number to go on from, and whether there is more."""
    if access.customer_id is None:
        entries = feed.entries(access.organization_id, number, limit + 1)
        page = entries[:limit]
        return [_as_it_was(entry) for entry in page], _last(page, number), len(entries) > limit
    return _for_customer(access, number, limit)


def _last(entries: Sequence[Entry], number: int) -> int:
    return entries[-1].number if entries else number


def _as_it_was(entry: Entry) -> Change:
    if entry.after is None:
        return _gone(entry)
    record = snapshots.outward(SERIALIZERS[entry.resource], orjson.loads(entry.after))
    return _change(entry, entry.version, OP.get(entry.operation, entry.operation), record)


def _gone(entry: Entry) -> Change:
    return _change(entry, entry.version, "delete", None)


def _change(entry: Entry, version: int, op: str, record: Change | None) -> Change:
    return {"resource": entry.resource, "id": entry.record_id, "version": version, "op": op, "record": record}


def _for_customer(access: Access, number: int, limit: int) -> tuple[list[Change], int, bool]:
    changes: list[Change] = []
    for _ in range(WINDOWS):
        entries = feed.entries(access.organization_id, number, WINDOW)
        for entry, change in _seen_by_customer(access, entries):
            if len(changes) == limit:
                return changes, number, True
            changes.append(change)
            number = entry.number
        number = _last(entries, number)
        if len(entries) < WINDOW:
            return changes, number, False
    return changes, number, True


def _seen_by_customer(access: Access, entries: Sequence[Entry]) -> Iterator[tuple[Entry, Change]]:
    """Each record as it is now: as it was then, it may have been another customer's."""
    current = _current(access, entries)
    for entry in entries:
        if record := current.get(entry.record_id):
            op = "create" if entry.operation in ("create", "restore") else "update"
            yield entry, _change(entry, record["version"], op, record)
        elif entry.record_id in current or entry.left_customer_id == access.customer_id:
            yield entry, _gone(entry)


def _current(access: Access, entries: Sequence[Entry]) -> dict[UUID, Change | None]:
    """The records among these that are the customer's; None for one that was removed."""
    ids = defaultdict(set)
    for entry in entries:
        ids[entry.resource].add(entry.record_id)
    found: dict[UUID, Change | None] = {}
    for name, of_resource in ids.items():
        serializer = SERIALIZERS[name]
        rows = serializer.model._default_manager.ever_visible_to(access).filter(pk__in=of_resource)
        for pk, deleted_at, *values in rows.values_list("pk", "deleted_at", *serializer.columns()):
            found[pk] = serializer.outward(values) if deleted_at is None else None
    return found
