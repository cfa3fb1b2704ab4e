"""How full a tank was when it was last read, how fast its dryers burn, and whether its vapour is enough for them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Q, Sum

from dryrecords.equipment.models import Dryer, Fuel, Tank
from dryrecords.grain.energy import PROPANE_J_PER_M3
from dryrecords.grain.vaporisation import LATENT_J_M3, usual_size_m, vapour_power_w
from dryrecords.harvest.models import Batch, FuelDelivery, FuelReading
from dryrecords.season.fuel import volume_factor
from dryrecords.season.models import BatchResult
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import get

VAPOUR_ASSUMED = [
    "A rule of thumb of the propane trade, from memory; it agrees with a heater manual within 0.4 %. Of a tank above "
    "ground, without sun, wind and frost.",
]


@dataclass(frozen=True)
class TankLevel:
    """As last read, and what was delivered since. Volumes at 60 F."""

    at: datetime
    volume_m3: float
    delivered_m3: float


@dataclass(frozen=True)
class Vaporisation:
    """Powers of vapour, gross heating value; None where it cannot be said, with the reason in `missing`."""

    tank: Tank
    dryers: list[Dryer]
    level: TankLevel | None
    level_pct: float | None
    air_temp_c: float | None
    diameter_m: float | None
    length_m: float | None
    gives_w: float | None
    burners_max_w: float | None
    # As its dryers burnt, all at once, in the newest season.
    burning_w: float | None
    vaporiser_heat_w: float | None
    enough: bool | None
    missing: list[str]
    assumed: list[str]


def tank_levels(tanks: Iterable[Tank]) -> dict[UUID, TankLevel]:
    """Of the tanks whose level can be said; gas meters and tanks that only a meter is read at have none."""
    found = {}
    known = {tank.pk: tank for tank in tanks}
    is_level = Q(volume_m3__isnull=False) | Q(gauge_pct__isnull=False)
    rows = FuelReading.objects.filter(is_level, tank_id__in=known, deleted_at__isnull=True)
    newest = rows.order_by("tank_id", "-at", "-id").distinct("tank_id")
    since = {row.tank_id: row for row in newest}
    brought: dict[UUID, float] = dict.fromkeys(since, 0.0)
    for delivery in FuelDelivery.objects.filter(tank_id__in=since, deleted_at__isnull=True).order_by("at", "id"):
        if delivery.at > since[delivery.tank_id].at:
            fuel = known[delivery.tank_id].fuel
            factor = 1.0 if delivery.temperature_corrected else volume_factor(fuel, delivery.fuel_temp_c)[0]
            brought[delivery.tank_id] += delivery.volume_m3 * factor
    for tank_id, row in since.items():
        capacity = known[tank_id].capacity_m3
        volume = row.volume_m3
        if row.gauge_pct is not None:
            volume = None if capacity is None else row.gauge_pct / 100 * capacity
        if volume is not None:
            factor = volume_factor(known[tank_id].fuel, row.fuel_temp_c)[0]
            found[tank_id] = TankLevel(row.at, volume * factor, brought[tank_id])
    return found


def burning_w(dryer_ids: Iterable[UUID]) -> dict[UUID, float]:
    """Mean power of the fuel while each dryer dried, in its newest season."""
    results = BatchResult.objects.filter(
        dryer_id__in=list(dryer_ids), complete=True, fuel_energy_j__isnull=False, drying_s__gt=0
    )
    seasons = results.values_list("dryer_id", "season").annotate(Sum("fuel_energy_j"), Sum("drying_s"))
    # Of a dryer the newest comes last, and stays.
    return {dryer_id: fuel / seconds for dryer_id, _, fuel, seconds in seasons.order_by("dryer_id", "season")}


def tank_vaporisation(
    access: Access,
    tank_id: UUID,
    *,
    air_temp_c: float | None = None,
    level_pct: float | None = None,
    diameter_m: float | None = None,
    length_m: float | None = None,
) -> Vaporisation:
    """What is not given comes from the newest reading, the newest batch's outside air, and common sizes of tanks."""
    sizes = {"diameter_m": diameter_m, "length_m": length_m}
    return vaporisation_of(access, get(access, Tank, tank_id), air_temp_c=air_temp_c, level_pct=level_pct, **sizes)


def vaporisation_of(
    access: Access,
    tank: Tank,
    *,
    air_temp_c: float | None = None,
    level_pct: float | None = None,
    diameter_m: float | None = None,
    length_m: float | None = None,
) -> Vaporisation:
    """Of a tank that the caller has been let see already."""
    level = tank_levels([tank]).get(tank.pk)
    assumed = []
    if level_pct is None and level and tank.capacity_m3:
        level_pct = min(100.0 * (level.volume_m3 + level.delivered_m3) / tank.capacity_m3, 100.0)
        assumed.append("level_pct: the newest reading and what was delivered since")
    if air_temp_c is None:
        batches = Batch.objects.visible_to(access).filter(dryer__tank=tank, ambient_temp_c__isnull=False)
        air_temp_c = batches.order_by("-started_at", "-id").values_list("ambient_temp_c", flat=True).first()
        assumed += [] if air_temp_c is None else ["air_temp_f: of the newest batch on this tank"]
    if (diameter_m is None or length_m is None) and tank.capacity_m3:
        diameter, length = (float(x) for x in usual_size_m(tank.capacity_m3))
        if diameter == diameter:
            diameter_m, length_m = diameter, length
            assumed.append("diameter_in, length_in: of common tanks of this capacity; one tank, above ground")
    return _vaporisation(tank, level, level_pct, air_temp_c, diameter_m, length_m, assumed)


def _vaporisation(
    tank: Tank,
    level: TankLevel | None,
    level_pct: float | None,
    air_temp_c: float | None,
    diameter_m: float | None,
    length_m: float | None,
    assumed: list[str],
) -> Vaporisation:
    dryers = list(Dryer.objects.filter(tank=tank, deleted_at__isnull=True).order_by("name", "id"))
    rated = [dryer.burner_max_w for dryer in dryers]
    burners_max = sum(power for power in rated if power) or None
    burning = sum(burning_w(dryer.pk for dryer in dryers).values()) or None
    needed = {
        "fuel": tank.fuel == Fuel.PROPANE or None,
        "level_pct": level_pct,
        "air_temp_f": air_temp_c,
        "diameter_in": diameter_m,
        "length_in": length_m,
    }
    missing = [name for name, value in needed.items() if value is None]
    if not all(rated):
        missing.append("dryer.burner_max_btu_h")
    gives = None
    if not {*needed}.intersection(missing):
        gives = float(vapour_power_w(diameter_m or 0.0, length_m or 0.0, level_pct or 0.0, air_temp_c or 0.0))
    demand = max(burners_max or 0.0, burning or 0.0)
    return Vaporisation(
        tank=tank,
        dryers=dryers,
        level=level,
        level_pct=level_pct,
        air_temp_c=air_temp_c,
        diameter_m=diameter_m,
        length_m=length_m,
        gives_w=gives,
        burners_max_w=burners_max,
        burning_w=burning,
        vaporiser_heat_w=demand / PROPANE_J_PER_M3 * LATENT_J_M3 if demand and tank.fuel == Fuel.PROPANE else None,
        enough=None if gives is None or not demand else gives >= demand,
        missing=missing,
        assumed=assumed,
    )
