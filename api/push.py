"""What devices wrote offline: pushed, resubmitted by the office, or tried again when what it waited for is there."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import datetime
from itertools import groupby
from typing import Any
from uuid import UUID

import orjson

from api.landing import twin_of
from api.mutations import Kept, Mutation, from_text
from api.push_items import Item, fingerprint, id_in
from api.push_run import Run
from api.root import RESOURCES
from dryrecords.core import clock
from dryrecords.journal import ledger
from dryrecords.journal.ledger import Sender
from dryrecords.journal.models import Mutation as Entry
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Token


def push(access: Access, mutations: Sequence[Mutation], *, sent_at: datetime | None, most_s: float) -> dict[str, Any]:
    """What a device wrote offline, applied as far as it can be; the answer tells of every mutation."""
    received_at = clock.now()
    entry = ledger.begin_push(sender_of(access), received_at, sent_at)
    run = Run(access, entry.pk, time.monotonic() + most_s)
    items = [Item(mutation, fingerprint(mutation)) for mutation in mutations]
    run.apply(items)
    # What came on another connection while we looked for it did not find us waiting yet.
    waited_for = {wanted for item in items for wanted in item.waiting_for}
    arrived(access.organization_id, run.created | there(access.organization_id, waited_for))
    return {
        "results": [item.answer() for item in items],
        "received_at": received_at,
        "clock_skew_s": ledger.clock_skew_s(access.organization_id, access.token_id),
    }


def arrived(organization_id: UUID, ids: set[UUID]) -> None:
    """Records are there now: held mutations that waited for them are tried again, on behalf of whoever sent them."""
    while ids:
        waiting = sorted(ledger.waiting_for(organization_id, ids), key=lambda entry: entry.push_id)
        revoked = _revoked({entry.push.token_id for entry in waiting})
        ids = set()
        for push_id, entries in groupby(waiting, key=lambda entry: entry.push_id):
            held = list(entries)
            if held[0].push.token_id not in revoked:
                run = Run(_access_of(held[0]), push_id)
                run.apply([item_of(entry) for entry in held])
                ids |= run.created


def there(organization_id: UUID, ids: set[UUID]) -> set[UUID]:
    """Those of these ids that are records by now, of whichever kind."""
    kinds = [resource.model for resource in RESOURCES] if ids else []
    return {
        found
        for model in kinds
        for found in model._default_manager.filter(
            organization_id=organization_id, pk__in=ids, deleted_at__isnull=True
        ).values_list("pk", flat=True)
    }


def resubmit(access: Access, entry: Entry, mutation: Kept) -> Item:
    """A held mutation, corrected perhaps, tried again by the office and in its name."""
    item = Item(mutation, fingerprint(mutation))
    if id_in(mutation) is None:
        item.record_id = entry.record_id
    run = Run(access, entry.push_id, by=access.actor.name)
    # A row of a sheet has no id of its own, and may have come again in a sheet that was corrected.
    resource = item.resource if mutation.source else None
    if resource is not None and (twin := twin_of(access, resource, orjson.loads(bytes(mutation.record)))):
        run.settle_as_there(item, twin)
    else:
        run.apply([item])
    arrived(access.organization_id, run.created)
    return item


def item_of(entry: Entry) -> Item:
    mutation = from_text(entry.payload)
    return Item(mutation, bytes(entry.fingerprint), record_id=entry.record_id)


def sender_of(access: Access) -> Sender:
    return Sender(access.organization_id, access.actor, access.role, access.customer_id, access.token_id)


def _access_of(entry: Entry) -> Access:
    sent = entry.push
    actor = ledger.Actor(sent.actor, sent.device, sent.request_id)
    return Access(sent.organization_id, sent.role, actor, sent.customer_id, sent.token_id)


def _revoked(token_ids: set[UUID | None]) -> set[UUID | None]:
    in_force = Token.objects.filter(pk__in=token_ids - {None}, revoked_at__isnull=True).values_list("pk", flat=True)
    return token_ids - {None} - set(in_force) if token_ids else set()
