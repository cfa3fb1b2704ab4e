"""What the bed model expected of one batch, along its time, with what its dryer has taught: to lay readings beside."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dryrecords.core.errors import Invalid
from dryrecords.equipment.models import Dryer
from dryrecords.grain.bed import run_bed
from dryrecords.harvest.models import Batch
from dryrecords.season.calibration import calibration_of, taught_by
from dryrecords.season.dryer_bed import Assumptions, DryerBed, dryer_bed
from dryrecords.season.forecast import Curve, Taught, Wanted, curve_of, scenario_of
from dryrecords.season.models import BatchResult
from dryrecords.season.taught import Lesson, lesson_or_reason, observed, shown_by_readings


@dataclass(frozen=True)
class Course:
    """`curve` is None where the model cannot follow the batch; `why_not` then says why."""

    curve: Curve | None
    why_not: str = ""
    # Batches of this dryer that the factors were learned from.
    taught_by: int = 0


def expected_course(batch: Batch, result: BatchResult | None) -> Course:
    """As it was dried, if it is finished; else until its cut-off, or its base moisture, if enough is known of it."""
    dryer: Dryer = batch.dryer
    taught = taught_by(calibration_of(batch.organization_id, dryer.pk, batch.crop))
    try:
        found = _of_finished(dryer, batch, result) if batch.drying_ended_at else None
        if isinstance(found, str):
            return Course(None, found)
        curve = _run(batch.crop, found, taught) if found else _of_open(dryer, batch, result, taught)
    except Invalid as error:
        return Course(None, error.detail)
    return Course(curve, "" if curve else "What went in is not known yet.", taught.batches)


def _of_finished(dryer: Dryer, batch: Batch, result: BatchResult | None) -> Lesson | str:
    return lesson_or_reason(dryer, batch, result, shown_by_readings([batch])[batch.pk])


def _run(crop: str, lesson: Lesson, taught: Taught) -> Curve:
    """One run with the batch's own settings and time."""
    rate, airflow = taught.factors
    one = np.array([1.0])
    scenario = observed(crop, [lesson]).scenario
    run = run_bed(replace(scenario, drying_rate_factor=one * rate, airflow_factor=one * airflow))
    return curve_of(run, taught)


def _of_open(dryer: Dryer, batch: Batch, result: Any, taught: Taught) -> Curve | None:
    if result is None or result.moisture_in_pct is None:
        return None
    if batch.plenum_temp_c is None or batch.ambient_temp_c is None or batch.wet_mass_kg is None:
        return None
    wanted = Wanted(
        crop=batch.crop,
        moisture_in_pct=result.moisture_in_pct,
        target_moisture_pct=result.base_moisture_pct,
        plenum_temp_c=batch.plenum_temp_c,
        ambient_temp_c=batch.ambient_temp_c,
        ambient_rh_pct=batch.ambient_rh_pct,
        grain_temp_c=batch.grain_temp_c,
        wet_mass_kg=batch.wet_mass_kg,
    )
    assumed = Assumptions()
    bed = dryer_bed(dryer, batch.crop, wanted.moisture_in_pct, assumed, wet_mass_kg=batch.wet_mass_kg)
    run = run_bed(replace(scenario_of(dryer, wanted, bed, taught, assumed), **_stop(batch, bed, wanted, taught)))
    return curve_of(run, taught)


def _stop(batch: Batch, bed: DryerBed, wanted: Wanted, taught: Taught) -> dict[str, Any]:
    if batch.cutoff_temp_c is None:
        return {"stop_moisture_pct": np.array([wanted.target_moisture_pct])}
    by = "stop_exhaust_temp_c" if np.isnan(bed.sensor_height_m) else "stop_sensor_temp_c"
    return {by: np.array([batch.cutoff_temp_c - taught.cutoff_offset_c])}
