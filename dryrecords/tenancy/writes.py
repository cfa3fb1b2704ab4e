"""How a record is created, corrected and removed: references through the scope, version, trail, one transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Any, Generic, TypeVar, cast
from uuid import UUID

from django.db import IntegrityError, models, transaction

from dryrecords.core import clock
from dryrecords.core.errors import (
    Conflict,
    DomainError,
    FieldError,
    Invalid,
    NotFound,
    VersionMismatch,
    invalid,
)
from dryrecords.journal.models import Change
from dryrecords.journal.stale import Mark
from dryrecords.journal.trail import Entry, leave_trail
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.records import Record

R = TypeVar("R", bound=Record)
# What a write makes stale, from the record before and after it.
MarksOf = Callable[[Any, Any], Iterable[Mark]]


def no_marks(before: Record | None, after: Record | None) -> list[Mark]:
    return []


def nothing_to_add(access: Access, rows: Sequence[dict[str, Any]], record: Any) -> None:
    return None


@dataclass(frozen=True)
class Writer(Generic[R]):
    """Every write to one kind of record. Values are column values; references are ids."""

    model: type[R]
    marks_of: MarksOf = no_marks
    # Fills in columns that follow from others, for new rows or for the changes to one record.
    complete: Callable[[Access, Sequence[dict[str, Any]], Any], None] = nothing_to_add

    def create(self, access: Access, row: Mapping[str, Any]) -> R:
        return self.create_many(access, [row])[0]

    def create_many(self, access: Access, rows: Sequence[Mapping[str, Any]]) -> list[R]:
        """All or none, in one transaction."""
        access.must_write(self.model.resource)
        _check_references(access, self.model, rows)
        completed = [dict(row) for row in rows]
        self.complete(access, completed, None)
        moment = clock.now()
        stamp = {"organization_id": access.organization_id, "created_at": moment, "updated_at": moment}
        records = [self.model(**row, **stamp) for row in completed]
        with _explained(self.model), transaction.atomic():
            self.model._default_manager.bulk_create(records, batch_size=2000)
            leave_trail(
                access.organization_id,
                access.actor,
                [_entry(record, Change.Operation.CREATE, None, record.snapshot()) for record in records],
                [mark for record in records for mark in self.marks_of(None, record)],
            )
        return records

    def correct(self, access: Access, record_id: UUID, changes: Mapping[str, Any], *, version: int | None = None) -> R:
        """Change columns of one record. With `version`, only if it is still the one the caller read."""
        access.must_write(self.model.resource)
        with _explained(self.model), transaction.atomic():
            record = lock(access, self.model, record_id, version)
            _check_references(access, self.model, [changes])
            completed = dict(changes)
            self.complete(access, [completed], record)
            changed = [name for name, value in completed.items() if getattr(record, name) != value]
            if not changed:
                return record
            was = copy(record)
            before = record.snapshot()
            for name in changed:
                setattr(record, name, completed[name])
            record.version += 1
            record.updated_at = clock.now()
            record.save(update_fields=[*changed, "version", "updated_at"])
            leave_trail(
                access.organization_id,
                access.actor,
                [_entry(record, Change.Operation.UPDATE, before, record.snapshot())],
                list(self.marks_of(was, record)),
            )
        return record

    def remove(self, access: Access, record_id: UUID, *, version: int | None = None) -> None:
        """Soft delete: the record and the children that are part of it leave every list; the trail keeps them."""
        access.must_write(self.model.resource)
        with transaction.atomic():
            record = lock(access, self.model, record_id, version)
            gone: list[Record] = [*_children_to_go(record), record]
            entries = [_bury(item) for item in gone]
            for kind in {type(item) for item in gone}:
                kind._default_manager.bulk_update(
                    [i for i in gone if type(i) is kind],
                    ["deleted_at", "updated_at", "version"],
                    batch_size=2000,
                )
            leave_trail(access.organization_id, access.actor, entries, list(self.marks_of(record, None)))


def _bury(record: Record) -> Entry:
    before = record.snapshot()
    record.deleted_at = record.updated_at = clock.now()
    record.version += 1
    return _entry(record, Change.Operation.DELETE, before, None)


def lock(access: Access, model: type[R], record_id: UUID, version: int | None = None) -> R:
    """The door for writing: the record, locked, if it is visible and still at the version the caller read."""
    visible = model._default_manager.visible_to(access).filter(pk=record_id)
    record = cast("R | None", visible.select_for_update(of=("self",)).first())
    if record is None:
        raise NotFound()
    if version is not None and record.version != version:
        raise VersionMismatch()
    return record


def get(access: Access, model: type[R], record_id: UUID) -> R:
    """The door for reading."""
    record = cast("R | None", model._default_manager.visible_to(access).filter(pk=record_id).first())
    if record is None:
        raise NotFound()
    return record


def _entry(record: Record, operation: str, before: Any, after: Any) -> Entry:
    return Entry(record.resource, record.pk, record.version, operation, before, after)


def _check_references(access: Access, model: type[Record], rows: Sequence[Mapping[str, Any]]) -> None:
    """Ids inside bodies go through the same scope as ids in paths."""
    errors = []
    for field in model._meta.concrete_fields:
        target = field.related_model
        if not (isinstance(field, models.ForeignKey) and isinstance(target, type) and issubclass(target, Record)):
            continue
        wanted = {row[field.attname] for row in rows if row.get(field.attname) is not None}
        if not wanted:
            continue
        known = set(target._default_manager.visible_to(access).filter(pk__in=wanted).values_list("pk", flat=True))
        errors += [
            FieldError(f"/{field.name}", "unknown_reference", f"There is no {field.name} {missing}.")
            for missing in wanted - known
        ]
    if errors:
        raise Invalid(errors[0].detail, errors=errors)


def _children_to_go(record: Record) -> list[Record]:
    gone: list[Record] = []
    for relation in record._meta.related_objects:
        child = relation.related_model
        if not (isinstance(child, type) and issubclass(child, Record)):
            continue
        held = child._default_manager.filter(**{relation.field.name: record}, deleted_at__isnull=True)
        if child.removed_with == relation.field.name:
            gone += held.select_for_update(of=("self",))
        elif held.exists():
            raise Conflict(
                f"This record is still used by {child.resource}. Remove or move those first.",
                code="still_used",
            )
    return gone


class _explained:
    """Turns a broken database constraint into the sentence that the constraint carries."""

    def __init__(self, model: type[Record]) -> None:
        self.model = model

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: object) -> None:
        if isinstance(error, IntegrityError):
            raise explain(self.model, error) from error


def explain(model: type[Record], error: IntegrityError) -> DomainError:
    """Say which value a constraint refused, and why."""
    name = getattr(getattr(error.__cause__, "diag", None), "constraint_name", None) or ""
    if name == f"{model._meta.db_table}_pkey":
        return Conflict("This id is already in use.", code="id_taken", errors=[FieldError("/id", "id_taken", "taken")])
    for constraint in model._meta.constraints:
        if constraint.name == name:
            field, _, detail = str(constraint.violation_error_message).partition("|")
            if isinstance(constraint, models.UniqueConstraint):
                text = f"{field} {detail}"
                return Conflict(text, code="already_there", errors=[FieldError(f"/{field}", "already_there", text)])
            return invalid(f"/{field}", constraint.violation_error_code or "invalid", f"{field} {detail}")
    return invalid("", "refused_by_database", f"The database refused the values ({name or 'unknown rule'}).")
