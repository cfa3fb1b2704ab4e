"""What is left of the harvest at a site: hours and fuel to dry it, and the day on which a tank runs low."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

import numpy as np

from dryrecords.core import clock
from dryrecords.core.errors import invalid
from dryrecords.equipment.models import Dryer, Tank
from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.crops import CROPS
from dryrecords.grain.demand import BATCH_U
from dryrecords.grain.energy import DEFAULT_PROPANE_USE, FUELS, PROPANE_J_PER_M3
from dryrecords.harvest.models import Batch
from dryrecords.season.models import BatchResult
from dryrecords.season.tank_state import TankLevel, tank_levels
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Site
from dryrecords.tenancy.writes import get

# Of a tank's capacity: below, a vaporiser or the tank's own vapour may no longer be enough; order before. Common
# practice of suppliers and growers, no source.
LOW_PCT = 20.0
NORMAL_95 = 1.96
# What comes may differ from what came (weather, variety, another crew): as batches of one farm did from year to year.
YEAR_U = BATCH_U
# Dryers stand still between batches; longer than this was a pause and no changing over.
LONGEST_BETWEEN_S = 6 * 3600.0

Range = tuple[float, float, float]


@dataclass(frozen=True)
class Remaining:
    """What the office enters: still to be dried."""

    crop: str
    wet_bu: float
    moisture_in_pct: float
    target_moisture_pct: float | None = None
    hours_per_day: float = 24.0


@dataclass(frozen=True)
class DryerPart:
    """One dryer's part: as much as it removes of the water of all. Rates are its own, of its newest season."""

    dryer: Dryer
    batches: int
    fuel_batches: int
    wet_bu: float
    bu_per_h: float
    fuel_j: Range
    burning_w: float


@dataclass(frozen=True)
class TankPart:
    """`low_at`: when it comes down to LOW_PCT, if drying goes on from when it was read; None if not before the end."""

    tank: Tank
    level: TankLevel | None
    fuel: Range
    low_at: datetime | None
    low_earliest_at: datetime | None
    low_latest_at: datetime | None


@dataclass(frozen=True)
class Outlook:
    """Ranges are likely value, low and high end of a 95 % interval."""

    site: Site
    at: datetime
    remaining: Remaining
    target_moisture_pct: float
    water_kg: float
    hours: Range | None
    days: Range | None
    fuel_j: Range | None
    dryers: list[DryerPart]
    tanks: list[TankPart]
    missing: list[str]
    assumed: list[str]


@dataclass(frozen=True)
class _Rate:
    """How a dryer worked: water a second of its time, changing over included; fuel for each kilogram of water."""

    dryer: Dryer
    batches: int
    fuel_batches: int
    kg_per_s: float
    spread: float
    j_per_kg: float
    j_per_kg_u: float


class _Dried(NamedTuple):
    at: datetime
    season: int
    water_removed_kg: float
    drying_s: float
    fuel_energy_j: float | None
    fuel_basis: str


def site_of(access: Access, site_id: UUID) -> Site:
    return get(access, Site, site_id)


def site_outlook(access: Access, site_id: UUID, remaining: Remaining, at: datetime | None = None) -> Outlook:
    site = site_of(access, site_id)
    target = remaining.target_moisture_pct
    target = CROPS[remaining.crop].base_moisture_pct if target is None else target
    if target >= remaining.moisture_in_pct:
        raise invalid("/moisture_in_pct", "not_wet", "The grain must be wetter than it is to come out.")
    wet_kg = remaining.wet_bu * CROPS[remaining.crop].bushel_kg
    water = wet_kg * (remaining.moisture_in_pct - target) / (100.0 - target)
    dryers = list(Dryer.objects.visible_to(access).filter(site=site).select_related("tank").order_by("name", "id"))
    rates = _rates(access, dryers, remaining.crop)
    parts, hours = _parts(rates, remaining, water) if rates else ([], None)
    a_day = remaining.hours_per_day
    days = (hours[0] / a_day, hours[1] / a_day, hours[2] / a_day) if hours else None
    assumed = ["All dryers named work at once, each as fast as its own batches did, changing over included."]
    if any(rate.fuel_batches == 0 for rate in rates):
        assumed.append(f"Where no fuel was read: {DEFAULT_PROPANE_USE.source}.")
    if remaining.hours_per_day == 24.0:
        assumed.append("They run around the clock.")
    return Outlook(
        site=site,
        at=at or clock.now(),
        remaining=remaining,
        target_moisture_pct=target,
        water_kg=water,
        hours=hours,
        days=days,
        fuel_j=_summed([part.fuel_j for part in parts]) if parts else None,
        dryers=parts,
        tanks=_tanks(parts, remaining.hours_per_day),
        missing=[f"batches of {dryer.name}" for dryer in dryers if dryer.pk not in {r.dryer.pk for r in rates}],
        assumed=assumed,
    )


def _rates(access: Access, dryers: list[Dryer], crop: str) -> list[_Rate]:
    """Of the dryers that have batches of the crop with figures; of each, its newest season."""
    times = Batch.objects.filter(dryer__in=dryers, crop=crop, deleted_at__isnull=True).order_by("started_at", "id")
    begun = {row[0]: row[1:] for row in times.values_list("pk", "dryer_id", "started_at")}
    results = BatchResult.objects.filter(
        organization_id=access.organization_id, batch_id__in=list(begun), complete=True, drying_s__gt=0
    ).filter(water_removed_kg__gt=0)
    by_dryer: dict[UUID, list[_Dried]] = {}
    for batch_id, *row in results.values_list("batch_id", *_Dried._fields[1:]):
        dryer_id, at = begun[batch_id]
        by_dryer.setdefault(dryer_id, []).append(_Dried(at, *row))
    rates = []
    for dryer in dryers:
        rows = sorted(by_dryer.get(dryer.pk, []))
        rows = [row for row in rows if row.season == rows[-1].season]
        if rows:
            rates.append(_rate(dryer, rows))
    return rates


def _rate(dryer: Dryer, rows: list[_Dried]) -> _Rate:
    water: FloatArray = np.array([row.water_removed_kg for row in rows], dtype=np.float64)
    drying: FloatArray = np.array([row.drying_s for row in rows], dtype=np.float64)
    between = np.diff([row.at.timestamp() for row in rows]) - drying[:-1]
    changing = between[(between >= 0.0) & (between <= LONGEST_BETWEEN_S)]
    seconds = drying + (float(np.median(changing)) if changing.size else 0.0)
    read = np.array([row.fuel_basis not in ("", BatchResult.Basis.ESTIMATED) for row in rows])
    per_kg = _DEFAULT_J_PER_KG
    if read.any():
        fuel: FloatArray = np.array([row.fuel_energy_j or 0.0 for row in rows], dtype=np.float64)[read]
        value = float(fuel.sum() / water[read].sum())
        per_kg = (value, value * math.hypot(_spread(fuel / water[read]), YEAR_U))
    return _Rate(
        dryer=dryer,
        batches=len(rows),
        fuel_batches=int(read.sum()),
        kg_per_s=float(water.sum() / seconds.sum()),
        spread=math.hypot(_spread(water / seconds), YEAR_U),
        j_per_kg=per_kg[0],
        j_per_kg_u=per_kg[1],
    )


def _spread(values: FloatArray) -> float:
    """Standard uncertainty of the mean, as a fraction; of a single one, that batches of a dryer differ."""
    if values.size < 2:
        return BATCH_U
    return float(values.std(ddof=1) / values.mean() / math.sqrt(values.size))


# 0.02 gal a point and bushel, 0.015 to 0.025, on corn from 25 to 15 %: 6.588 lb of water for 10 points.
_KG_PER_POINT_BU = 0.6588 * 0.45359237
_DEFAULT_J_PER_KG = (
    DEFAULT_PROPANE_USE.value * PROPANE_J_PER_M3 / _KG_PER_POINT_BU,
    DEFAULT_PROPANE_USE.standard_uncertainty * PROPANE_J_PER_M3 / _KG_PER_POINT_BU,
)


def _parts(rates: list[_Rate], remaining: Remaining, water_kg: float) -> tuple[list[DryerPart], Range]:
    """Water goes to the dryers as they remove it, so that all come to an end together."""
    together = sum(rate.kg_per_s for rate in rates)
    seconds = water_kg / together
    # Common to all of them, mostly: the year.
    spread = sum(rate.kg_per_s * rate.spread for rate in rates) / together
    parts = []
    for rate in rates:
        share = rate.kg_per_s / together
        fuel, fuel_u = share * water_kg * rate.j_per_kg, share * water_kg * rate.j_per_kg_u
        parts.append(
            DryerPart(
                dryer=rate.dryer,
                batches=rate.batches,
                fuel_batches=rate.fuel_batches,
                wet_bu=share * remaining.wet_bu,
                bu_per_h=share * remaining.wet_bu / seconds * 3600.0,
                fuel_j=_range(fuel, fuel_u / fuel),
                burning_w=rate.kg_per_s * rate.j_per_kg,
            )
        )
    return parts, _range(seconds / 3600.0, spread)


def _range(value: float, relative_u: float) -> Range:
    """A factor either way, so that no end falls below zero."""
    factor = math.exp(NORMAL_95 * relative_u)
    return value, value / factor, value * factor


def _summed(ranges: list[Range]) -> Range:
    """End by end: what makes one dryer take more makes the others."""
    likely, low, high = (sum(each[i] for each in ranges) for i in range(3))
    return likely, low, high


def _tanks(parts: list[DryerPart], hours_per_day: float) -> list[TankPart]:
    by_tank: dict[UUID, list[DryerPart]] = {}
    for part in parts:
        if part.dryer.tank:
            by_tank.setdefault(part.dryer.tank.pk, []).append(part)
    tanks = {part.dryer.tank.pk: part.dryer.tank for part in parts if part.dryer.tank}
    levels = tank_levels(tanks.values())
    return [
        _tank(tanks[pk], levels.get(pk), of_tank, hours_per_day)
        for pk, of_tank in sorted(by_tank.items(), key=lambda item: (tanks[item[0]].name, item[0]))
    ]


def _tank(tank: Tank, level: TankLevel | None, parts: list[DryerPart], hours_per_day: float) -> TankPart:
    unit_j = FUELS[tank.fuel].energy_j_per_m3 or 1.0
    fuel = _summed([part.fuel_j for part in parts])
    needed: Range = (fuel[0] / unit_j, fuel[1] / unit_j, fuel[2] / unit_j)
    moments: list[datetime | None] = [None, None, None]
    if level and tank.capacity_m3:
        usable = level.volume_m3 + level.delivered_m3 - LOW_PCT / 100.0 * tank.capacity_m3
        a_day = sum(part.burning_w for part in parts) * hours_per_day * 3600.0 / unit_j
        for i in range(3):
            if usable < needed[i] and a_day > 0.0:
                days = max(usable, 0.0) / (a_day * needed[i] / needed[0])
                moments[i] = level.at + timedelta(days=days)
    # The more it takes, the sooner it is low.
    return TankPart(tank, level, needed, moments[0], moments[2], moments[1])
