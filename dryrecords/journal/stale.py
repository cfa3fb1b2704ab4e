"""Stale marks: raised by writes, taken by any number of workers, retried with back-off, never lost."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from uuid import UUID

from django.db import connection, transaction

from dryrecords.journal.models import StaleMark

DAWN = datetime(1900, 1, 1, tzinfo=UTC)
DUSK = datetime(9000, 1, 1, tzinfo=UTC)

# How long a claim is another worker's business; doubled with every attempt, which is the back-off as well.
LEASE_S = 15
LONGEST_WAIT_DOUBLINGS = 7
# From this attempt on a mark is taken alone, so that one that kills its worker takes no neighbour with it.
ALONE_FROM_ATTEMPT = 2
UNFINISHED = "The worker that computed it ended, or is still not done."


@dataclass(frozen=True, order=True)
class Mark:
    """What is stale: a kind, a key, and for wide marks the span of time that was touched."""

    kind: str
    key: str
    since: datetime = DAWN
    until: datetime = DUSK


@dataclass(frozen=True)
class Claim:
    """A mark taken to be worked off, with the generation that the work will satisfy."""

    id: int
    organization_id: UUID
    kind: str
    key: str
    wanted: int
    since: datetime
    until: datetime


def raise_marks(organization_id: UUID, marks: Iterable[Mark], *, wait_s: float = 0.0) -> None:
    """Raise each mark by one. Sorted, so that two transactions that share marks cannot deadlock.

    With `wait_s` the work may begin so much later: many writes in that time are worked off once.
    """
    widest: dict[tuple[str, str], Mark] = {}
    for mark in sorted(marks):
        held = widest.get((mark.kind, mark.key))
        widest[mark.kind, mark.key] = (
            Mark(mark.kind, mark.key, min(held.since, mark.since), max(held.until, mark.until)) if held else mark
        )
    if not widest:
        return
    rows = list(widest.values())
    with connection.cursor() as cursor:
        cursor.execute(
            """
            INSERT INTO journal_stalemark AS held
                (organization_id, kind, key, wanted, done, since, until, raised_at, run_after, attempts, last_error)
            SELECT %s, kind, key, 1, 0, since, until, clock_timestamp(),
                clock_timestamp() + make_interval(secs => %s), 0, ''
            FROM unnest(%s::text[], %s::text[], %s::timestamptz[], %s::timestamptz[])
                 AS raised (kind, key, since, until)
            ON CONFLICT (organization_id, kind, key) DO UPDATE SET
                wanted = held.wanted + 1,
                since = CASE WHEN held.wanted > held.done THEN least(held.since, excluded.since)
                             ELSE excluded.since END,
                until = CASE WHEN held.wanted > held.done THEN greatest(held.until, excluded.until)
                             ELSE excluded.until END,
                raised_at = excluded.raised_at,
                run_after = CASE WHEN held.wanted > held.done THEN least(held.run_after, excluded.run_after)
                                 ELSE excluded.run_after END,
                attempts = CASE WHEN held.attempts >= %s THEN %s ELSE 0 END
            """,
            [
                organization_id,
                wait_s,
                [m.kind for m in rows],
                [m.key for m in rows],
                [m.since for m in rows],
                [m.until for m in rows],
                # New data may cure what kills a worker, but until it has, the mark stays alone.
                ALONE_FROM_ATTEMPT,
                ALONE_FROM_ATTEMPT,
            ],
        )


def due_kinds() -> set[str]:
    """Kinds of which something waits: one look instead of a claim for each kind."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT DISTINCT kind FROM journal_stalemark WHERE wanted > done AND run_after <= clock_timestamp()"
        )
        return {row[0] for row in cursor.fetchall()}


def claim(kinds: Sequence[str], limit: int) -> list[Claim]:
    """Take open marks nobody else holds. Commits at once, so the attempt counts even if this process dies."""
    return _claim(kinds, limit, alone=False) or _claim(kinds, 1, alone=True)


def _claim(kinds: Sequence[str], limit: int, *, alone: bool) -> list[Claim]:
    comparison = ">=" if alone else "<"
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            f"""
            UPDATE journal_stalemark AS mark SET
                attempts = attempts + 1,
                last_error = CASE WHEN attempts > 0 AND last_error = '' THEN %s ELSE last_error END,
                run_after = clock_timestamp()
                    + make_interval(secs => %s * power(2, least(attempts, %s)))
            WHERE id IN (
                SELECT id FROM journal_stalemark
                WHERE wanted > done AND kind = ANY(%s) AND run_after <= clock_timestamp()
                  AND attempts {comparison} %s
                ORDER BY run_after LIMIT %s
                FOR UPDATE SKIP LOCKED)
            RETURNING id, organization_id, kind, key, wanted, since, until
            """,
            [UNFINISHED, LEASE_S, LONGEST_WAIT_DOUBLINGS, list(kinds), ALONE_FROM_ATTEMPT, limit],
        )
        return sorted((Claim(*row) for row in cursor.fetchall()), key=lambda c: c.id)


def settle(claims: Sequence[Claim]) -> list[Claim]:
    """The work is saved: in the same transaction, say which generation it satisfied.

    Returns the claims that were overtaken: a newer generation of theirs had been satisfied meanwhile.
    """
    with connection.cursor() as cursor:
        # Many marks, locked in the order of raise_marks, which may be raising the same ones.
        cursor.execute(
            'SELECT id, done FROM journal_stalemark WHERE id = ANY(%s) ORDER BY kind COLLATE "C", key COLLATE "C"'
            " FOR UPDATE",
            [[c.id for c in claims]],
        )
        done = dict(cursor.fetchall())
        cursor.execute(
            """
            UPDATE journal_stalemark AS mark SET
                done = greatest(mark.done, worked.wanted), attempts = 0, last_error = '',
                run_after = clock_timestamp()
            FROM unnest(%s::bigint[], %s::bigint[]) AS worked (id, wanted)
            WHERE mark.id = worked.id
            """,
            [[c.id for c in claims], [c.wanted for c in claims]],
        )
    return [c for c in claims if done[c.id] > c.wanted]


def give_back(claim: Claim, error: str) -> None:
    """The work failed: keep the claim's waiting time as back-off and show the error."""
    StaleMark.objects.filter(id=claim.id).update(last_error=error[:2000])


def open_marks(organization_id: UUID, kinds: Sequence[str]) -> bool:
    """Is anything of these kinds still to be worked off in this organization?"""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT EXISTS (SELECT 1 FROM journal_stalemark"
            " WHERE organization_id = %s AND kind = ANY(%s) AND wanted > done)",
            [organization_id, list(kinds)],
        )
        return bool(cursor.fetchone()[0])
