"""Thousands of records of one kind at once, new ones by COPY: the same rules, marks and history as by a `Writer`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from functools import cache
from operator import attrgetter
from typing import Any
from uuid import UUID

from django.db import connection, models
from django.db.models.expressions import RawSQL
from psycopg import sql
from psycopg.types.json import Jsonb

from dryrecords.core import clock
from dryrecords.core.errors import FieldError
from dryrecords.journal.stale import Mark
from dryrecords.journal.trail import leave_trail
from dryrecords.tenancy import moves
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import Writer, references, there_to_stay

# Set by the writer, the same for every row.
STAMPED = ("organization_id", "version", "created_at", "updated_at", "deleted_at")


@cache
def columns_given(model: type[Record]) -> tuple[str, ...]:
    return tuple(field.attname for field in model._meta.concrete_fields if field.attname not in STAMPED)


@cache
def is_referred_to(model: type[Record]) -> bool:
    return any(
        isinstance(relation.related_model, type) and issubclass(relation.related_model, Record)
        for relation in model._meta.related_objects
    )


def missing_references(
    access: Access, model: type[Record], rows: Sequence[Any], *, staying: bool = True
) -> dict[int, list[tuple[FieldError, UUID]]]:
    """By place in `rows`: references to what is not there or not visible. One query for each kind of reference.

    What is there will stay until we commit; not so for whoever holds the rows that refer to it: parents come first.
    """
    missing: dict[int, list[tuple[FieldError, UUID]]] = {}
    for name, column, target in references(model):
        ids = list(map(attrgetter(column), rows))
        wanted = set(ids) - {None}
        if not wanted:
            continue
        # One parameter, however many there are.
        among = RawSQL("SELECT unnest(%s::uuid[])", [list(wanted)])
        there = target._default_manager.visible_to(access).filter(pk__in=among)
        known = there_to_stay(there) if staying else set(there.values_list("pk", flat=True))
        if wanted <= known:
            continue
        for place, wants in enumerate(ids):
            if wants is not None and wants not in known:
                error = FieldError(f"/{name}", "unknown_reference", f"There is no {name} {wants}.")
                missing.setdefault(place, []).append((error, wants))
    return missing


def announce(access: Access, writer: Writer[Any], rows: Sequence[Any]) -> None:
    """Who writes, and what that makes stale: before the first row is written."""
    leave_trail(access.organization_id, access.actor, {mark for row in rows for mark in writer.marks_of(None, row)})


def insert(access: Access, model: type[Record], rows: Sequence[Any]) -> set[UUID]:
    """Insert rows, which are records or whatever has a record's columns as attributes.

    Returns the ids that were taken, whose rows were left out. By way of a temporary table, because COPY knows no
    conflicts and stops at row-level security.
    """
    columns = columns_given(model)
    table, names = sql.Identifier(model._meta.db_table), sql.SQL(", ").join(map(sql.Identifier, columns))
    moment = clock.now()
    with connection.cursor() as cursor:
        # Two calls in one transaction find the table of the first.
        cursor.execute("DROP TABLE IF EXISTS pg_temp.arriving")
        cursor.execute(
            sql.SQL("CREATE TEMPORARY TABLE arriving ON COMMIT DROP AS SELECT {} FROM {} LIMIT 0").format(names, table)
        )
        with cursor.copy(sql.SQL("COPY pg_temp.arriving ({}) FROM STDIN (FORMAT BINARY)").format(names)) as copy:
            copy.set_types(_types(model))
            for row in _values(model, rows):
                copy.write_row(row)
        # In the order of ids, so that two calls that share some wait for each other and do not deadlock.
        cursor.execute(
            sql.SQL(
                "INSERT INTO {} (organization_id, version, created_at, updated_at, {})"
                " SELECT %s, 1, %s, %s, {} FROM pg_temp.arriving ORDER BY id ON CONFLICT (id) DO NOTHING RETURNING id"
            ).format(table, names, names),
            [access.organization_id, moment, moment],
        )
        if cursor.rowcount == len(rows):
            return set()
        return {row.id for row in rows} - {row[0] for row in cursor.fetchall()}


class ChangesHands(Exception):
    """Some corrections make records belong to another customer, which only `Writer.correct` does."""

    def __init__(self, ids: set[UUID]) -> None:
        super().__init__()
        self.ids = ids


def correct(access: Access, writer: Writer[Any], changes: Sequence[tuple[Record, dict[str, Any]]]) -> None:
    """Change columns of different records, locked, by values that are complete; then they are as they were written."""
    moment = clock.now()
    written: list[Record] = []
    columns: set[str] = set()
    marks: set[Mark] = set()
    moved: set[UUID] = set()
    for record, values in changes:
        changed = [name for name, value in values.items() if getattr(record, name) != value]
        if not changed:
            continue
        if moves.decides_customer(writer.model, changed):
            moved.add(record.pk)
        was = copy(record)
        for name in changed:
            setattr(record, name, values[name])
        record.version, record.updated_at = record.version + 1, moment
        marks.update(writer.marks_of(was, record))
        columns.update(changed)
        written.append(record)
    if moved:
        raise ChangesHands(moved)
    if written:
        leave_trail(access.organization_id, access.actor, marks)
        writer.model._default_manager.bulk_update(written, [*columns, "version", "updated_at"], batch_size=1000)


def _values(model: type[Record], rows: Sequence[Any]) -> Iterator[Sequence[Any]]:
    columns = columns_given(model)
    read = attrgetter(*columns)
    as_json = {place for place, name in enumerate(columns) if isinstance(model._meta.get_field(name), models.JSONField)}
    if not as_json:
        return map(read, rows)
    return ([Jsonb(value) if place in as_json else value for place, value in enumerate(read(row))] for row in rows)


@cache
def _types(model: type[Record]) -> list[str]:
    kinds = (model._meta.get_field(name).db_type(connection) or "" for name in columns_given(model))
    return [kind.partition("(")[0] for kind in kinds]
