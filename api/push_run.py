"""Applies the mutations of one sender: new records in bulk, parents before children, then what changes and goes.

Each kind of new records is one transaction with its entries in the ledger, each correction and removal one of its own:
the ledger makes a push that ended half-way safe to send again, so the whole of it need not be one.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import Any
from uuid import UUID

import orjson
from django.db import DataError, IntegrityError, transaction
from rest_framework.exceptions import ValidationError

from api.mutations import Row, as_text, quick_reader
from api.push_items import (
    BY_NAME,
    ORDER,
    Item,
    check_envelope,
    fields_ahead,
    future_warnings,
    id_in,
    kind_of,
    turn_of,
    validated,
)
from api.rendering import dumps
from api.resources import Resource
from dryrecords.core import clock
from dryrecords.core.errors import Conflict, DomainError, FieldError, Invalid, NotFound, VersionMismatch
from dryrecords.journal import ledger
from dryrecords.journal.ledger import Claimed, Settled, Status
from dryrecords.journal.models import Mutation as Entry
from dryrecords.tenancy import bulk
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import explain

# Clocks of devices differ by so much without anybody noticing.
AHEAD = timedelta(minutes=5)


class Run:
    """Applies mutations of one sender."""

    def __init__(self, access: Access, push_id: int, ends_at: float = float("inf"), by: str = "") -> None:
        self.access, self.push_id, self.ends_at, self.by = access, push_id, ends_at, by
        self.horizon = clock.now() + AHEAD
        # Ids of new records that others may wait for.
        self.created: set[UUID] = set()

    def apply(self, items: Sequence[Item]) -> None:
        first: dict[UUID, Item] = {}
        twins = [item for item in items if first.setdefault(item.mutation.id, item) is not item]
        refused, creates, changes = [], {}, []
        for item in first.values():
            if not self._is_understood(item):
                refused.append(item)
            elif item.mutation.op == "create":
                creates.setdefault(item.mutation.resource, []).append(item)
            else:
                changes.append(item)
        self._refuse_all(refused)
        for name in sorted(creates, key=ORDER.__getitem__):
            self._create_all(BY_NAME[name], creates[name])
        for item in sorted(self._not_final(changes), key=turn_of):
            self._change(item)
        self._copy_answers(twins, first)

    # What was answered before, or cannot be understood.

    def _not_final(self, items: list[Item]) -> list[Item]:
        before = ledger.known(self.access.organization_id, [item.mutation.id for item in items])
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

    def _is_understood(self, item: Item) -> bool:
        mutation = item.mutation
        if mutation.op != "create":
            item.record_id = item.record_id or id_in(mutation)
        try:
            check_envelope(item)
            self.access.must_write(mutation.resource)
            if time.monotonic() > self.ends_at:
                raise _late()
        except DomainError as error:
            item.refuse(error, within="")
        return item.problem is None

    def _refuse_all(self, items: list[Item]) -> None:
        kinds: dict[tuple[str, str], list[Item]] = {}
        for item in items:
            kinds.setdefault(kind_of(item), []).append(item)
        for group in kinds.values():
            with transaction.atomic():
                self._settle(self._claim(group))

    # New records.

    def _create_all(self, resource: Resource, items: list[Item]) -> None:
        for item in items:
            self._read(resource, item)
        with transaction.atomic():
            self._check_references(resource, items)
            self._complete(resource, items)
            ours = self._claim(items)
            self._settle([item for item in ours if item.problem])
            fitting = [item for item in ours if item.row is not None]
            if fitting:
                bulk.announce(self.access, resource.writer, [item.row.values for item in fitting])
                for items_of_different_records in _first_and_others(fitting):
                    self._insert(resource, items_of_different_records)

    def _read(self, resource: Resource, item: Item) -> None:
        if time.monotonic() > self.ends_at:
            item.refuse(_late())
            return
        quick = quick_reader(resource.serializer)
        item.row = quick(item.mutation.record, self.horizon) if quick else None
        if item.row is None:
            try:
                item.values = validated(resource, item.mutation)
                record = resource.model(**item.values)
                item.row = Row(record, fields_ahead(resource, item.values, self.horizon))
            except (DomainError, ValidationError) as error:
                item.refuse(error)
                return
        if item.row.ahead:
            item.warnings = future_warnings(item.row.ahead)
        if item.record_id is not None:
            # Made here when it came first.
            item.row.values.id = item.record_id
        item.record_id, item.version = item.row.values.id, 1

    def _check_references(self, resource: Resource, items: list[Item]) -> None:
        read = [item for item in items if item.row is not None]
        missing = bulk.missing_references(self.access, resource.model, [item.row.values for item in read])
        for place, errors in missing.items():
            read[place].waiting_for = [wanted for _, wanted in errors]
            read[place].refuse(Invalid(errors[0][0].detail, errors=[error for error, _ in errors]))

    def _complete(self, resource: Resource, items: list[Item]) -> None:
        read = [item for item in items if item.row is not None and item.values is not None]
        resource.writer.complete(self.access, [item.values for item in read], None)
        for item in read:
            for column, value in item.values.items():
                setattr(item.row.values, column, value)

    def _insert(self, resource: Resource, items: list[Item]) -> None:
        try:
            with transaction.atomic():
                taken = bulk.insert(self.access, resource.model, [item.row.values for item in items])
        except (IntegrityError, DataError) as error:
            if len(items) > 1:
                # Some break a rule that only the database can tell; halving finds them.
                self._insert(resource, items[: len(items) // 2])
                self._insert(resource, items[len(items) // 2 :])
            else:
                items[0].refuse(_explained(resource, error))
                self._settle(items)
            return
        if bulk.is_referred_to(resource.model):
            self.created |= {item.record_id for item in items} - taken
        self._meet_others(resource, [item for item in items if item.record_id in taken] if taken else [])
        self._settle([item for item in items if item.status != Status.APPLIED or item.seen or item.warnings])

    def _meet_others(self, resource: Resource, items: list[Item]) -> None:
        """Ids that are taken: by the same record, sent under another mutation, or by one that differs."""
        if not items:
            return
        visible = resource.model._default_manager.ever_visible_to(self.access)
        found = visible.in_bulk([item.record_id for item in items])
        for item in items:
            there = found.get(item.record_id)
            if there is not None and there.deleted_at is None and _is_same(resource, item.row.values, there):
                item.as_duplicate(there.pk, there.version)
                continue
            text = "There is another record with this id."
            taken = Conflict(text, code="id_taken", errors=[FieldError("/id", "id_taken", text)])
            item.refuse(taken, Status.HELD if there is None else Status.CONFLICT)
            _show(item, resource, there)

    # Corrections and removals.

    def _change(self, item: Item) -> None:
        with transaction.atomic():
            if not self._claim([item]):
                return
            try:
                with transaction.atomic():
                    if time.monotonic() > self.ends_at:
                        raise _late()
                    self._correct(item) if item.mutation.op == "update" else self._remove(item)
            except VersionMismatch as error:
                item.refuse(error, Status.CONFLICT)
                self._show_record(item, item.resource)
            except NotFound as error:
                self._not_there(item, error)
            except (DomainError, ValidationError) as error:
                item.refuse(error)
            except (IntegrityError, DataError) as error:
                item.refuse(_explained(item.resource, error))
            self._settle([item])

    def _correct(self, item: Item) -> None:
        resource, version = item.resource, item.mutation.base_version
        there = resource.model._default_manager.visible_to(self.access).filter(pk=item.record_id).first()
        if there is None:
            raise NotFound()
        values = validated(resource, item.mutation, there)
        if (
            version is not None
            and there.version != version
            and all(getattr(there, column) == value for column, value in values.items())
        ):
            item.as_duplicate(there.pk, there.version)
            return
        try:
            item.version = resource.writer.correct(self.access, item.record_id, values, version=version).version
        except Invalid as error:
            item.waiting_for = [
                values[resource.model._meta.get_field(each.pointer[1:]).attname]
                for each in error.errors
                if each.code == "unknown_reference"
            ]
            raise
        item.warnings = future_warnings(fields_ahead(resource, values, self.horizon))

    def _remove(self, item: Item) -> None:
        item.resource.writer.remove(self.access, item.record_id, version=item.mutation.base_version)
        item.version = self._tombstone(item).version

    def _tombstone(self, item: Item) -> Record | None:
        found: Record | None = (
            item.resource.model._default_manager.ever_visible_to(self.access).filter(pk=item.record_id).first()
        )
        return found

    def _not_there(self, item: Item, error: NotFound) -> None:
        there = self._tombstone(item)
        if there is None:
            item.refuse(error)
            item.waiting_for = [item.record_id]
        elif item.mutation.op == "delete":
            item.as_duplicate(there.pk, there.version)
        else:
            item.refuse(Conflict("The record was removed meanwhile.", code="record_removed"), Status.CONFLICT)
            item.version = there.version

    # The ledger.

    def _claim(self, items: list[Item]) -> list[Item]:
        """Those of one kind that are ours to apply; with the others a twin on another connection was faster."""
        sent = [Claimed(item.mutation.id, item.fingerprint, item.record_id) for item in items]
        before = ledger.claim(self.access.organization_id, self.push_id, *kind_of(items[0]), sent)
        ours, others = [], []
        for item in items:
            entry = before.get(item.mutation.id)
            item.seen = entry is not None
            if entry is None or entry.status in ledger.OPEN:
                ours.append(item)
            elif self._answer_again(item, entry):
                others.append((item.mutation.id, as_text(item.mutation)))
        if others:
            ledger.keep_besides(self.access.organization_id, others)
        return ours

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
            visible = resource.model._default_manager.ever_visible_to(self.access)
            _show(item, resource, visible.filter(pk=item.record_id).first())


def _first_and_others(items: list[Item]) -> list[list[Item]]:
    """Of mutations that make the same record the first one goes before the others."""
    first: dict[UUID | None, Item] = {}
    others = [item for item in items if first.setdefault(item.record_id, item) is not item]
    return [list(first.values()), others] if others else [items]


def _is_same(resource: Resource, wanted: Any, there: Record) -> bool:
    columns = set(resource.serializer.columns()) - {"version", "created_at", "updated_at"}
    return all(getattr(there, column) == getattr(wanted, column) for column in columns)


def _show(item: Item, resource: Resource, there: Record | None) -> None:
    """The server's record, as it is now; of a removed one only its version."""
    if there is not None:
        item.version = there.version
        item.record = resource.serializer.outward_record(there) if there.deleted_at is None else None


def _late() -> Conflict:
    return Conflict("The time for one push was over before its turn came. Send it again.", code="out_of_time")


def _explained(resource: Resource, error: Exception) -> DomainError:
    if isinstance(error, IntegrityError):
        return explain(resource.model, error)
    return Invalid("The database cannot keep one of the values.", code="refused_by_database")
