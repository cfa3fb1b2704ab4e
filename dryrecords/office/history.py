"""What happened to a record, and to what belongs to it: who changed what, when, from what to what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from dryrecords.office import columns, written
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.history import entries_of

MOST_TOLD = 60
NOT_TOLD = {"id", "organization_id", "version", "created_at", "updated_at"}
DONE = {"create": "entered", "update": "corrected", "delete": "removed", "restore": "brought back"}
THINGS = {"batches": "batch", "samples": "sample", "readings": "reading"}


@dataclass(frozen=True)
class Told:
    at: str
    who: str
    what: str
    changes: list[str]


def history(access: Access, ids: Sequence[UUID]) -> list[Any]:
    """Newest first. The records have been found visible before."""
    return list(entries_of(access, ids).order_by("-number")[:MOST_TOLD])


def told(change: Any, timezone: str, names: Mapping[str, str]) -> Told:
    device = f", {change.device}" if change.device else ""
    thing = THINGS.get(change.resource, written.named(change.resource))
    return Told(
        at=written.moment(change.changed_at, timezone),
        who=f"{change.actor}{device}",
        what=f"{thing} {'came here' if change.arrived else DONE.get(change.operation, change.operation)}",
        changes=_differences(change, timezone, names),
    )


def _differences(change: Any, timezone: str, names: Mapping[str, str]) -> list[str]:
    before: dict[str, Any] = change.before or {}
    after: dict[str, Any] = change.after or {}
    if change.arrived or change.operation == "create":
        # What was left at its usual value is not worth a word.
        before = {column: None if value else value for column, value in after.items()}
    found = []
    for column in after or before:
        if column in NOT_TOLD or column == "deleted_at" or before.get(column) == after.get(column):
            continue
        old, new = (columns.value(column, row.get(column), timezone, names) for row in (before, after))
        if new == columns.ITSELF:
            continue
        found.append(
            f"{columns.label(column)} {new}" if old == written.NOTHING else f"{columns.label(column)} {old} → {new}"
        )
    return found if after else []
