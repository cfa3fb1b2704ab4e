"""Learns a dryer from its own batches: factors on the bed model, and what a cut-off leaves after cooling."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any
from uuid import UUID

import numpy as np

from dryrecords.equipment.models import Dryer
from dryrecords.grain.bed import MODEL_VERSION, BedScenario, run_bed
from dryrecords.grain.dryer_fit import DryerFit, fit_dryer, stacked
from dryrecords.grain.learning import Learned, learn_line
from dryrecords.season.forecast import Taught, scatter_pct
from dryrecords.season.models import DryerCalibration
from dryrecords.season.taught import LeftOut, Lesson, Outcome, history_of, observed

# Relation: cooled moisture = b0 + b1 (cut-off - its mean) + b2 (moisture in - mean) + b3 (ambient - mean).
TERMS = ("one", "cutoff_temp_c", "moisture_in_pct", "ambient_temp_c")
STEPS = np.array([4.0, 1.5, 4.0])
# Where the model gives none that is plausible: about what it gives for corn at 160 F and 20 to 50 cfm a bushel, where
# a fixed cut-off leaves 0.36 to 0.5 point more for each point more in, and warmer air at the sensor is drier grain.
FALLBACK_SLOPES = np.array([-0.3, 0.4, 0.0])
PLAUSIBLE_SLOPES = np.array([[-1.0, 0.0], [0.0, 1.0], [-0.3, 0.3]])
PRIOR_INTERCEPT_SD = 0.8
PRIOR_SLOPE_SD = np.array([0.04, 0.2, 0.05])
SCATTER_PCT, SCATTER_BATCHES = 0.4, 4.0
LAST_MISSES = 5
# Weight below which a batch is called wild.
WILD = 0.3


def calibrate(dryer: Dryer, crop: str) -> dict[str, Any]:
    """The columns of DryerCalibration, but for keys and generation."""
    history = history_of(dryer, crop)
    lessons = history.lessons
    fit = fit_dryer(observed(crop, lessons))
    known = [lesson for lesson in lessons if not math.isnan(lesson.cutoff_temp_c)]
    return {
        "model_version": MODEL_VERSION,
        "batches": len(lessons),
        "figures": {
            **_factors(fit, lessons),
            "outcomes": _outcomes(history.outcomes),
            "last": _last(history.outcomes, lessons, fit),
            "relation": _relation(crop, known, fit) if known else None,
            "first_at": lessons[0].started_at.isoformat() if lessons else None,
            "last_at": lessons[-1].started_at.isoformat() if lessons else None,
            "left_out": _told([*history.left_out, *_partly_used(lessons)]),
            "typical": _typical(lessons),
        },
    }


def _told(left_out: Sequence[LeftOut]) -> list[dict[str, str]]:
    return [{"batch": str(each.batch_id), "reason": each.reason} for each in left_out]


def _partly_used(lessons: Sequence[Lesson]) -> list[LeftOut]:
    reason = "Nothing tells its sensor's temperature at the stop: used for the factors, not for the cut-off relation."
    return [LeftOut(each.batch_id, reason) for each in lessons if math.isnan(each.cutoff_temp_c)]


def _factors(fit: DryerFit, lessons: Sequence[Lesson]) -> dict[str, Any]:
    return {
        "drying_rate": fit.drying_rate,
        "airflow": fit.airflow,
        "cutoff_offset_c": fit.sensor_offset_c,
        "covariance": fit.covariance.tolist(),
        "rmse_pct": None if math.isnan(fit.rmse_pct) else fit.rmse_pct,
        "wild": [str(lesson.batch_id) for lesson, w in zip(lessons, fit.weights[:, 0], strict=True) if w < WILD],
    }


def _outcomes(outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """How batches of any kind of dryer came out: their spread, and how far each lay from the one before."""
    dry = np.array([each.moisture_pct for each in outcomes])
    known = dry.size > 1
    return {
        "batches": dry.size,
        "sd_pct": float(dry.std(ddof=1)) if known else None,
        "same_as_last_rmse_pct": float(np.sqrt(np.mean(np.diff(dry) ** 2))) if known else None,
    }


def _last(outcomes: Sequence[Outcome], lessons: Sequence[Lesson], fit: DryerFit) -> list[dict[str, Any]]:
    """Cooled moisture of the newest, beside the market base, and beside what the fitted model expects."""
    misses = dict(zip([lesson.batch_id for lesson in lessons], fit.residuals[:, 0].tolist(), strict=True))
    expected = {batch_id: miss for batch_id, miss in misses.items() if not math.isnan(miss)}
    return [
        {
            "batch": str(each.batch_id),
            "moisture_cooled_pct": each.moisture_pct,
            "above_base_points": each.moisture_pct - each.base_moisture_pct,
            "above_model_points": expected.get(each.batch_id),
        }
        for each in outcomes[-LAST_MISSES:]
    ]


def _relation(crop: str, lessons: Sequence[Lesson], fit: DryerFit) -> dict[str, Any]:
    x = _terms(lessons)
    centre = x.mean(axis=0)
    y = np.array([lesson.moisture_out_pct for lesson in lessons])
    y_u = np.array([lesson.moisture_out_u_pct for lesson in lessons])
    prior, covariance = _physical_prior(crop, lessons, centre, fit)
    learned = learn_line(
        np.column_stack([np.ones(y.size), x - centre]),
        y,
        y_u,
        prior,
        covariance,
        scatter=SCATTER_PCT,
        scatter_batches=SCATTER_BATCHES,
    )
    return {
        "batches": len(lessons),
        "centre": centre.tolist(),
        "plenum_temp_c": float(np.mean([each.columns["plenum_temp_c"] for each in lessons])),
        "coefficients": learned.coefficients.tolist(),
        "covariance": learned.covariance.tolist(),
        "scatter_pct": learned.scatter,
        "prior": prior.tolist(),
        **_compared(learned, y),
    }


def _terms(lessons: Sequence[Lesson]) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array(
        [[each.cutoff_temp_c, each.columns["moisture_in_pct"], each.columns["ambient_temp_c"]] for each in lessons]
    )


def _compared(learned: Learned, y: np.ndarray[Any, Any]) -> dict[str, float | None]:
    """Error of a batch that the relation has not seen, beside that of expecting what came out last time.

    Of the same batches, all but the first. The physical prior has seen each batch through the two factors; it weighs
    little against a handful of others.
    """
    if y.size < 2:
        return {"left_out_rmse_pct": None, "same_as_last_rmse_pct": None}
    return {
        "left_out_rmse_pct": float(np.sqrt(np.mean(learned.left_out_error[1:] ** 2))),
        "same_as_last_rmse_pct": float(np.sqrt(np.mean(np.diff(y) ** 2))),
    }


def _physical_prior(
    crop: str, lessons: Sequence[Lesson], centre: np.ndarray[Any, Any], fit: DryerFit
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Level and slopes of the relation in the fitted bed model, about the centre of the batches."""
    middle = {name: float(np.nanmean([each.columns[name] for each in lessons])) for name in _NEEDED}
    moves = np.vstack([np.zeros(3), np.diag(STEPS), -np.diag(STEPS)])
    cutoff, moisture_in, ambient = (centre + moves).T
    base = BedScenario(crop=np.array([crop]), **middle).spread()
    scenario = replace(
        stacked([base] * len(moves)),
        moisture_in_pct=moisture_in,
        ambient_temp_c=ambient,
        bin_air_temp_c=ambient,
        drying_rate_factor=np.full(len(moves), fit.drying_rate),
        airflow_factor=np.full(len(moves), fit.airflow),
        **_stop(lessons, cutoff - fit.sensor_offset_c),
    )
    cooled = run_bed(scenario).moisture_cooled_pct
    slopes = (cooled[1:4] - cooled[4:7]) / (2 * STEPS)
    low, high = PLAUSIBLE_SLOPES.T
    slopes = np.where((slopes >= low) & (slopes <= high), slopes, FALLBACK_SLOPES)
    level = cooled[0] if np.isfinite(cooled[0]) else float(np.mean([each.moisture_out_pct for each in lessons]))
    sd = np.concatenate([[PRIOR_INTERCEPT_SD], np.maximum(PRIOR_SLOPE_SD, 0.5 * np.abs(slopes))])
    return np.concatenate([[level], slopes]), np.diag(sd**2)


_NEEDED = (
    "moisture_in_pct",
    "grain_temp_c",
    "plenum_temp_c",
    "ambient_temp_c",
    "ambient_rh_pct",
    "bed_depth_m",
    "airflow_m3_s_m2",
    "pressure_pa",
    "cooling_s",
    "bin_cooling_s",
    "bin_airflow_m3_s_m2",
)


def _stop(lessons: Sequence[Lesson], cutoff_c: np.ndarray[Any, Any]) -> dict[str, Any]:
    height = lessons[0].bed.sensor_height_m
    if math.isnan(height):
        return {"stop_exhaust_temp_c": cutoff_c}
    return {"stop_sensor_temp_c": cutoff_c, "sensor_height_m": np.full(cutoff_c.size, height)}


def _typical(lessons: Sequence[Lesson]) -> dict[str, float] | None:
    """Settings of the newest batches, for advice that is not told them."""
    if not lessons:
        return None
    newest = lessons[-LAST_MISSES:]
    names = ("plenum_temp_c", "ambient_temp_c", "ambient_rh_pct", "grain_temp_c", "bed_depth_m")
    cooled_in_dryer = float(np.mean([each.columns["bin_cooling_s"] == 0 for each in newest]))
    return {name: float(np.mean([each.columns[name] for each in newest])) for name in names} | {
        "cooled_in_dryer": cooled_in_dryer
    }


def calibration_of(organization_id: UUID, dryer_id: UUID, crop: str) -> DryerCalibration | None:
    return DryerCalibration.objects.filter(organization_id=organization_id, dryer_id=dryer_id, crop=crop).first()


def taught_by(calibration: DryerCalibration | None) -> Taught:
    if calibration is None or not calibration.batches:
        return Taught()
    figures = calibration.figures
    return Taught(
        batches=calibration.batches,
        rmse_pct=figures["rmse_pct"],
        log_drying_rate=math.log(figures["drying_rate"]),
        log_airflow=math.log(figures["airflow"]),
        cutoff_offset_c=figures["cutoff_offset_c"],
        covariance=np.array(figures["covariance"]),
        scatter_pct=scatter_pct(figures["rmse_pct"], calibration.batches),
    )
