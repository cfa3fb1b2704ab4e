"""The history read as a feed: from a number on, in the order of commits, and the epoch that the numbers belong to."""

from __future__ import annotations

from typing import NamedTuple
from uuid import UUID

from django.db import connection

from dryrecords.journal.models import Epoch


class Entry(NamedTuple):
    """One change. `after` is the row as JSON text, in SI units; None for a record that was removed."""

    number: int
    resource: str
    record_id: UUID
    version: int
    operation: str
    left_customer_id: UUID | None
    after: str | None


def epoch() -> UUID:
    name: UUID = Epoch.objects.get_or_create(id=1)[0].name
    return name


def begin_epoch() -> UUID:
    """Every cursor given so far is void: what they count may not be what the database holds now."""
    Epoch.objects.all().delete()
    return epoch()


def head(organization_id: UUID) -> int:
    with connection.cursor() as cursor:
        cursor.execute("SELECT number FROM journal_head WHERE organization_id = %s", [organization_id])
        found = cursor.fetchone()
    return found[0] if found else 0


def entries(organization_id: UUID, after_number: int, limit: int) -> list[Entry]:
    """Nothing is skipped: whoever sees a number sees all before it, since each was taken after those had committed."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT number, resource, record_id, version, operation, left_customer_id, after::text"
            " FROM journal_change WHERE organization_id = %s AND number > %s ORDER BY number LIMIT %s",
            [organization_id, after_number, limit],
        )
        return [Entry(*row) for row in cursor.fetchall()]
