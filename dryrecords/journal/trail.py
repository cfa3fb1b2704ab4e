"""Writes the trail: history and feed entries and stale marks, as the last step of a writing transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection, transaction

from dryrecords.journal import nudge, stale
from dryrecords.journal.models import Change


@dataclass(frozen=True)
class Actor:
    """Who wrote, as it will be read years later: names, not references."""

    name: str
    device: str = ""
    request_id: str = ""


@dataclass(frozen=True)
class Entry:
    """One record as it was and as it is."""

    resource: str
    record_id: UUID
    version: int
    operation: str
    before: Mapping[str, Any] | None
    after: Mapping[str, Any] | None


def leave_trail(
    organization_id: UUID, actor: Actor, entries: Sequence[Entry], marks: Sequence[stale.Mark] = ()
) -> None:
    """Call last in the transaction: from here to the commit, writers of one organization wait for each other."""
    stale.raise_marks(organization_id, marks)
    last = _take_numbers(organization_id, len(entries))
    first = last - len(entries) + 1
    Change.objects.bulk_create(
        [
            Change(
                organization_id=organization_id,
                number=number,
                resource=entry.resource,
                record_id=entry.record_id,
                version=entry.version,
                operation=entry.operation,
                actor=actor.name,
                device=actor.device,
                request_id=actor.request_id,
                before=entry.before,
                after=entry.after,
            )
            for number, entry in enumerate(entries, start=first)
        ],
        batch_size=2000,
    )
    if marks:
        transaction.on_commit(nudge.nudge, robust=True)


def _take_numbers(organization_id: UUID, count: int) -> int:
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO journal_head (organization_id, number) VALUES (%s, %s)"
            " ON CONFLICT (organization_id) DO UPDATE SET number = journal_head.number + excluded.number"
            " RETURNING number",
            [organization_id, count],
        )
        return int(cursor.fetchone()[0])
