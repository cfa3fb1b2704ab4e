"""Keeps refused rows where people look after what could not be applied: corrected there, they become records."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID, uuid5

import msgspec
from django.conf import settings
from django.db import transaction

from api.landing import Row
from api.mutations import Kept, as_text
from api.problems import problem_of
from api.push import sender_of
from api.push_items import fingerprint
from api.rendering import dumps
from api.resources import Resource
from dryrecords.core import clock
from dryrecords.core.errors import FieldError, Invalid
from dryrecords.journal import ledger
from dryrecords.journal.ledger import OPEN, Claimed, Settled, Status
from dryrecords.tenancy.access import Access


def hold(
    access: Access, resource: Resource, refused: Sequence[tuple[Row, Any]], of_import: UUID | None = None
) -> dict[int, UUID]:
    """Ids under which rows and their bodies are held, by number; the same row sent again is the same one held."""
    ids: dict[int, UUID] = {}
    sent: dict[UUID, tuple[Row, Kept]] = {}
    for row, body in refused:
        text = dumps(body)
        if len(text) <= settings.MAX_RECORD_BYTES:
            held_id = ids[row.number] = uuid5(access.organization_id, f"{resource.name} {text.decode()}")
            source = {"import": of_import, "row": row.number} if of_import else msgspec.UNSET
            sent[held_id] = (
                row,
                Kept(id=held_id, resource=resource.name, op="create", record=msgspec.Raw(text), source=source),
            )
    if not sent:
        return {}
    with transaction.atomic():
        push_id = ledger.begin_push(sender_of(access), clock.now(), None).pk
        claims = [Claimed(held_id, fingerprint(mutation), None) for held_id, (_, mutation) in sent.items()]
        before = ledger.claim(access.organization_id, push_id, resource.name, "create", claims)
        # What the office dismissed or settled stays so.
        ours = {held_id: each for held_id, each in sent.items() if _is_open(before.get(held_id))}
        ledger.settle(access.organization_id, push_id, [_held(*each) for each in ours.values()])
    return {number: held_id for number, held_id in ids.items() if held_id in ours}


def _is_open(entry: Any) -> bool:
    return entry is None or entry.status in OPEN


def _held(row: Row, mutation: Kept) -> Settled:
    errors = [FieldError(f"/record{error.pointer}", error.code, error.detail) for error in row.errors]
    return Settled(
        mutation_id=mutation.id,
        fingerprint=fingerprint(mutation),
        record_id=None,
        status=Status.HELD,
        version=None,
        payload=as_text(mutation),
        problem=dumps(problem_of(Invalid(errors[0].detail, errors=errors))).decode(),
        warnings=None,
    )
