"""The trail of a write: the database is told who writes, for its triggers to write down; stale marks are raised."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db import connection, transaction

from dryrecords.journal import nudge, stale


@dataclass(frozen=True)
class Actor:
    """Who wrote, as it will be read years later: names, not references."""

    name: str
    device: str = ""
    request_id: str = ""


def leave_trail(organization_id: UUID, actor: Actor, marks: Iterable[stale.Mark] = ()) -> None:
    """Call with every row locked that will be written; nothing but the writing itself may follow.

    The first row that is written takes the organization's next change number, and from there to the commit its other
    writers wait. So nobody deadlocks as long as all keep this order: rows (parents before children), marks, data.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("leave_trail belongs inside the transaction of the write")
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT set_config('dryrecords.actor', %s, true), set_config('dryrecords.device', %s, true),"
            " set_config('dryrecords.request_id', %s, true)",
            [actor.name, actor.device, actor.request_id],
        )
    marks = list(marks)
    stale.raise_marks(organization_id, marks)
    if marks:
        transaction.on_commit(nudge.nudge, robust=True)


def tell_who_is_left(customer_id: UUID | None) -> None:
    """The rows written from here on leave the sight of this customer, whose devices are told to forget them.

    What was no customer's leaves the organization itself: in the history it shows that they came to somebody.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('dryrecords.left_customer', %s, true)", [str(customer_id or "")])
