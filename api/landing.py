"""Many new records of one kind from outside: what is right becomes records, what was there already is told apart, and
what is wrong is told row by row. Checked in sets: however many rows there are, the number of queries stays."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db import DataError, IntegrityError, transaction
from rest_framework.exceptions import ValidationError

from api.problems import problem_of
from api.quick_reader import quick_reader
from api.resources import Resource
from dryrecords.core.errors import DomainError, FieldError
from dryrecords.core.ids import new_id
from dryrecords.tenancy import bulk
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import explain

# What tells two records of a kind apart besides their ids: two tests of one moment may differ in what they showed.
NATURAL_KEY: dict[str, tuple[str, ...]] = {
    "customers": ("name",),
    "sites": ("name", "customer_id"),
    "tanks": ("name", "site_id"),
    "dryers": ("name", "site_id"),
    "bins": ("name", "site_id"),
    "meters": ("name", "serial_number"),
    "lots": ("name", "customer_id", "crop", "season"),
    "batches": ("started_at", "dryer_id"),
    # Two tickets of one number, or of one weighing, are for an audit to find.
    "tickets": ("delivered_at", "number", "buyer", "gross_lb", "tare_lb"),
    "readings": ("at", "batch_id"),
    "samples": ("taken_at", "batch_id", "bin_id", "ticket_id", "stage", "moisture_pct"),
    "fuel-readings": ("at", "tank_id"),
    "fuel-deliveries": ("at", "tank_id"),
    "power-readings": ("at", "dryer_id", "site_id"),
    "prices": ("effective_from", "kind", "crop", "site_id"),
    "rates": ("effective_from", "customer_id", "crop"),
    "settings": ("effective_from", "customer_id", "crop"),
    "schedules": ("effective_from", "buyer", "crop", "disposition"),
}

ID_TAKEN = FieldError("/id", "id_taken", "This id is already in use.")
THERE_OTHERWISE = FieldError(
    "/id", "id_taken", "A record of this id is there already, with other values. To correct it, PATCH the record."
)
CREATED, DUPLICATE, REFUSED = "created", "duplicate", "refused"


@dataclass(eq=False, slots=True)
class Row:
    """One row on its way, and what came of it."""

    number: int
    # What it says, as columns; and all columns, as attributes.
    values: dict[str, Any] = field(default_factory=dict)
    record: Any = None
    status: str = CREATED
    id: UUID | None = None
    errors: list[FieldError] = field(default_factory=list)

    def refuse(self, errors: Iterable[FieldError]) -> None:
        self.status, self.id = REFUSED, None
        self.errors += errors

    def is_already(self, record: Any) -> None:
        self.status, self.id = DUPLICATE, record.id


class Reader:
    """Validates bodies of one kind. The serializer is made once: making it costs more than a row."""

    def __init__(self, resource: Resource) -> None:
        self.serializer, self.quick = resource.serializer(), quick_reader(resource)

    def read(self, row: Row, body: Any) -> None:
        row.record = self.quick.of_body(body) if self.quick else None
        if row.record is not None:
            row.values = self.quick.given(row.record, body)
            return
        try:
            row.values = dict(self.serializer.run_validation(body))
        except (ValidationError, DomainError) as error:
            told = problem_of(error)
            row.refuse(FieldError(**each) for each in told["errors"])


def twin_of(access: Access, resource: Resource, body: Any) -> Record | None:
    """The record that already says what a body says, told by what it is about."""
    row = Row(0)
    Reader(resource).read(row, body)
    return None if row.status == REFUSED else Landing(access, resource).twin(row)


@dataclass
class Landing:
    """Lands rows of one kind. One landing remembers its rows, so that a file is not taken twice from itself."""

    access: Access
    resource: Resource
    # The same moment of the same thing with other figures is a contradiction, not a second record.
    key_is_unique: bool = False
    _landed: dict[Any, Any] = field(default_factory=dict)

    def land(self, rows: Sequence[Row]) -> None:
        """All that can be, in the caller's transaction."""
        self.access.must_write(self.resource.name)
        for row in rows:
            if row.status == CREATED:
                row.record = row.record or self._record(row.values, row.values.get("id") or new_id())
                row.id = row.record.id
        self._check_references(_open(rows))
        self._find_twins(_open(rows))
        left = _open(rows)
        # Only one write may stay in a transaction, or two of them could lock each other.
        if left and not self._lands(left) and (good := self._passing(left)):
            self._create(good)
        failed = {row.record.id: row for row in left if row.status == REFUSED}
        if failed:
            self._forget(failed, rows)

    def _forget(self, failed: Mapping[Any, Row], rows: Sequence[Row]) -> None:
        """What is the same as a row that was refused is refused like it."""
        for row in rows:
            if row.status == DUPLICATE and row.id in failed:
                row.refuse(failed[row.id].errors)
        self._landed = {key: record for key, record in self._landed.items() if record.id not in failed}

    def _record(self, values: Mapping[str, Any], record_id: UUID | None) -> Record:
        return self.resource.model(**{**values, "id": record_id, "organization_id": self.access.organization_id})

    def twin(self, row: Row) -> Record | None:
        row.record = row.record or self._record(row.values, None)
        there = self._with_keys([row.record]).get(self._key(row.record))
        return there if there is not None and _is_same(row, there) else None

    def _check_references(self, rows: Sequence[Row]) -> None:
        missing = bulk.missing_references(self.access, self.resource.model, [row.record for row in rows])
        for place, errors in missing.items():
            rows[place].refuse(error for error, _ in errors)

    def _find_twins(self, rows: Sequence[Row]) -> None:
        by_id = self._with_ids([row.id for row in rows if "id" in row.values])
        by_key = self._with_keys([row.record for row in rows if "id" not in row.values])
        for row in rows:
            if "id" in row.values:
                self._compare_ids(row, by_id.get(row.id))
                self._landed.setdefault(row.id, row.record)
            else:
                key = self._key(row.record)
                self._compare_keys(row, by_key.get(key) or self._landed.get(key))
                self._landed.setdefault(key, row.record)

    def _compare_ids(self, row: Row, there: Record | None) -> None:
        may_be_same = there is None or (
            there.organization_id == self.access.organization_id and there.deleted_at is None
        )
        holder = there or self._landed.get(row.id)
        if holder is None:
            return
        if may_be_same and _is_same(row, holder):
            row.is_already(holder)
        else:
            row.refuse([THERE_OTHERWISE if may_be_same else ID_TAKEN])

    def _compare_keys(self, row: Row, there: Any) -> None:
        if there is None:
            return
        if _is_same(row, there):
            row.is_already(there)
        elif self.key_is_unique:
            differing = [name for name, value in row.values.items() if not _equal(value, getattr(there, name))]
            text = f"Record {there.id} says something else of the same: {', '.join(map(self._outside, differing))}."
            row.refuse([FieldError(f"/{self._outside(differing[0])}", "differs", text)])

    def _with_ids(self, ids: Sequence[UUID]) -> dict[Any, Record]:
        """Of whatever organization, removed or not: an id is taken or it is not."""
        return {record.pk: record for record in self.resource.model._default_manager.filter(pk__in=ids)} if ids else {}

    def _with_keys(self, records: Sequence[Any]) -> dict[Any, Record]:
        if not records:
            return {}
        leading = NATURAL_KEY[self.resource.name][0]
        among = {f"{leading}__in": {getattr(record, leading) for record in records}}
        there = self.resource.model._default_manager.visible_to(self.access).filter(**among)
        return {self._key(record): record for record in there}

    def _key(self, record: Any) -> tuple[Any, ...]:
        return tuple(getattr(record, column) for column in NATURAL_KEY[self.resource.name])

    def _lands(self, rows: Sequence[Row]) -> bool:
        """If one breaks a rule that only the database or the domain can tell, none stays, not even a lock."""
        try:
            with transaction.atomic():
                self._create(rows)
        except (DomainError, IntegrityError, DataError) as error:
            if len(rows) == 1:
                rows[0].refuse(self._told(error))
            return False
        return True

    def _passing(self, rows: Sequence[Row]) -> list[Row]:
        """Those that would land, tried and undone: halved until it is known which."""
        if len(rows) < 2:
            # What does not land alone was refused.
            return []
        middle = len(rows) // 2
        passing = []
        for part in (rows[:middle], rows[middle:]):
            with transaction.atomic():
                lands = self._lands(part)
                transaction.set_rollback(True)
            passing += _open(part) if lands else self._passing(part)
        return passing

    def _create(self, rows: Sequence[Row]) -> None:
        completed = [dict(row.values) for row in rows]
        self.resource.writer.complete(self.access, completed, None)
        for row, values in zip(rows, completed, strict=True):
            if values != row.values:
                row.record = self._record(values, row.id)
        records = [row.record for row in rows]
        bulk.announce(self.access, self.resource.writer, records)
        taken = bulk.insert(self.access, self.resource.model, records)
        for row in rows if taken else ():
            if row.id in taken:
                # Another call was faster.
                row.refuse([ID_TAKEN])

    def _told(self, error: Exception) -> list[FieldError]:
        if isinstance(error, IntegrityError):
            error = explain(self.resource.model, error)
        if isinstance(error, DomainError):
            return error.errors or [FieldError("", error.code, error.detail)]
        return [FieldError("", "refused_by_database", "The database cannot keep one of the values.")]

    def _outside(self, column: str) -> str:
        return self.resource.serializer.name_of_column(column)


def _open(rows: Sequence[Row]) -> list[Row]:
    return [row for row in rows if row.status == CREATED]


def _is_same(row: Row, there: Any) -> bool:
    """In everything that the row says."""
    return all(_equal(value, getattr(there, name)) for name, value in row.values.items())


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        # Read in another unit, the same figure may differ in its last bits.
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_equal, one, other))
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_equal(one[name], other[name]) for name in one)
    return one == other
