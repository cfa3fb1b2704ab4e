"""Answers already given: a request repeated with its Idempotency-Key gets the first answer again."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db import connection, transaction

from dryrecords.core import clock
from dryrecords.core.errors import FieldError, Invalid
from dryrecords.journal.models import GivenAnswer

KEPT_FOR = timedelta(days=90)


def claim_key(organization_id: UUID, key: str, fingerprint: str) -> GivenAnswer | None:
    """None: the key is ours and `keep_answer` must follow in the same transaction. Else the answer given before.

    A twin on another connection waits here, on the unique index, until the first one has committed.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("claim_key belongs inside the transaction of the effect")
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO journal_givenanswer (organization_id, key, fingerprint, headers, given_at)"
            " VALUES (%s, %s, %s, '{}', clock_timestamp()) ON CONFLICT (organization_id, key) DO NOTHING RETURNING id",
            [organization_id, key, fingerprint],
        )
        if cursor.fetchone():
            return None
    answer = GivenAnswer.objects.get(organization_id=organization_id, key=key)
    if answer.fingerprint != fingerprint:
        text = "This Idempotency-Key was already used for another request. Use a new key."
        raise Invalid(text, code="key_reused", errors=[FieldError("", "key_reused", text)])
    return answer


def keep_answer(organization_id: UUID, key: str, status: int, body: Any, headers: dict[str, str]) -> None:
    GivenAnswer.objects.filter(organization_id=organization_id, key=key).update(
        status=status, body=body, headers=headers
    )


def forget_old_answers() -> int:
    deleted, _ = GivenAnswer.objects.filter(given_at__lt=clock.now() - KEPT_FOR).delete()
    return deleted
