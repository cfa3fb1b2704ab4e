"""Accounts of tanks and electricity meters: made anew when a reading or what a batch should have taken changes.

A batch's result says what the batch was expected to take; the account shares out what the readings show; the result is
then made again with its share. What is expected does not depend on shares, so this comes to an end.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

import orjson
from django.db import connection, transaction

from dryrecords.core import clock
from dryrecords.journal import kinds, stale
from dryrecords.journal.stale import Claim, Mark
from dryrecords.season.account_figures import METERED, account_figures
from dryrecords.season.account_keys import DRYER, SITE, TANK, Accounted, Key, season_span
from dryrecords.season.affected import reach
from dryrecords.season.burning import Drawing, burning
from dryrecords.season.models import EnergyAccount, EnergyShare
from dryrecords.season.readings_chain import Chain, DeliveryRow, FuelRow, fuel_chain, power_chain
from dryrecords.season.storing import save_over_older


def compute_accounts(claims: Sequence[Claim]) -> None:
    for claim in claims:
        kind, of_id, season = claim.key.split(":")
        key = Key(kind, UUID(of_id), int(season))
        figures = _figures(claim.organization_id, key)
        with transaction.atomic():
            changed = _save(claim, key, figures)
            if stale.settle([claim]) or figures is None:
                _accounts(claim.organization_id, key).filter(generation__lte=claim.wanted).delete()
            stale.raise_marks(claim.organization_id, [Mark(kinds.BATCH, str(batch_id)) for batch_id in changed])


def _accounts(organization_id: UUID, key: Key) -> Any:
    return EnergyAccount.objects.filter(organization_id=organization_id, **key._asdict())


def _figures(organization_id: UUID, key: Key) -> dict[str, Any] | None:
    """None where there are not two readings in or before that year."""
    place = _place(organization_id, key)
    if place is None:
        return None
    fuel, capacity_m3, zone = place
    begin, end = season_span(key.season, zone)
    chain = _chain(key, begin, end, fuel, capacity_m3)
    if chain is None:
        return None
    chain, who = burning(
        chain,
        _drawings(organization_id, key, chain.at[0], chain.at[-1]),
        electric=key.kind != TANK,
        others=key.kind == SITE,
    )
    unit = "kwh" if key.kind != TANK else "j" if fuel == "natural_gas" else "m3"
    return {"unit": unit, "fuel": fuel, **account_figures(chain, who)}


_PLACES = {
    TANK: "SELECT t.fuel, t.capacity_m3, s.timezone FROM equipment_tank t JOIN tenancy_site s ON s.id = t.site_id"
    " WHERE t.id = %s AND t.organization_id = %s AND t.deleted_at IS NULL",
    DRYER: "SELECT NULL, NULL, s.timezone FROM equipment_dryer d JOIN tenancy_site s ON s.id = d.site_id"
    " WHERE d.id = %s AND d.organization_id = %s AND d.deleted_at IS NULL",
    SITE: "SELECT NULL, NULL, timezone FROM tenancy_site WHERE id = %s AND organization_id = %s AND deleted_at IS NULL",
}


def _place(organization_id: UUID, key: Key) -> Any:
    rows = _fetch(_PLACES[key.kind], [key.of_id, organization_id])
    return rows[0] if rows else None


# From the last reading before the year to the last one in it.
_READINGS = """
    SELECT {columns} FROM {table} r WHERE r.{of}_id = %(of)s AND r.deleted_at IS NULL AND r.at < %(end)s
        AND r.at >= coalesce((SELECT max(b.at) FROM {table} b
            WHERE b.{of}_id = %(of)s AND b.deleted_at IS NULL AND b.at < %(begin)s), %(begin)s)
    ORDER BY r.at, r.id
"""
_DELIVERIES = """
    SELECT at, volume_m3, temperature_corrected, fuel_temp_c FROM harvest_fueldelivery
    WHERE tank_id = %s AND deleted_at IS NULL AND at > %s AND at <= %s ORDER BY at, id
"""


def _chain(key: Key, begin: datetime, end: datetime, fuel: str, capacity_m3: float | None) -> Chain | None:
    span = {"of": key.of_id, "begin": begin, "end": end}
    if key.kind != TANK:
        sql = _READINGS.format(columns="r.at, r.meter_kwh", table="harvest_powerreading", of=key.kind)
        return power_chain(_fetch(sql, span))
    columns = ", ".join(f"r.{name}" for name in FuelRow._fields)
    rows = [
        FuelRow(*row) for row in _fetch(_READINGS.format(columns=columns, table="harvest_fuelreading", of=TANK), span)
    ]
    if len(rows) < 2:
        return None
    deliveries = _fetch(_DELIVERIES, [key.of_id, rows[0].at, rows[-1].at])
    return fuel_chain(rows, [DeliveryRow(*row) for row in deliveries], fuel, capacity_m3)


# What a result keeps of its batch: see account_keys.Accounted.
_DRAWINGS = """
    SELECT b.id, d.id, r.accounted FROM equipment_dryer d CROSS JOIN {reach}
    JOIN harvest_batch b ON b.dryer_id = d.id AND b.deleted_at IS NULL
        AND b.started_at >= reach.earliest AND b.started_at < %(high)s
    JOIN season_batchresult r ON r.batch_id = b.id
    WHERE d.{of} = %(of)s AND d.organization_id = %(organization)s ORDER BY b.id
"""


def _drawings(organization_id: UUID, key: Key, low: datetime, high: datetime) -> list[Drawing]:
    of = "id" if key.kind == DRYER else f"{key.kind}_id"
    sql = _DRAWINGS.format(reach=reach("d.id", "%(low)s"), of=of)
    rows = _fetch(sql, {"of": key.of_id, "organization": organization_id, "low": low, "high": high})
    return [
        drawing
        for batch_id, dryer_id, accounted in rows
        if (told := orjson.loads(accounted) if isinstance(accounted, str) else accounted)
        and (drawing := _drawing(str(batch_id), str(dryer_id), told, key.kind)).begun < high
        and (drawing.ended is None or drawing.ended > low or drawing.begun >= low)
    ]


def _drawing(batch: str, dryer: str, told: Sequence[Any], kind: str) -> Drawing:
    each = Accounted(*told)
    ended = each.drying_ended_at if kind == TANK else each.cooling_ended_at
    return Drawing(
        batch=batch,
        dryer=dryer,
        begun=datetime.fromisoformat(each.started_at),
        ended=datetime.fromisoformat(ended) if ended else None,
        expected=each.fuel if kind == TANK else each.kwh,
        expected_u=each.fuel_u if kind == TANK else each.kwh_u,
    )


def _save(claim: Claim, key: Key, figures: dict[str, Any] | None) -> set[UUID]:
    """Over an older generation only. Answers the batches whose share is another now."""
    accounts = _accounts(claim.organization_id, key)
    if figures is not None:
        row = {"organization_id": claim.organization_id, **key._asdict(), "generation": claim.wanted}
        row |= {"computed_at": clock.now(), "figures": figures}
        save_over_older(EnergyAccount, [row], ["organization_id", "kind", "of_id", "season"])
        if not accounts.filter(generation=claim.wanted).exists():
            return set()
    shares = {
        UUID(each["batch"]): (each["amount"], each["amount_u"], each["basis"])
        for each in (figures["batches"] if figures else [])
        if each["whole"] and each["basis"] != METERED
    }
    held = EnergyShare.objects.filter(organization_id=claim.organization_id, **key._asdict())
    stored = {row[0]: row[1:] for row in held.values_list("batch_id", "amount", "amount_u", "basis")}
    changed = {batch_id for batch_id in {*shares, *stored} if shares.get(batch_id) != stored.get(batch_id)}
    held.filter(batch_id__in=changed).delete()
    EnergyShare.objects.bulk_create(
        [
            EnergyShare(
                organization_id=claim.organization_id,
                **key._asdict(),
                batch_id=batch_id,
                amount=shares[batch_id][0],
                amount_u=shares[batch_id][1],
                basis=shares[batch_id][2],
            )
            for batch_id in sorted(changed & shares.keys())
        ],
        update_conflicts=True,
        unique_fields=["batch_id", "kind"],
        update_fields=["of_id", "season", "amount", "amount_u", "basis"],
    )
    return changed


def _fetch(sql: str, parameters: Any) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return list(cursor.fetchall())
