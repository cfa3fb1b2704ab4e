"""The ledger of what devices push: every mutation once, its outcome, and what could not be applied kept for people."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence, Set
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import psycopg
from django.db import connection, transaction
from django.db.models import QuerySet
from django.db.models.expressions import RawSQL

from dryrecords.core import clock
from dryrecords.journal.models import Mutation, Push
from dryrecords.journal.trail import Actor

Status = Mutation.Status
OPEN = (Status.HELD, Status.CONFLICT)

# The estimate of a device's clock is a median, so that a push that waited long on the way does not spoil it.
PUSHES_THAT_TELL_THE_TIME = 51


@dataclass(frozen=True)
class Sender:
    """Who pushes: enough to try again later on their behalf, and no more than they may."""

    organization_id: UUID
    actor: Actor
    role: str
    customer_id: UUID | None
    token_id: UUID | None


@dataclass(frozen=True, slots=True)
class Claimed:
    """A mutation as the device sent it."""

    mutation_id: UUID
    fingerprint: bytes
    record_id: UUID | None


@dataclass(frozen=True)
class Settled:
    """What came of a mutation that was not simply applied when it came in."""

    mutation_id: UUID
    fingerprint: bytes
    record_id: UUID | None
    status: str
    version: int | None
    payload: str | None
    problem: str | None
    warnings: str | None
    waiting_for: Collection[UUID] = ()


def begin_push(sender: Sender, received_at: datetime, sent_at: datetime | None) -> Push:
    with transaction.atomic(), connection.cursor() as cursor:
        # Need not wait for the disk: whatever is committed later reaches it later, and the push alone means nothing.
        cursor.execute("SET LOCAL synchronous_commit = off")
        return Push.objects.create(
            organization_id=sender.organization_id,
            token_id=sender.token_id,
            role=sender.role,
            customer_id=sender.customer_id,
            actor=sender.actor.name,
            device=sender.actor.device,
            request_id=sender.actor.request_id,
            sent_at=sent_at,
            received_at=received_at,
        )


def clock_skew_s(organization_id: UUID, token_id: UUID | None) -> float | None:
    """By how many seconds our clock is ahead of the device's, the way here included; None if it never told its time."""
    with connection.cursor() as cursor:
        cursor.execute(
            """
            SELECT extract(epoch FROM percentile_cont(0.5) WITHIN GROUP (ORDER BY received_at - sent_at))
            FROM (SELECT received_at, sent_at FROM journal_push
                  WHERE organization_id = %s AND token_id = %s AND sent_at IS NOT NULL
                  ORDER BY id DESC LIMIT %s) AS latest
            """,
            [organization_id, token_id, PUSHES_THAT_TELL_THE_TIME],
        )
        skew = cursor.fetchone()[0]
    return None if skew is None else round(float(skew), 3)


def known(organization_id: UUID, ids: Iterable[UUID]) -> dict[UUID, Mutation]:
    """Mutations that came in before, and what came of them."""
    among = RawSQL("SELECT unnest(%s::uuid[])", [list(ids)])
    rows = Mutation.objects.filter(organization_id=organization_id, mutation_id__in=among)
    return {row.mutation_id: row for row in rows}


def claim(
    organization_id: UUID, push_id: int, resource: str, op: str, mutations: Sequence[Claimed]
) -> dict[UUID, Mutation]:
    """Enter mutations of one kind as applied; the same transaction applies them or says otherwise by `settle`.

    Returns those that came in before, locked. A twin on another connection waits here until we have committed. Sorted,
    so that two pushes that share mutations cannot deadlock.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("claim belongs inside the transaction of the effect")
    rows = sorted(mutations, key=lambda each: each.mutation_id.bytes)
    columns: list[list[Any]] = [
        [row.mutation_id for row in rows],
        [row.fingerprint for row in rows],
        [row.record_id for row in rows],
    ]
    with _binary_cursor() as cursor:
        cursor.execute(
            """
            INSERT INTO journal_mutation (organization_id, push_id, mutation_id, fingerprint, resource, op, record_id,
                                          status, version, earlier, settled_by)
            SELECT %s, %s, mutation_id, fingerprint, %s, %s, record_id, 'applied', 1, '{}', ''
            FROM unnest(%b::uuid[], %b::bytea[], %b::uuid[]) AS sent (mutation_id, fingerprint, record_id)
            ON CONFLICT (organization_id, mutation_id) DO NOTHING
            RETURNING mutation_id
            """,
            [organization_id, push_id, resource, op, *columns],
        )
        if cursor.rowcount == len(rows):
            return {}
        entered = {row[0] for row in cursor.fetchall()}
    before = [mutation_id for mutation_id in columns[0] if mutation_id not in entered]
    there = Mutation.objects.filter(organization_id=organization_id, mutation_id__in=before)
    return {row.mutation_id: row for row in there.order_by("mutation_id").select_for_update()}


def settle(organization_id: UUID, push_id: int, outcomes: Sequence[Settled], by: str = "") -> None:
    """Say what came of mutations that are claimed. Another payload than the one before joins it, nothing is lost."""
    if not outcomes:
        return
    rows = sorted(outcomes, key=lambda each: each.mutation_id.bytes)
    with _binary_cursor() as cursor:
        cursor.execute(
            """
            UPDATE journal_mutation AS held SET
                push_id = %s, record_id = new.record_id, status = new.status, version = new.version,
                problem = new.problem, warnings = new.warnings, waiting_for = new.waiting_for::uuid[],
                earlier = CASE WHEN held.payload IS NOT NULL AND held.fingerprint <> new.fingerprint
                               THEN held.earlier || held.payload ELSE held.earlier END,
                payload = new.payload, fingerprint = new.fingerprint,
                settled_by = CASE WHEN new.status IN ('held', 'conflict') THEN '' ELSE %s END,
                settled_at = CASE WHEN new.status NOT IN ('held', 'conflict') AND %s <> '' THEN clock_timestamp() END
            FROM unnest(%b::uuid[], %b::bytea[], %b::uuid[], %b::text[], %b::int[], %b::text[], %b::text[], %b::text[],
                        %b::text[])
                 AS new (mutation_id, fingerprint, record_id, status, version, payload, problem, warnings, waiting_for)
            WHERE held.organization_id = %s AND held.mutation_id = new.mutation_id
            """,
            [
                push_id,
                by,
                by,
                [row.mutation_id for row in rows],
                [row.fingerprint for row in rows],
                [row.record_id for row in rows],
                [row.status for row in rows],
                [row.version for row in rows],
                [row.payload for row in rows],
                [row.problem for row in rows],
                [row.warnings for row in rows],
                [f"{{{','.join(map(str, row.waiting_for))}}}" if row.waiting_for else None for row in rows],
                organization_id,
            ],
        )


def keep_besides(organization_id: UUID, payloads: Sequence[tuple[UUID, str]]) -> None:
    """Other contents under the id of a mutation that is final already."""
    with connection.cursor() as cursor:
        cursor.execute(
            """
            UPDATE journal_mutation AS final SET earlier = final.earlier || other.payload
            FROM unnest(%s::uuid[], %s::text[]) AS other (mutation_id, payload)
            WHERE final.organization_id = %s AND final.mutation_id = other.mutation_id
                AND other.payload <> ALL (final.earlier)
            """,
            [[each for each, _ in payloads], [payload for _, payload in payloads], organization_id],
        )


def waiting_for(organization_id: UUID, arrived: Set[UUID]) -> list[Mutation]:
    """Held mutations that waited for one of these records."""
    waiting = Mutation.objects.filter(
        organization_id=organization_id, status=Status.HELD, waiting_for__isnull=False
    ).values_list("mutation_id", "waiting_for")
    ready = [mutation_id for mutation_id, wanted in waiting if not arrived.isdisjoint(wanted or ())]
    return list(kept(organization_id).filter(mutation_id__in=ready)) if ready else []


def all_waited_for() -> dict[UUID, set[UUID]]:
    """By organization: the records that held mutations wait for."""
    wanted: dict[UUID, set[UUID]] = {}
    rows = Mutation.objects.filter(status=Status.HELD, waiting_for__isnull=False)
    for organization_id, ids in rows.values_list("organization_id", "waiting_for"):
        wanted.setdefault(organization_id, set()).update(ids or ())
    return wanted


def kept(organization_id: UUID) -> QuerySet[Mutation]:
    """Every mutation that was not applied at once, with the push that brought it."""
    return Mutation.objects.filter(organization_id=organization_id, payload__isnull=False).select_related("push")


def dismiss(organization_id: UUID, mutation_id: UUID, by: str) -> bool:
    """Nobody wants it any more; it stays in the ledger, and is not tried again."""
    return bool(
        Mutation.objects.filter(organization_id=organization_id, mutation_id=mutation_id, status__in=OPEN).update(
            status=Status.DISMISSED, waiting_for=None, settled_by=by, settled_at=clock.now()
        )
    )


def _binary_cursor() -> psycopg.Cursor[Any]:
    """Thousands of values go as binary arrays; Django's own cursor would write them into the statement as text."""
    connection.ensure_connection()
    return psycopg.Cursor(connection.connection)
