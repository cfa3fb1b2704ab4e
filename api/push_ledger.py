"""What a run of pushed mutations has to do with the ledger: claiming, settling, and answering again."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

import orjson

from api.mutations import as_text
from api.push_items import BY_NAME, Item, kind_of
from api.rendering import dumps
from api.resources import Resource
from dryrecords.core.errors import Conflict
from dryrecords.journal import ledger
from dryrecords.journal.ledger import Claimed, Settled, Status
from dryrecords.journal.models import Mutation as Entry
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.records import Record


class WithLedger:
    def __init__(self, access: Access, push_id: int, by: str) -> None:
        self.access, self.push_id, self.by = access, push_id, by

    def _not_final(self, items: list[Item]) -> list[Item]:
        before = ledger.known(self.access.organization_id, [item.mutation.id for item in items])
        return self._still_open(items, before)

    def _answer_again(self, item: Item, entry: Entry) -> bool:
        """The answer that was given; true if another content is sent under the same id this time."""
        item.row = None
        differs = bytes(entry.fingerprint) != item.fingerprint
        # What the office corrected differs from what the device has, and is the answer to it.
        if differs and not entry.settled_by:
            text = "This id was used for another mutation, which was applied. Give what you changed since a new id."
            item.record_id = entry.record_id
            item.refuse(Conflict(text, code="mutation_id_reused"), Status.CONFLICT)
            self._show_record(item, BY_NAME.get(entry.resource))
        elif entry.status == Status.DISMISSED:
            item.record_id = entry.record_id
            item.refuse(Conflict("The office has seen this and does not want it.", code="dismissed"))
        else:
            item.as_duplicate(entry.record_id, entry.version)
            item.warnings = orjson.loads(entry.warnings) if entry.warnings else []
        return differs

    def _claim(self, items: list[Item]) -> list[Item]:
        """Those of one kind that are ours to apply; with the others a twin on another connection was faster."""
        sent = [Claimed(item.mutation.id, item.fingerprint, item.record_id) for item in items]
        before = ledger.claim(self.access.organization_id, self.push_id, *kind_of(items[0]), sent)
        return self._still_open(items, before)

    def _still_open(self, items: list[Item], before: dict[UUID, Entry]) -> list[Item]:
        """Those that are not final yet; the others are answered as before."""
        open_items, others = [], []
        for item in items:
            entry = before.get(item.mutation.id)
            if entry is None or entry.status in ledger.OPEN:
                item.seen = entry is not None
                open_items.append(item)
            elif self._answer_again(item, entry):
                others.append((item.mutation.id, as_text(item.mutation)))
        if others:
            ledger.keep_besides(self.access.organization_id, others)
        return open_items

    def _settle(self, items: Iterable[Item]) -> None:
        ledger.settle(
            self.access.organization_id,
            self.push_id,
            [
                Settled(
                    mutation_id=item.mutation.id,
                    fingerprint=item.fingerprint,
                    record_id=item.record_id,
                    status=item.status,
                    version=item.version,
                    payload=as_text(item.mutation) if item.problem or item.seen else None,
                    problem=dumps(item.problem).decode() if item.problem else None,
                    warnings=dumps(item.warnings).decode() if item.warnings else None,
                    waiting_for=item.waiting_for,
                )
                for item in items
            ],
            self.by,
        )

    def _copy_answers(self, twins: list[Item], first: dict[UUID, Item]) -> None:
        """The same mutation twice in one push."""
        others = []
        for item in twins:
            done = first[item.mutation.id]
            if done.fingerprint == item.fingerprint:
                item.status = Status.DUPLICATE if done.status == Status.APPLIED else done.status
                item.version, item.problem, item.record = done.version, done.problem, done.record
                item.warnings = done.warnings
            else:
                text = "This id stands for another mutation of the same push. Give each an id of its own."
                item.refuse(Conflict(text, code="mutation_id_reused"), Status.CONFLICT)
                others.append((item.mutation.id, as_text(item.mutation)))
            item.record_id = done.record_id
        if others:
            ledger.keep_besides(self.access.organization_id, others)

    def _show_record(self, item: Item, resource: Resource | None) -> None:
        if resource is not None and item.record_id is not None:
            show(item, resource, self._ever_visible(resource).filter(pk=item.record_id).first())

    def _ever_visible(self, resource: Resource) -> Any:
        return resource.model._default_manager.ever_visible_to(self.access)


def show(item: Item, resource: Resource, there: Record | None) -> None:
    """The server's record, as it is now; of a removed one only its version."""
    if there is not None:
        item.version = there.version
        item.record = resource.serializer.outward_record(there) if there.deleted_at is None else None
