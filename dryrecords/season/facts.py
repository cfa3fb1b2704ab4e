"""Loads what is known of many batches of one organization, in a number of queries that does not grow with them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import connection
from django.db.models import F
from django.db.models.functions import Coalesce

from dryrecords.harvest.models import Batch, Sample
from dryrecords.season.affected import END, OCCUPANCY, reach
from dryrecords.season.brackets import Electricity, FuelBracket, fuel_brackets, metered_electricity
from dryrecords.season.in_force import InForce, delivery_prices, prices_in_force, settings_in_force
from dryrecords.season.models import EnergyAccount, EnergyShare


class BatchRow(NamedTuple):
    """A batch with what it needs of its dryer, tank, site and lot."""

    id: UUID
    crop: str
    season: int
    started_at: datetime
    drying_ended_at: datetime | None
    cooling_ended_at: datetime | None
    wet_mass_kg: float | None
    fill_depth_m: float | None
    fill_peaked: bool
    dry_mass_kg: float | None
    mass_basis: str
    test_weight_kg_m3: float | None
    plenum_temp_c: float | None
    cutoff_temp_c: float | None
    cooling_s: float | None
    grain_temp_c: float | None
    ambient_temp_c: float | None
    ambient_rh_pct: float | None
    refills: list[dict[str, Any]]
    dryer_id: UUID
    site_id: UUID
    customer_id: UUID
    diameter_m: float | None
    bed_area_m2: float | None
    fans: list[dict[str, Any]]
    tank_id: UUID | None
    fuel: str | None
    tank_capacity_m3: float | None
    lot_base_moisture_pct: float | None

    @property
    def moment(self) -> datetime:
        """The moment whose prices and settings count."""
        return self.drying_ended_at or self.started_at


class SampleRow(NamedTuple):
    batch_id: UUID
    stage: str
    taken_at: datetime
    moisture_pct: float
    grain_temp_c: float | None
    meter_id: UUID | None
    meter_u_pct: float | None


class Share(NamedTuple):
    amount: float
    amount_u: float
    basis: str


@dataclass(frozen=True)
class Facts:
    batches: list[BatchRow]
    samples: dict[UUID, list[SampleRow]]
    fuel: dict[UUID, FuelBracket]
    electricity: dict[UUID, Electricity]
    # What accounts of tanks and meters gave to a batch.
    fuel_shares: dict[UUID, Share]
    power_shares: dict[UUID, Share]
    overlaps: dict[UUID, list[UUID]]
    prices: InForce
    # By tank, what the last delivery cost.
    delivery_prices: InForce
    settings: dict[str, InForce]


def load_facts(organization_id: UUID, batch_ids: Sequence[UUID]) -> Facts:
    """Facts of the live ones among the batches, in the order of their ids."""
    batches = _batches(organization_id, batch_ids)
    ids = [batch.id for batch in batches]
    shares = _shares(ids)
    return Facts(
        batches=batches,
        samples=_samples(ids),
        fuel=fuel_brackets(ids),
        electricity=metered_electricity(ids),
        fuel_shares=shares[EnergyAccount.Kind.TANK],
        # The dryer's own meter goes before the site's.
        power_shares=shares[EnergyAccount.Kind.SITE] | shares[EnergyAccount.Kind.DRYER],
        overlaps=_overlaps(ids),
        prices=prices_in_force(organization_id),
        delivery_prices=delivery_prices({batch.tank_id for batch in batches if batch.tank_id}),
        settings=settings_in_force(organization_id),
    )


def _batches(organization_id: UUID, batch_ids: Sequence[UUID]) -> list[BatchRow]:
    rows = Batch.objects.filter(organization_id=organization_id, pk__in=batch_ids, deleted_at__isnull=True).annotate(
        site_id=F("dryer__site_id"),
        # Grain of a lot is its customer's, wherever it is dried.
        customer_id=Coalesce("lot__customer_id", "dryer__site__customer_id"),
        diameter_m=F("dryer__diameter_m"),
        bed_area_m2=F("dryer__bed_area_m2"),
        fans=F("dryer__fans"),
        tank_id=F("dryer__tank_id"),
        fuel=F("dryer__tank__fuel"),
        tank_capacity_m3=F("dryer__tank__capacity_m3"),
        lot_base_moisture_pct=F("lot__base_moisture_pct"),
    )
    return [BatchRow(*row) for row in rows.order_by("id").values_list(*BatchRow._fields)]


def _samples(batch_ids: Sequence[UUID]) -> dict[UUID, list[SampleRow]]:
    rows = (
        Sample.objects.filter(batch_id__in=batch_ids, deleted_at__isnull=True)
        .annotate(meter_u_pct=F("meter__standard_uncertainty_pct"))
        .order_by("batch_id", "taken_at", "id")
    )
    samples: dict[UUID, list[SampleRow]] = defaultdict(list)
    for row in rows.values_list(*SampleRow._fields):
        samples[row[0]].append(SampleRow(*row))
    return samples


def _shares(batch_ids: Sequence[UUID]) -> dict[str, dict[UUID, Share]]:
    shares: dict[str, dict[UUID, Share]] = defaultdict(dict)
    rows = EnergyShare.objects.filter(batch_id__in=batch_ids)
    for kind, batch_id, *share in rows.values_list("kind", "batch_id", *Share._fields):
        shares[kind][batch_id] = Share(*share)
    return shares


def _overlaps(batch_ids: Sequence[UUID]) -> dict[UUID, list[UUID]]:
    """Batches that cannot both be right: the same dryer held both at the same time."""
    sql = f"""
        SELECT b.id, array_agg(o.id ORDER BY o.id)
        FROM harvest_batch b CROSS JOIN {reach("b.dryer_id", "b.started_at")}
        JOIN harvest_batch o ON o.dryer_id = b.dryer_id AND o.id <> b.id
            AND o.started_at >= reach.earliest AND o.started_at <= {END.format("b")}
            AND o.deleted_at IS NULL AND {OCCUPANCY.format("o")} && {OCCUPANCY.format("b")}
            -- The next one may start at the very moment the last one is out.
            AND lower({OCCUPANCY.format("o")} * {OCCUPANCY.format("b")})
                < upper({OCCUPANCY.format("o")} * {OCCUPANCY.format("b")})
        WHERE b.id = ANY(%s) GROUP BY b.id
    """
    with connection.cursor() as cursor:
        cursor.execute(sql, [list(batch_ids)])
        return dict(cursor.fetchall())
