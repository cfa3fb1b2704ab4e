"""Saves results, in bulk, over older generations only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

import orjson
import psycopg
from django.db import connection, models, transaction

from dryrecords.season.models import BatchResult, DryerCalibration, SiteSeason


def save_over_older(model: type[models.Model], rows: Sequence[Mapping[str, Any]], key: Sequence[str]) -> None:
    """Insert or replace rows by key, each only where the stored generation is older.

    Rows are sorted by key first, so that two workers that save the same rows cannot deadlock. They travel as one JSON
    text, which keeps every bit of a float and is far quicker to write than an array per column.
    """
    if not rows:
        return
    fields = [field for field in model._meta.concrete_fields if not isinstance(field, models.AutoField)]
    ordered = sorted(rows, key=lambda row: tuple(str(row[name]) for name in key))
    names = ", ".join(str(field.column) for field in fields)
    replaced = ", ".join(f"{f.column} = excluded.{f.column}" for f in fields if f.column not in key)
    table = model._meta.db_table
    with connection.cursor() as cursor:
        cursor.execute(
            f"INSERT INTO {table} AS held ({names})"
            f" SELECT {names} FROM json_populate_recordset(NULL::{table}, %s)"
            f" ON CONFLICT ({', '.join(key)}) DO UPDATE SET {replaced}"
            " WHERE held.generation < excluded.generation",
            [orjson.dumps(ordered).decode()],
        )


def save_results(rows: Sequence[Mapping[str, Any]]) -> None:
    save_over_older(BatchResult, rows, ["batch_id"])


def save_site_season(row: Mapping[str, Any]) -> None:
    save_over_older(SiteSeason, [row], ["organization_id", "site_id", "season"])


def save_calibration(row: Mapping[str, Any]) -> None:
    save_over_older(DryerCalibration, [row], ["organization_id", "dryer_id", "crop"])


def stored_results(organization_id: UUID, site_id: UUID, season: int, columns: Sequence[str]) -> list[tuple[Any, ...]]:
    """These columns of the results of a site's season, in the order of their batches' ids.

    In binary: Django's own cursor reads text, which takes four times as long for so many floats.
    """
    with transaction.atomic(), connection.wrap_database_errors:
        # But that goes first: with the first statement of a transaction the database is told whose rows to show.
        with connection.cursor() as first:
            first.execute("SELECT 1")
        cursor = psycopg.Cursor(connection.connection)
        cursor.execute(
            f"SELECT {', '.join(columns)} FROM season_batchresult"
            " WHERE organization_id = %s AND site_id = %s AND season = %s ORDER BY batch_id",
            [organization_id, site_id, season],
            binary=True,
        )
        return cursor.fetchall()


def stored_accounted(batch_ids: Sequence[UUID]) -> dict[UUID, list[Any]]:
    """Locked, in the order in which results are saved: whoever saves the same ones sees what the other saved."""
    results = BatchResult.objects.select_for_update().filter(batch_id__in=batch_ids).order_by("batch_id")
    return dict(results.values_list("batch_id", "accounted"))


def stored_places(batch_ids: Sequence[UUID]) -> list[tuple[UUID, int, UUID, str]]:
    """Site, season, dryer and crop under which these batches' results are counted now."""
    results = BatchResult.objects.filter(batch_id__in=batch_ids)
    return list(results.values_list("site_id", "season", "dryer_id", "crop").distinct())
