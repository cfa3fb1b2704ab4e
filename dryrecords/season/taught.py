"""What a dryer's finished batches can teach: picks the usable ones, and says why the others are left out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np

from dryrecords.equipment.models import Dryer
from dryrecords.grain.bed import BedScenario
from dryrecords.grain.dryer_fit import Observed
from dryrecords.harvest.models import Batch
from dryrecords.season.dryer_bed import Assumptions, DryerBed, dryer_bed, wet_density_kg_m3
from dryrecords.season.forecast import OVERNIGHT_S
from dryrecords.season.models import BatchResult

# A dryer changes with its screens, burner and grain; older batches than so many teach nothing more.
MOST_BATCHES = 60
DEFAULT_RH_PCT = 65.0


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
    cutoff_temp_c: float
    fuel_j_m2: float
    fuel_u_j_m2: float


@dataclass(frozen=True)
class LeftOut:
    batch_id: UUID
    reason: str


def lessons_of(dryer: Dryer, crop: str) -> tuple[list[Lesson], list[LeftOut]]:
    """The newest batches of a crop in this dryer, oldest first."""
    fixed_bed = dryer.type != Dryer.Type.CONTINUOUS_FLOW
    batches = list(
        Batch.objects.filter(
            organization_id=dryer.organization_id, dryer=dryer, crop=crop, deleted_at__isnull=True
        ).order_by("-started_at", "-id")[:MOST_BATCHES]
    )
    results = BatchResult.objects.in_bulk([batch.pk for batch in batches])
    lessons, left_out = [], []
    for batch in reversed(batches):
        result = results.get(batch.pk)
        reason = why_left_out(batch, result) if fixed_bed else "The model is of a fixed bed, not of a moving one."
        if reason or result is None:
            left_out.append(LeftOut(batch.pk, reason or "no result yet"))
        else:
            lessons.append(_lesson(dryer, batch, result))
    return lessons, left_out


def why_left_out(batch: Batch, result: BatchResult | None) -> str:
    """A sentence, empty for a batch that can be used."""
    if result is None:
        return "It has no result yet."
    if not result.complete:
        return f"It is incomplete: {', '.join(result.missing)}."
    if batch.stop_reason == Batch.StopReason.FAULT:
        return "It was stopped by a fault."
    if batch.plenum_temp_c is None or batch.ambient_temp_c is None:
        return "Its plenum or ambient temperature is not recorded."
    if batch.plenum_temp_c - batch.ambient_temp_c < 5:
        return "Its air was not heated."
    codes = {warning["code"] for warning in result.warnings}
    told = {
        "hot_samples_only": "It has hot samples only, which read low.",
        "wetter_out_than_in": "It came out wetter than it went in.",
        "overlaps_another_batch": "Its times overlap with another batch's.",
        "late_sample": "Its cooled sample was taken late.",
    }
    return next((sentence for code, sentence in told.items() if code in codes), "")


def _lesson(dryer: Dryer, batch: Batch, result: Any) -> Lesson:
    added = sum(refill["mass_kg"] for refill in batch.refills)
    first = max(result.wet_mass_kg - added, 1.0)
    bed = dryer_bed(dryer, batch.crop, result.moisture_in_pct, Assumptions(), wet_mass_kg=first)
    by_cutoff = batch.stop_reason == Batch.StopReason.CUTOFF and batch.cutoff_temp_c is not None
    metered = result.fuel_basis == BatchResult.Basis.METERED and (result.fuel_energy_j or 0) > 0
    return Lesson(
        batch_id=batch.pk,
        started_at=batch.started_at,
        bed=bed,
        columns=_columns(batch, result, bed, added),
        moisture_out_pct=result.moisture_out_pct,
        moisture_out_u_pct=result.moisture_out_pct_u,
        moisture_u_pct=result.points_removed_u,
        cutoff_temp_c=float(batch.cutoff_temp_c or math.nan) if by_cutoff else math.nan,
        fuel_j_m2=result.fuel_energy_j / bed.area_m2 if metered else math.nan,
        fuel_u_j_m2=result.fuel_energy_j_u / bed.area_m2 if metered else math.nan,
    )


def _columns(batch: Batch, result: Any, bed: DryerBed, added_kg: float) -> dict[str, float]:
    """Fields of BedScenario of this batch; without a refill its rules are not used."""
    refill = {}
    if batch.refills:
        since_start = datetime.fromisoformat(batch.refills[0]["at"]) - batch.started_at
        moisture = sum(r["mass_kg"] * r["moisture_pct"] for r in batch.refills) / added_kg
        refill = {
            # Poured in at several times, it counts as poured in at the first.
            "refill_at_s": max(since_start.total_seconds(), 1.0),
            "refill_depth_m": added_kg / (bed.area_m2 * wet_density_kg_m3(batch.crop, moisture)),
            "refill_moisture_pct": moisture,
        }
    ambient = float(batch.ambient_temp_c or 0.0)
    grain = batch.grain_temp_c if batch.grain_temp_c is not None else ambient
    return {
        "moisture_in_pct": result.moisture_in_pct,
        "grain_temp_c": grain,
        "plenum_temp_c": float(batch.plenum_temp_c or math.nan),
        "ambient_temp_c": ambient,
        "ambient_rh_pct": DEFAULT_RH_PCT if batch.ambient_rh_pct is None else batch.ambient_rh_pct,
        "bed_depth_m": bed.depth_m,
        "airflow_m3_s_m2": bed.airflow_m3_s_m2,
        "pressure_pa": bed.pressure_pa,
        "sensor_height_m": bed.sensor_height_m,
        "stop_time_s": result.drying_s,
        "bin_cooling_s": OVERNIGHT_S,
        "bin_airflow_m3_s_m2": bed.bin_airflow_m3_s_m2,
        "refill_at_s": math.nan,
        "refill_depth_m": math.nan,
        "refill_moisture_pct": math.nan,
        **refill,
    }


def observed(crop: str, lessons: Sequence[Lesson]) -> Observed:
    names = list(lessons[0].columns) if lessons else []
    columns = {name: np.array([lesson.columns[name] for lesson in lessons]) for name in names}
    if not lessons:
        columns = dict.fromkeys(
            (
                "moisture_in_pct",
                "grain_temp_c",
                "plenum_temp_c",
                "ambient_temp_c",
                "ambient_rh_pct",
                "bed_depth_m",
                "airflow_m3_s_m2",
            ),
            np.empty(0),
        )
    return Observed(
        scenario=BedScenario(crop=np.full(len(lessons), crop), **columns).spread(),
        moisture_cooled_pct=np.array([lesson.moisture_out_pct for lesson in lessons]),
        moisture_u_pct=np.array([lesson.moisture_u_pct for lesson in lessons]),
        sensor_temp_c=np.array([lesson.cutoff_temp_c for lesson in lessons]),
        fuel_j_m2=np.array([lesson.fuel_j_m2 for lesson in lessons]),
        fuel_u_j_m2=np.array([lesson.fuel_u_j_m2 for lesson in lessons]),
    )
