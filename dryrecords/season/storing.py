"""Saves results, in bulk, over older generations only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

import orjson
from django.db import connection, models

from dryrecords.season.models import BatchResult, SiteSeason


def save_over_older(model: type[models.Model], rows: Sequence[Mapping[str, Any]], key: Sequence[str]) -> None:
    """Insert or replace rows by key, each only where the stored generation is older.

    Rows are sorted by key first, so that two workers that save the same rows cannot deadlock.
    """
    if not rows:
        return
    fields = [field for field in model._meta.concrete_fields if not isinstance(field, models.AutoField)]
    ordered = sorted(rows, key=lambda row: tuple(str(row[name]) for name in key))
    names = [str(field.column) for field in fields]
    arrays = [[_wire(field, row[field.attname]) for row in ordered] for field in fields]
    selected = ", ".join(f"{n}::jsonb" if _is_json(f) else n for f, n in zip(fields, names, strict=True))
    types = ", ".join(f"%s::{'text' if _is_json(f) else f.db_type(connection)}[]" for f in fields)
    replaced = ", ".join(f"{n} = excluded.{n}" for n in names if n not in key)
    table = model._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {table} AS held ({', '.join(names)})"
            f" SELECT {selected} FROM unnest({types}) AS fresh ({', '.join(names)})"
            f" ON CONFLICT ({', '.join(key)}) DO UPDATE SET {replaced}"
            " WHERE held.generation < excluded.generation",
            arrays,
        )


def _is_json(field: models.Field[Any, Any]) -> bool:
    return isinstance(field, models.JSONField)


def _wire(field: models.Field[Any, Any], value: Any) -> Any:
    return orjson.dumps(value).decode() if _is_json(field) else value


def save_results(rows: Sequence[Mapping[str, Any]]) -> None:
    save_over_older(BatchResult, rows, ["batch_id"])


def save_site_season(row: Mapping[str, Any]) -> None:
    save_over_older(SiteSeason, [row], ["organization_id", "site_id", "season"])


def stored_places(batch_ids: Sequence[UUID]) -> list[tuple[UUID, int]]:
    """Site and season under which these batches' results are counted now."""
    return list(BatchResult.objects.filter(batch_id__in=batch_ids).values_list("site_id", "season").distinct())
