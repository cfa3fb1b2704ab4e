"""What a dryer's finished batches can teach: picks the usable ones, and says why the others are left out."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np

from dryrecords.core.errors import Invalid
from dryrecords.equipment.models import Dryer
from dryrecords.grain.bed import BedScenario
from dryrecords.grain.bed_setup import DRYING_LIMIT_S
from dryrecords.grain.dryer_fit import Observed
from dryrecords.harvest.models import HIGHEST_MOISTURE_PCT, Batch, Reading
from dryrecords.season.dryer_bed import Assumptions, DryerBed, dryer_bed, wet_density_kg_m3
from dryrecords.season.forecast import DEFAULT_RH_PCT, IN_BIN, OVERNIGHT_S, usual_cooling
from dryrecords.season.models import BatchResult

# A dryer changes with its screens, burner and grain; older batches than so many teach nothing more.
MOST_BATCHES = 60
# The sensor's last reading tells where it stood at the stop, if it is not older than this.
AT_THE_STOP = timedelta(minutes=15)
# A plenum's mean is taken from so many readings or more.
FEWEST_READINGS = 3
# After so many passes of a cooling front there is nothing left to cool.
MOST_FRONTS = 3.0


@dataclass(frozen=True)
class Lesson:
    """One finished batch as the bed model sees it, SI."""

    batch_id: UUID
    started_at: datetime
    bed: DryerBed
    columns: dict[str, float]
    moisture_out_pct: float
    moisture_out_u_pct: float
    moisture_u_pct: float
    base_moisture_pct: float
    # What the sensor showed at the stop; NaN where nothing tells.
    cutoff_temp_c: float
    fuel_j_m2: float
    fuel_u_j_m2: float


@dataclass(frozen=True)
class LeftOut:
    batch_id: UUID
    reason: str


@dataclass(frozen=True)
class Outcome:
    """How dry one batch came out, of any kind of dryer."""

    batch_id: UUID
    moisture_pct: float
    base_moisture_pct: float


@dataclass(frozen=True)
class History:
    """Batches of one crop in one dryer, oldest first."""

    lessons: list[Lesson]
    left_out: list[LeftOut]
    outcomes: list[Outcome]


@dataclass(frozen=True)
class Shown:
    """What readings showed of a batch, NaN where they show nothing."""

    plenum_temp_c: float = math.nan
    sensor_temp_c: float = math.nan


def history_of(dryer: Dryer, crop: str) -> History:
    """Of the newest batches."""
    batches = list(
        Batch.objects.filter(
            organization_id=dryer.organization_id, dryer=dryer, crop=crop, deleted_at__isnull=True
        ).order_by("-started_at", "-id")[:MOST_BATCHES]
    )[::-1]
    results = BatchResult.objects.in_bulk([batch.pk for batch in batches])
    shown = shown_by_readings(batches)
    history = History([], [], [])
    for batch in batches:
        result = results.get(batch.pk)
        history.outcomes.extend(_outcome(batch, result))
        found = lesson_or_reason(dryer, batch, result, shown.get(batch.pk, Shown()))
        if isinstance(found, Lesson):
            history.lessons.append(found)
        else:
            history.left_out.append(LeftOut(batch.pk, found))
    return history


def _outcome(batch: Batch, result: Any) -> list[Outcome]:
    if result is None or not result.complete or _warned_of(result):
        return []
    return [Outcome(batch.pk, result.moisture_out_pct, result.base_moisture_pct)]


def shown_by_readings(batches: Sequence[Batch]) -> dict[UUID, Shown]:
    ended = {batch.pk: batch.drying_ended_at for batch in batches}
    plenums: dict[UUID, list[float]] = defaultdict(list)
    sensors: dict[UUID, float] = {}
    rows = Reading.objects.filter(batch_id__in=list(ended), deleted_at__isnull=True).order_by("at", "id")
    for batch_id, at, burner, plenum, sensor in rows.values_list(
        "batch_id", "at", "burner", "plenum_temp_c", "grain_temp_c"
    ):
        end = ended[batch_id]
        if end is None or at > end:
            continue
        if plenum is not None and burner != Reading.Burner.OFF:
            plenums[batch_id].append(plenum)
        if sensor is not None and end - at <= AT_THE_STOP:
            sensors[batch_id] = sensor
    return {
        batch_id: Shown(
            float(np.mean(plenums[batch_id])) if len(plenums[batch_id]) >= FEWEST_READINGS else math.nan,
            sensors.get(batch_id, math.nan),
        )
        for batch_id in ended
    }


def lesson_or_reason(dryer: Dryer, batch: Batch, result: BatchResult | None, shown: Shown) -> Lesson | str:
    reason = why_left_out(dryer, batch, result, shown)
    if reason or result is None:
        return reason
    try:
        return _lesson(dryer, batch, result, shown)
    except Invalid as error:
        return error.detail


def why_left_out(dryer: Dryer, batch: Batch, result: BatchResult | None, shown: Shown) -> str:
    """A sentence, empty for a batch that can be used."""
    if dryer.type == Dryer.Type.CONTINUOUS_FLOW:
        return "The model is of a fixed bed, and in this dryer the grain moves."
    if result is None:
        return "It has no result yet."
    if not result.complete:
        return f"It is incomplete: {', '.join(result.missing)}."
    if batch.stop_reason == Batch.StopReason.FAULT:
        return "It was stopped by a fault."
    plenum = _plenum_temp_c(batch, shown)
    if math.isnan(plenum) or batch.ambient_temp_c is None:
        return "Its plenum or ambient temperature is not recorded."
    if plenum - batch.ambient_temp_c < 5:
        return "Its air was not heated."
    return _why_figures_mislead(result)


def _why_figures_mislead(result: Any) -> str:
    if result.points_removed <= 0:
        return "It came out no drier than it went in."
    if not 0 < result.drying_s <= DRYING_LIMIT_S:
        return "It was dried for longer than the 48 h that the model covers, or for no time at all."
    return _warned_of(result)


def _warned_of(result: BatchResult) -> str:
    codes = {warning["code"] for warning in result.warnings}
    told = {
        "hot_samples_only": "It has hot samples only, which read low.",
        "overlaps_another_batch": "Its times overlap with another batch's.",
        "late_sample": "Its cooled sample was taken late.",
    }
    return next((sentence for code, sentence in told.items() if code in codes), "")


def _plenum_temp_c(batch: Batch, shown: Shown) -> float:
    """What readings show, else what was set."""
    if not math.isnan(shown.plenum_temp_c):
        return shown.plenum_temp_c
    return math.nan if batch.plenum_temp_c is None else float(batch.plenum_temp_c)


def _sensor_temp_c(batch: Batch, shown: Shown) -> float:
    """The setting that stopped it, else what the sensor showed just before the stop."""
    if batch.stop_reason == Batch.StopReason.CUTOFF and batch.cutoff_temp_c is not None:
        return float(batch.cutoff_temp_c)
    return shown.sensor_temp_c


def _lesson(dryer: Dryer, batch: Batch, result: Any, shown: Shown) -> Lesson:
    added = sum(refill["mass_kg"] for refill in batch.refills)
    first = result.wet_mass_kg - added
    if first <= 0:
        raise Invalid("Its refills weigh as much as all of it.")
    wet = sum(refill["mass_kg"] * refill["moisture_pct"] for refill in batch.refills)
    # The result's moisture in is the mean of all that went in.
    moisture_in = (result.moisture_in_pct * result.wet_mass_kg - wet) / first
    if not 0 < moisture_in <= HIGHEST_MOISTURE_PCT:
        raise Invalid("Its refills do not fit its moisture.")
    bed = dryer_bed(dryer, batch.crop, moisture_in, Assumptions(), wet_mass_kg=first)
    metered = result.fuel_basis == BatchResult.Basis.METERED and (result.fuel_energy_j or 0) > 0
    return Lesson(
        batch_id=batch.pk,
        started_at=batch.started_at,
        bed=bed,
        columns={
            **_settings(dryer, batch, bed, shown),
            **_refill(batch, bed, added, wet),
            "moisture_in_pct": moisture_in,
            "stop_time_s": result.drying_s,
        },
        moisture_out_pct=result.moisture_out_pct,
        moisture_out_u_pct=result.moisture_out_pct_u or 0.0,
        moisture_u_pct=result.points_removed_u or 0.0,
        base_moisture_pct=result.base_moisture_pct,
        cutoff_temp_c=_sensor_temp_c(batch, shown),
        fuel_j_m2=result.fuel_energy_j / bed.area_m2 if metered else math.nan,
        fuel_u_j_m2=(result.fuel_energy_j_u or 0.0) / bed.area_m2 if metered else math.nan,
    )


def _settings(dryer: Dryer, batch: Batch, bed: DryerBed, shown: Shown) -> dict[str, float]:
    """Fields of BedScenario that were set, or stood, when the batch began."""
    ambient = float(batch.ambient_temp_c or 0.0)
    cooling_s = min(batch.cooling_s or 0.0, MOST_FRONTS * bed.cooling_front_s)
    # Grain that the dryer has cooled, or that stays in it, is not cooled by the fan of a bin.
    in_bin = usual_cooling(dryer) == IN_BIN and cooling_s < bed.cooling_front_s
    return {
        "grain_temp_c": ambient if batch.grain_temp_c is None else float(batch.grain_temp_c),
        "plenum_temp_c": _plenum_temp_c(batch, shown),
        "ambient_temp_c": ambient,
        "ambient_rh_pct": DEFAULT_RH_PCT if batch.ambient_rh_pct is None else float(batch.ambient_rh_pct),
        "bed_depth_m": bed.depth_m,
        "airflow_m3_s_m2": bed.airflow_m3_s_m2,
        "pressure_pa": bed.pressure_pa,
        "sensor_height_m": bed.sensor_height_m,
        "cooling_s": cooling_s,
        "bin_cooling_s": max(OVERNIGHT_S, bed.bin_cooling_front_s) if in_bin else 0.0,
        "bin_airflow_m3_s_m2": bed.bin_airflow_m3_s_m2,
    }


def _refill(batch: Batch, bed: DryerBed, added_kg: float, wet_kg_pct: float) -> dict[str, float]:
    """Grain poured in at several times counts as poured in at the first."""
    if not batch.refills:
        return dict.fromkeys(("refill_at_s", "refill_depth_m", "refill_moisture_pct"), math.nan)
    first_at = min(datetime.fromisoformat(refill["at"]) for refill in batch.refills)
    moisture = wet_kg_pct / added_kg
    return {
        "refill_at_s": max((first_at - batch.started_at).total_seconds(), 1.0),
        "refill_depth_m": added_kg / (bed.area_m2 * wet_density_kg_m3(batch.crop, moisture)),
        "refill_moisture_pct": moisture,
    }


def observed(crop: str, lessons: Sequence[Lesson]) -> Observed:
    names = list(lessons[0].columns) if lessons else [each.name for each in fields(BedScenario) if each.name != "crop"]
    columns = {name: np.array([lesson.columns[name] for lesson in lessons]) for name in names}
    return Observed(
        scenario=BedScenario(crop=np.full(len(lessons), crop), **columns).spread(),
        moisture_cooled_pct=np.array([lesson.moisture_out_pct for lesson in lessons]),
        moisture_u_pct=np.array([lesson.moisture_u_pct for lesson in lessons]),
        sensor_temp_c=np.array([lesson.cutoff_temp_c for lesson in lessons]),
        fuel_j_m2=np.array([lesson.fuel_j_m2 for lesson in lessons]),
        fuel_u_j_m2=np.array([lesson.fuel_u_j_m2 for lesson in lessons]),
    )
