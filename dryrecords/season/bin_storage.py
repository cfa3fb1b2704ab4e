"""What stands in a bin, how much of its storage life is used, and how long it may still keep."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np

from dryrecords.core import clock
from dryrecords.equipment.models import Bin
from dryrecords.grain.storage import SAFE_MOISTURES, ColdBranch, allowable_storage_s, storage_left_s, storage_life_used
from dryrecords.harvest.models import Batch, Sample
from dryrecords.season.models import BatchResult
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import get

BRANCH = ColdBranch.STEELE


@dataclass(frozen=True)
class BinStorage:
    """Moisture in percent, times in seconds; None where it cannot be said, with the reason in `missing`."""

    bin: Bin
    at: datetime
    crop: str | None
    batches: list[UUID]
    dry_mass_kg: float | None
    stored_since: datetime | None
    moisture_pct: float | None
    moisture_from: str
    temp_c: float | None
    life_used: float | None
    life_left_s: float | None
    safe_cool_pct: float | None
    safe_warm_pct: float | None
    safe_source: str
    branch: str
    missing: list[str]
    assumed: list[str]


def bin_storage(access: Access, bin_id: UUID, at: datetime | None = None) -> BinStorage:
    """Of the newest season's grain in the bin, up to a moment."""
    held = get(access, Bin, bin_id)
    moment = at or clock.now()
    batches = list(
        Batch.objects.visible_to(access).filter(bin=held, started_at__lte=moment).order_by("started_at", "id")
    )
    newest = batches[-1] if batches else None
    inside = [b for b in batches if newest and (b.season, b.crop) == (newest.season, newest.crop)]
    samples = list(Sample.objects.visible_to(access).filter(bin=held, taken_at__lte=moment).order_by("taken_at", "id"))
    since = (inside[0].emptied_at or inside[0].drying_ended_at or inside[0].started_at) if inside else None
    samples = [sample for sample in samples if since is None or sample.taken_at >= since]
    return _described(held, moment, inside, samples, since)


def _described(
    held: Bin, moment: datetime, inside: list[Batch], samples: list[Sample], since: datetime | None
) -> BinStorage:
    crop = inside[0].crop if inside else None
    dry_mass, out_pct = _came_in(inside)
    moisture, moisture_from = _moisture(samples, out_pct)
    temps = [(sample.taken_at, sample.grain_temp_c) for sample in samples if sample.grain_temp_c is not None]
    missing = [
        name
        for name, lacks in {
            "batches": crop is None,
            "moisture_pct": moisture is None,
            "grain_temp_f": not temps,
        }.items()
        if lacks
    ]
    used = left = None
    if crop and moisture is not None and temps and since:
        used, left = _life(crop, moisture, since, moment, temps)
    safe = SAFE_MOISTURES.get(crop or "")
    return BinStorage(
        bin=held,
        at=moment,
        crop=crop,
        batches=[batch.pk for batch in inside],
        dry_mass_kg=dry_mass,
        stored_since=since,
        moisture_pct=moisture,
        moisture_from=moisture_from,
        temp_c=temps[-1][1] if temps else None,
        life_used=used,
        life_left_s=left,
        safe_cool_pct=safe.cool_pct if safe else None,
        safe_warm_pct=safe.warm_pct if safe else None,
        safe_source=safe.source if safe else "",
        branch=BRANCH.value,
        missing=missing,
        assumed=_assumed(temps, since),
    )


def _came_in(inside: list[Batch]) -> tuple[float | None, float | None]:
    """Mass that was dried into the bin, and its mean moisture by mass."""
    rows: list[Any] = list(
        BatchResult.objects.filter(batch_id__in=[batch.pk for batch in inside], complete=True).values_list(
            "dry_mass_kg", "moisture_out_pct"
        )
    )
    mass = sum(row[0] for row in rows)
    return (mass, sum(row[0] * row[1] for row in rows) / mass) if mass else (None, None)


def _moisture(samples: list[Sample], out_pct: float | None) -> tuple[float | None, str]:
    if samples:
        return samples[-1].moisture_pct, "the newest sample of the bin"
    return out_pct, "" if out_pct is None else "the samples of the batches dried into it"


def _life(
    crop: str, moisture_pct: float, since: datetime, moment: datetime, temps: list[tuple[datetime, float]]
) -> tuple[float, float]:
    """Share of life used from span to span between temperatures, and what is left at the newest one."""
    spans = [since, *(at for at, _ in temps[1:]), moment]
    seconds = np.array([(b - a).total_seconds() for a, b in itertools.pairwise(spans)])
    temps_c = np.array([temp for _, temp in temps])
    allowed = allowable_storage_s(np.full(len(temps), moisture_pct), temps_c, crop=crop, cold_branch=BRANCH)
    used = float(np.sum(storage_life_used(seconds, allowed)))
    return used, float(storage_left_s(used, allowed[-1]))


def _assumed(temps: list[tuple[datetime, float]], since: datetime | None) -> list[str]:
    said = [f"Storage life of corn by {BRANCH.value}; the more careful of two published branches in the cold."]
    if temps and since:
        said.append("A temperature counts from its reading to the next; the first one from the beginning.")
    return said
