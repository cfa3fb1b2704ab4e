"""Applies the mutations of one sender: new records in bulk, parents before children, then what changes and goes.

New records of a kind are one transaction with their entries in the ledger, so are corrections of different records of
a kind, and each removal. The ledger makes a push that ended half-way safe to send again, so the whole need not be one.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db import DataError, IntegrityError, transaction
from rest_framework.exceptions import ValidationError

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
from api.push_ledger import WithLedger, show
from api.quick_reader import quick_reader
from api.resources import Resource
from dryrecords.core import clock
from dryrecords.core.errors import Conflict, DomainError, FieldError, Invalid, NotFound, VersionMismatch
from dryrecords.journal.ledger import Status
from dryrecords.tenancy import bulk
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import explain

# Clocks of devices differ by so much without anybody noticing.
AHEAD = timedelta(minutes=5)


class Run(WithLedger):
    """Applies mutations of one sender."""

    def __init__(self, access: Access, push_id: int, ends_at: float = float("inf"), by: str = "") -> None:
        super().__init__(access, push_id, by)
        self.ends_at = ends_at
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
        self._change_all(self._not_final(changes))
        self._copy_answers(twins, first)

    def settle_as_there(self, item: Item, twin: Record) -> None:
        with transaction.atomic():
            for ours in self._claim([item]):
                ours.as_duplicate(twin.pk, twin.version)
                self._settle([ours])

    # What cannot be understood.

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
            ours = self._claim(items)
            self._check_references(resource, ours)
            self._complete(resource, ours)
            self._settle([item for item in ours if item.problem])
            fitting = [item for item in ours if item.row is not None]
            if fitting:
                bulk.announce(self.access, resource.writer, [item.row for item in fitting])
                for items_of_different_records in _first_and_others(fitting):
                    self._insert(resource, items_of_different_records)

    def _read(self, resource: Resource, item: Item) -> None:
        if time.monotonic() > self.ends_at:
            item.refuse(_late())
            return
        quick = quick_reader(resource)
        item.row = quick.of_text(item.mutation.record) if quick else None
        if item.row is None:
            try:
                item.values = validated(resource, item.mutation)
                item.row = resource.model(**item.values)
            except (DomainError, ValidationError) as error:
                item.refuse(error)
                return
        item.warnings = future_warnings(fields_ahead(resource, item.row, self.horizon))
        if item.record_id is not None:
            # Made here when it came first.
            item.row.id = item.record_id
        item.record_id, item.version = item.row.id, 1

    def _check_references(self, resource: Resource, items: list[Item]) -> None:
        read = [item for item in items if item.row is not None]
        missing = bulk.missing_references(self.access, resource.model, [item.row for item in read])
        for place, errors in missing.items():
            self._let_wait(read[place], errors)

    def _let_wait(self, item: Item, missing: list[tuple[FieldError, UUID]]) -> None:
        item.waiting_for = [wanted for _, wanted in missing]
        item.refuse(Invalid(missing[0][0].detail, errors=[error for error, _ in missing]))

    def _complete(self, resource: Resource, items: list[Item]) -> None:
        read = [item for item in items if item.row is not None and item.values is not None]
        try:
            resource.writer.complete(self.access, [item.values for item in read], None)
        except DomainError as error:
            if len(read) == 1:
                read[0].refuse(error)
            else:
                # Some are refused; halving finds them.
                self._complete(resource, read[: len(read) // 2])
                self._complete(resource, read[len(read) // 2 :])
            return
        for item in read:
            for column, value in item.values.items():
                setattr(item.row, column, value)

    def _insert(self, resource: Resource, items: list[Item]) -> None:
        try:
            with transaction.atomic():
                taken = bulk.insert(self.access, resource.model, [item.row for item in items])
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
        found = self._ever_visible(resource).in_bulk([item.record_id for item in items])
        for item in items:
            there = found.get(item.record_id)
            if there is not None and there.deleted_at is None and _is_same(resource, item.row, there):
                item.as_duplicate(there.pk, there.version)
                continue
            text = "There is another record with this id."
            taken = Conflict(text, code="id_taken", errors=[FieldError("/id", "id_taken", text)])
            item.refuse(taken, Status.HELD if there is None else Status.CONFLICT)
            show(item, resource, there)

    # Corrections and removals.

    def _change_all(self, items: list[Item]) -> None:
        """Corrections of different records of one kind go together, everything else goes one by one."""
        together: list[Item] = []
        ids: set[UUID | None] = set()
        for item in sorted(items, key=turn_of):
            fits = item.mutation.op == "update" and (not together or together[0].resource is item.resource)
            if not fits or item.record_id in ids:
                self._correct_all(together)
                together, ids = [], set()
            if item.mutation.op == "update":
                together.append(item)
                ids.add(item.record_id)
            else:
                self._change(item)
        self._correct_all(together)

    def _correct_all(self, items: list[Item]) -> None:
        if not items:
            return
        if time.monotonic() > self.ends_at:
            for item in items:
                item.refuse(_late())
            self._refuse_all(items)
            return
        try:
            with transaction.atomic():
                self._correct_together(items[0].resource, self._claim(items))
        except bulk.ChangesHands as error:
            alone = [item for item in items if item.record_id in error.ids]
        except (IntegrityError, DataError):
            # One of them breaks a rule that only the database can tell.
            alone = items
        else:
            return
        for item in items:
            item.start_over()
        self._correct_all([item for item in items if item not in alone])
        for item in alone:
            self._change(item)

    def _correct_together(self, resource: Resource, items: list[Item]) -> None:
        rows = self._ever_visible(resource).filter(pk__in=[item.record_id for item in items]).order_by("pk")
        there = {record.pk: record for record in rows.select_for_update(of=("self",), no_key=True)}
        changes: list[tuple[Item, dict[str, Any]]] = []
        for item in items:
            record = there.get(item.record_id)
            try:
                values = self._values(item, record)
            except (DomainError, ValidationError) as error:
                self._refuse(item, error, record)
            else:
                changes += [] if values is None else [(item, values)]
        self._check_changed_references(resource, changes)
        for item, values in changes:
            if item.problem is None:
                try:
                    resource.writer.complete(self.access, [values], there[item.record_id])
                except DomainError as error:
                    item.refuse(error)
        fitting = [(item, values) for item, values in changes if item.problem is None]
        bulk.correct(self.access, resource.writer, [(there[item.record_id], values) for item, values in fitting])
        for item, values in fitting:
            item.version = there[item.record_id].version
            item.warnings = future_warnings(fields_ahead(resource, _Changed(values), self.horizon))
        self._settle(items)

    def _check_changed_references(self, resource: Resource, changes: list[tuple[Item, dict[str, Any]]]) -> None:
        # The rows are locked, so what they are to refer to cannot be any more; who goes alone locks it first.
        changed = [_Changed(values) for _, values in changes]
        missing = bulk.missing_references(self.access, resource.model, changed, staying=False)
        for place, errors in missing.items():
            self._let_wait(changes[place][0], errors)

    def _change(self, item: Item) -> None:
        with transaction.atomic():
            if not self._claim([item]):
                return
            try:
                with transaction.atomic():
                    if time.monotonic() > self.ends_at:
                        raise _late()
                    self._correct(item) if item.mutation.op == "update" else self._remove(item)
            except (DomainError, ValidationError, IntegrityError, DataError) as error:
                self._refuse(item, error, self._there(item))
            self._settle([item])

    def _correct(self, item: Item) -> None:
        resource = item.resource
        values = self._values(item, self._there(item))
        if values is None:
            return
        self._check_changed_references(resource, [(item, values)])
        if item.problem is None:
            corrected = resource.writer.correct(self.access, item.record_id, values, version=item.mutation.base_version)
            item.version = corrected.version
            item.warnings = future_warnings(fields_ahead(resource, _Changed(values), self.horizon))

    def _values(self, item: Item, there: Record | None) -> dict[str, Any] | None:
        """The columns to change; None if they had been changed so before."""
        if there is None or there.deleted_at is not None:
            raise NotFound()
        values = validated(item.resource, item.mutation, there)
        if item.mutation.base_version in (None, there.version):
            return values
        if any(getattr(there, column) != value for column, value in values.items()):
            raise VersionMismatch()
        item.as_duplicate(there.pk, there.version)
        return None

    def _remove(self, item: Item) -> None:
        item.resource.writer.remove(self.access, item.record_id, version=item.mutation.base_version)
        item.version = self._there(item).version

    def _refuse(self, item: Item, error: Exception, there: Record | None) -> None:
        if isinstance(error, VersionMismatch):
            item.refuse(error, Status.CONFLICT)
            show(item, item.resource, there)
        elif isinstance(error, NotFound):
            self._not_there(item, error, there)
        elif isinstance(error, IntegrityError | DataError):
            item.refuse(_explained(item.resource, error))
        else:
            item.refuse(error)

    def _not_there(self, item: Item, error: NotFound, there: Record | None) -> None:
        if there is None:
            item.refuse(error)
            item.waiting_for = [item.record_id]
        elif item.mutation.op == "delete":
            item.as_duplicate(there.pk, there.version)
        else:
            item.refuse(Conflict("The record was removed meanwhile.", code="record_removed"), Status.CONFLICT)
            item.version = there.version

    def _there(self, item: Item) -> Record | None:
        """The record, removed or not."""
        found: Record | None = self._ever_visible(item.resource).filter(pk=item.record_id).first()
        return found


class _Changed:
    """Changed columns as attributes; the others are as if they were empty."""

    def __init__(self, values: dict[str, Any]) -> None:
        self.__dict__ = values

    def __getattr__(self, name: str) -> None:
        return None


def _first_and_others(items: list[Item]) -> list[list[Item]]:
    """Of mutations that make the same record the first one goes before the others."""
    first: dict[UUID | None, Item] = {}
    others = [item for item in items if first.setdefault(item.record_id, item) is not item]
    return [list(first.values()), others] if others else [items]


def _is_same(resource: Resource, wanted: Any, there: Record) -> bool:
    columns = set(resource.serializer.columns()) - {"version", "created_at", "updated_at"}
    return all(getattr(there, column) == getattr(wanted, column) for column in columns)


def _late() -> Conflict:
    return Conflict("The time for one push was over before its turn came. Send it again.", code="out_of_time")


def _explained(resource: Resource, error: Exception) -> DomainError:
    if isinstance(error, IntegrityError):
        return explain(resource.model, error)
    return Invalid("The database cannot keep one of the values.", code="refused_by_database")
