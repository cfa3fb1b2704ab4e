"""What stands in a bin, how much of its storage life is used, and how long it may still keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from dryrecords.core import clock
from dryrecords.equipment.models import Bin
from dryrecords.grain.storage import (
    CORN_OFFSETS,
    SAFE_MOISTURES,
    ColdBranch,
    allowable_storage_s,
    in_range,
    storage_left_s,
    storage_life_used,
)
from dryrecords.harvest.models import Batch, Sample
from dryrecords.season.models import BatchResult
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import get

MODEL_VERSION = "storage life 1"
BRANCH = ColdBranch.STEELE
# Months in which warm-season moistures count, in the bin's time zone. Our own choice.
WARM_MONTHS = range(5, 10)
# Grain that has warmed by so much since the sample before is called heating. Common practice, no source.
HEATING_K = 3.0


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
    warmed_c: float | None
    life_used: float | None
    life_left_s: float | None
    safe_cool_pct: float | None
    safe_warm_pct: float | None
    # The one of the two that counts at this time of the year.
    safe_pct: float | None
    safe_source: str
    branch: str
    missing: list[str]
    assumed: list[str]


@dataclass(frozen=True)
class _State:
    """A sample of the bin: it counts from its moment to the next one."""

    at: datetime
    moisture_pct: float
    temp_c: float | None


def bin_storage(access: Access, bin_id: UUID, at: datetime | None = None) -> BinStorage:
    """Of the newest season's grain in the bin, up to a moment; of batches and samples that the caller may see."""
    held = get(access, Bin, bin_id)
    moment = at or clock.now()
    batches = [
        batch
        for batch in Batch.objects.visible_to(access).filter(bin=held).order_by("started_at", "id")
        if _came_at(batch) <= moment
    ]
    newest = batches[-1] if batches else None
    inside = [b for b in batches if newest and (b.season, b.crop) == (newest.season, newest.crop)]
    since = min(map(_came_at, inside), default=None)
    rows = Sample.objects.visible_to(access).filter(bin=held, taken_at__lte=moment).order_by("taken_at", "id")
    samples = [_State(row.taken_at, row.moisture_pct, row.grain_temp_c) for row in rows]
    return _described(held, moment, inside, [each for each in samples if since is None or each.at >= since], since)


def _came_at(batch: Batch) -> datetime:
    return batch.emptied_at or batch.cooling_ended_at or batch.drying_ended_at or batch.started_at


def _described(
    held: Bin, moment: datetime, inside: list[Batch], samples: list[_State], since: datetime | None
) -> BinStorage:
    crop = inside[0].crop if inside else None
    dry_mass, out_pct = _came_in(inside)
    moisture, moisture_from = _moisture(samples, out_pct)
    temps = [sample.temp_c for sample in samples if sample.temp_c is not None]
    lacking = {"batches": crop is None, "moisture_pct": moisture is None, "grain_temp_f": not temps}
    used = left = None
    if crop and temps and since:
        used, left = _life(crop, since, moment, samples, out_pct)
    safe = SAFE_MOISTURES.get(crop or "")
    warm = moment.astimezone(ZoneInfo(held.site.timezone)).month in WARM_MONTHS
    return BinStorage(
        bin=held,
        at=moment,
        crop=crop,
        batches=[batch.pk for batch in inside],
        dry_mass_kg=dry_mass,
        stored_since=since,
        moisture_pct=moisture,
        moisture_from=moisture_from,
        temp_c=temps[-1] if temps else None,
        warmed_c=temps[-1] - temps[-2] if len(temps) > 1 else None,
        life_used=used,
        life_left_s=left,
        safe_cool_pct=safe.cool_pct if safe else None,
        safe_warm_pct=safe.warm_pct if safe else None,
        safe_pct=(safe.warm_pct if warm else safe.cool_pct) if safe else None,
        safe_source=safe.source if safe else "",
        branch=BRANCH.value,
        missing=[name for name, lacks in lacking.items() if lacks],
        assumed=_assumed(crop, moisture, temps),
    )


def _came_in(inside: list[Batch]) -> tuple[float | None, float | None]:
    """Mass that was dried into the bin, and the moisture of all of it by mass."""
    results = BatchResult.objects.filter(batch_id__in=[batch.pk for batch in inside], complete=True)
    rows: list[Any] = list(results.order_by("batch_id").values_list("dry_mass_kg", "moisture_out_pct"))
    mass = sum(row[0] for row in rows)
    return (mass, sum(row[0] * row[1] for row in rows) / mass) if mass else (None, None)


def _moisture(samples: list[_State], out_pct: float | None) -> tuple[float | None, str]:
    if samples:
        return samples[-1].moisture_pct, "the newest sample of the bin"
    return out_pct, "" if out_pct is None else "the samples of the batches dried into it"


def _life(
    crop: str, since: datetime, moment: datetime, samples: Sequence[_State], out_pct: float | None
) -> tuple[float | None, float | None]:
    """Share of life used up from state to state of the grain, and what is left as it stands now. [-], [s]"""
    first_temp = next(sample.temp_c for sample in samples if sample.temp_c is not None)
    begins, moistures = [since], [samples[0].moisture_pct if out_pct is None else out_pct]
    temps = [first_temp]
    for sample in samples:
        begins.append(sample.at)
        moistures.append(sample.moisture_pct)
        temps.append(temps[-1] if sample.temp_c is None else sample.temp_c)
    seconds = np.diff([begin.timestamp() for begin in [*begins, moment]])
    allowed = allowable_storage_s(np.array(moistures), np.array(temps), crop=crop, cold_branch=BRANCH)
    used = float(storage_life_used(seconds, allowed)[-1])
    left = float(storage_left_s(used, allowed[-1]))
    return (used, left) if np.isfinite([used, left]).all() else (None, None)


def _assumed(crop: str | None, moisture_pct: float | None, temps: list[float]) -> list[str]:
    said = [f"Storage life by {BRANCH.value}; the more careful of two published branches in the cold."]
    if crop and crop in CORN_OFFSETS and CORN_OFFSETS[crop].points:
        offset = CORN_OFFSETS[crop]
        said.append(f"It keeps as corn does that is {offset.points:g} points wetter: {offset.source}.")
    if not temps:
        return said
    said.append("Moisture and temperature of a sample count until the next; the first temperature from the beginning.")
    if crop and moisture_pct is not None and not bool(in_range(moisture_pct, temps[-1], crop)):
        said.append("Moisture or temperature is outside of the published tables: read the times as rough.")
    return said
