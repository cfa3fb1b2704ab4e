"""Fuel and electricity of a batch from the readings on either side of it, where no other batch shares the span."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection

from dryrecords.season.affected import OCCUPANCY


@dataclass(frozen=True)
class FuelReadingFacts:
    gauge_pct: float | None
    volume_m3: float | None
    meter_m3: float | None
    meter_j: float | None
    fuel_temp_c: float | None


@dataclass(frozen=True)
class FuelBracket:
    """The reading before, the reading after, and what was delivered between: (volume, corrected, temperature)."""

    before: FuelReadingFacts
    after: FuelReadingFacts
    deliveries: list[tuple[float, bool, float | None]]
    # Something else burnt from the tank between the readings: what this batch took of it is not known.
    shared: bool
    span_s: float


@dataclass(frozen=True)
class Electricity:
    kwh: float
    # A meter does not count backwards: one of the readings is wrong.
    fell: bool = False


def _bracket(columns: str, readings: str, sharing: str) -> str:
    """The readings around each batch, and whether something else ran on what they measure between them."""
    before = ", ".join(f"earlier.{c.strip()}" for c in columns.split(","))
    after = ", ".join(f"later.{c.strip()}" for c in columns.split(","))
    return f"""
        SELECT b.id, {before}, {after}, earlier.at, later.at, EXISTS (
            SELECT 1 FROM equipment_dryer n JOIN harvest_batch o ON o.dryer_id = n.id AND o.deleted_at IS NULL
                AND {OCCUPANCY.format("o")} && tstzrange(earlier.at, later.at)
            WHERE {sharing} AND o.id <> b.id
                AND o.started_at < later.at
                AND coalesce(o.drying_ended_at, o.started_at) > earlier.at)
        FROM harvest_batch b JOIN equipment_dryer d ON d.id = b.dryer_id
        CROSS JOIN LATERAL (
            SELECT r.at, {columns} FROM {readings} AND r.deleted_at IS NULL AND r.at <= b.started_at
            ORDER BY r.at DESC, r.id DESC LIMIT 1) earlier
        CROSS JOIN LATERAL (
            SELECT r.at, {columns} FROM {readings} AND r.deleted_at IS NULL AND r.at >= b.drying_ended_at
            ORDER BY r.at, r.id LIMIT 1) later
        WHERE b.id = ANY(%s)
    """


_FUEL = _bracket(
    "gauge_pct, volume_m3, meter_m3, meter_j, fuel_temp_c",
    "harvest_fuelreading r WHERE r.tank_id = d.tank_id",
    "n.tank_id = d.tank_id",
)
_POWER_OF_DRYER = _bracket("meter_kwh", "harvest_powerreading r WHERE r.dryer_id = d.id", "n.id = d.id")
_POWER_OF_SITE = _bracket("meter_kwh", "harvest_powerreading r WHERE r.site_id = d.site_id", "n.site_id = d.site_id")

_DELIVERIES = """
    SELECT span.batch_id, f.volume_m3, f.temperature_corrected, f.fuel_temp_c
    FROM unnest(%s::uuid[], %s::timestamptz[], %s::timestamptz[]) AS span (batch_id, low, high)
    JOIN harvest_batch b ON b.id = span.batch_id JOIN equipment_dryer d ON d.id = b.dryer_id
    JOIN harvest_fueldelivery f ON f.tank_id = d.tank_id AND f.deleted_at IS NULL
        AND f.at > span.low AND f.at <= span.high
    ORDER BY span.batch_id, f.at, f.id
"""


def fuel_brackets(batch_ids: Sequence[UUID]) -> dict[UUID, FuelBracket]:
    rows = _fetch(_FUEL, [list(batch_ids)])
    deliveries: dict[UUID, list[tuple[float, bool, float | None]]] = {row[0]: [] for row in rows}
    spans = [[row[0] for row in rows], [row[-3] for row in rows], [row[-2] for row in rows]]
    for batch_id, volume_m3, corrected, fuel_temp_c in _fetch(_DELIVERIES, spans) if rows else []:
        deliveries[batch_id].append((volume_m3, corrected, fuel_temp_c))
    return {
        row[0]: FuelBracket(
            FuelReadingFacts(*row[1:6]),
            FuelReadingFacts(*row[6:11]),
            deliveries[row[0]],
            shared=row[-1],
            span_s=(row[-2] - row[-3]).total_seconds(),
        )
        for row in rows
    }


def metered_electricity(batch_ids: Sequence[UUID]) -> dict[UUID, Electricity]:
    """Of batches that alone ran on a meter; the dryer's own meter goes before the site's."""
    found = {}
    for sql in (_POWER_OF_SITE, _POWER_OF_DRYER):
        for batch_id, before, after, _, _, shared in _fetch(sql, [list(batch_ids)]):
            if not shared:
                found[batch_id] = Electricity(after - before) if after >= before else Electricity(math.nan, fell=True)
    return found


def _fetch(sql: str, parameters: list[Any]) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return list(cursor.fetchall())
