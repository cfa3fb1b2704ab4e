"""How a record is created, corrected, removed and restored: references through the scope, version, trail, all or none.

Every transaction keeps one order: lock rows, parents before children; raise marks; write. See `leave_trail`. The rows
that others refer to are locked too, shared: otherwise one could be removed between the look and the reference.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Generic, TypeVar, cast
from uuid import UUID

from django.apps import apps
from django.contrib.postgres.constraints import ExclusionConstraint
from django.db import IntegrityError, connection, models, transaction
from django.db.models import F

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
from dryrecords.journal.stale import Mark
from dryrecords.journal.trail import leave_trail, tell_who_is_left
from dryrecords.tenancy import moves
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.records import Record

R = TypeVar("R", bound=Record)
# What a write makes stale, from the record before and after it.
MarksOf = Callable[[Any, Any], Iterable[Mark]]
# Kinds of records and ids of each.
Rows = list[tuple[type[Record], list[UUID]]]


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
        with _explained(self.model), transaction.atomic():
            _check_references(access, self.model, rows)
            completed = [dict(row) for row in rows]
            self.complete(access, completed, None)
            moment = clock.now()
            stamp = {"organization_id": access.organization_id, "created_at": moment, "updated_at": moment}
            records = [self.model(**row, **stamp) for row in completed]
            marks = [mark for record in records for mark in self.marks_of(None, record)]
            leave_trail(access.organization_id, access.actor, marks)
            self.model._default_manager.bulk_create(records, batch_size=2000)
        return records

    def correct(self, access: Access, record_id: UUID, changes: Mapping[str, Any], *, version: int | None = None) -> R:
        """Change columns of one record. With `version`, only if it is still the one the caller read."""
        access.must_write(self.model.resource)
        with _explained(self.model), transaction.atomic():
            _check_references(access, self.model, [changes])
            record = lock(access, self.model, record_id, version)
            completed = dict(changes)
            self.complete(access, [completed], record)
            changed = [name for name, value in completed.items() if getattr(record, name) != value]
            if not changed:
                return record
            was = copy(record)
            for name in changed:
                setattr(record, name, completed[name])
            record.version += 1
            record.updated_at = clock.now()
            changes_hands = moves.decides_customer(self.model, changed)
            followers = moves.followers(was) if changes_hands else {}
            leave_trail(access.organization_id, access.actor, self.marks_of(was, record))
            if changes_hands:
                tell_who_is_left(moves.customer_of(was) or access.organization_id)
            record.save(update_fields=[*changed, "version", "updated_at"])
            if changes_hands:
                moves.write_anew(followers, access.organization_id)
                tell_who_is_left(None)
        return record

    def remove(self, access: Access, record_id: UUID, *, version: int | None = None) -> None:
        """Soft delete: the record and the children that are part of it leave every list; the trail keeps them."""
        access.must_write(self.model.resource)
        with transaction.atomic():
            record = lock(access, self.model, record_id, version)
            gone: Rows = [*_children_to_go(record), (self.model, [record.pk])]
            leave_trail(access.organization_id, access.actor, self.marks_of(record, None))
            _write_deleted_at(gone, clock.now())

    def restore(self, access: Access, record_id: UUID, *, version: int | None = None) -> R:
        """Take a removal back, with the children that went with the record. One that is there is left as it is."""
        access.must_write(self.model.resource)
        with _explained(self.model), transaction.atomic():
            # Parents are locked first. While it is removed nobody gives it others.
            found = self.model._default_manager.ever_visible_to(access).filter(pk=record_id).first()
            if found is not None and found.deleted_at is not None:
                _check_parents_are_there(access, found)
            record = lock(access, self.model, record_id, version, removed=True)
            if record.deleted_at is None:
                return record
            back: Rows = [*_children_to_come_back(record), (self.model, [record.pk])]
            leave_trail(access.organization_id, access.actor, self.marks_of(record, record))
            _write_deleted_at(back, None)
        record.refresh_from_db()
        return record


def _write_deleted_at(rows: Rows, deleted_at: datetime | None) -> None:
    moment = deleted_at or clock.now()
    for model, ids in rows:
        model._default_manager.filter(pk__in=ids).update(
            deleted_at=deleted_at, updated_at=moment, version=F("version") + 1
        )


def lock(access: Access, model: type[R], record_id: UUID, version: int | None = None, *, removed: bool = False) -> R:
    """The door for writing: the record, locked, if it is visible and still at the version the caller read."""
    records = model._default_manager
    visible = records.ever_visible_to(access) if removed else records.visible_to(access)
    # Not FOR UPDATE: that would hold up, and so deadlock with, whoever adds a child while holding its marks.
    locked = visible.filter(pk=record_id).select_for_update(of=("self",), no_key=True)
    record = cast("R | None", locked.first())
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


def _check_references(access: Access, model: type[Record], rows: Sequence[Mapping[str, Any]]) -> None:
    """Ids inside bodies go through the same scope as ids in paths."""
    errors = []
    for name, column, target in references(model):
        wanted = {row[column] for row in rows if row.get(column) is not None}
        if wanted:
            errors += [
                FieldError(f"/{name}", "unknown_reference", f"There is no {name} {missing}.")
                for missing in wanted - there_to_stay(target._default_manager.visible_to(access).filter(pk__in=wanted))
            ]
    if errors:
        raise Invalid(errors[0].detail, errors=errors)


@cache
def references(model: type[Record]) -> tuple[tuple[str, str, type[Record]], ...]:
    """Name, column and kind of every record that this kind refers to, in the order in which they are locked."""
    found = [
        (field.name, field.attname, field.related_model)
        for field in model._meta.concrete_fields
        if isinstance(field, models.ForeignKey)
        and isinstance(field.related_model, type)
        and issubclass(field.related_model, Record)
    ]
    kinds = list(apps.get_models())
    return tuple(sorted(found, key=lambda reference: kinds.index(reference[2])))


def there_to_stay(records: models.QuerySet[Any]) -> set[UUID]:
    """Ids of those that are there, and until we commit are neither removed nor handed over."""
    # Django knows no FOR SHARE.
    sql, parameters = records.order_by("pk").values_list("pk").query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(f'{sql} FOR SHARE OF "{records.model._meta.db_table}"', parameters)
        return {row[0] for row in cursor.fetchall()}


def _check_parents_are_there(access: Access, record: Record) -> None:
    values = {field.attname: getattr(record, field.attname) for field in record._meta.concrete_fields}
    try:
        _check_references(access, type(record), [values])
    except Invalid as gone:
        detail = "What this record belongs to was removed itself. Restore that first."
        raise Conflict(detail, code="parent_removed", errors=gone.errors) from gone


def _children_to_go(record: Record) -> Rows:
    gone: Rows = []
    for child, held, goes_along in _children(record):
        live = held.filter(deleted_at__isnull=True)
        if goes_along:
            gone.append((child, _locked_ids(live)))
        elif live.exists():
            raise Conflict(
                f"This record is still used by {child.resource}. Remove or move those first.",
                code="still_used",
            )
    return gone


def _children_to_come_back(record: Record) -> Rows:
    """Those that went at the same moment; one that was removed before stays removed."""
    return [
        (child, _locked_ids(held.filter(deleted_at=record.deleted_at)))
        for child, held, goes_along in _children(record)
        if goes_along
    ]


def _children(record: Record) -> Iterator[tuple[type[Record], models.QuerySet[Any], bool]]:
    """Kinds of records that refer to this one, those that do, and whether they are part of it."""
    for relation in record._meta.related_objects:
        child = relation.related_model
        if isinstance(child, type) and issubclass(child, Record):
            held = child._default_manager.filter(**{relation.field.name: record})
            yield child, held, relation.field.name in child.removed_with


def _locked_ids(records: models.QuerySet[Any]) -> list[UUID]:
    return list(records.select_for_update(of=("self",), no_key=True).order_by("pk").values_list("pk", flat=True))


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
            if isinstance(constraint, models.UniqueConstraint | ExclusionConstraint):
                text, code = f"{field} {detail}", constraint.violation_error_code or "already_there"
                return Conflict(text, code=code, errors=[FieldError(f"/{field}", code, text)])
            return invalid(f"/{field}", constraint.violation_error_code or "invalid", f"{field} {detail}")
    return invalid("", "refused_by_database", f"The database refused the values ({name or 'unknown rule'}).")
