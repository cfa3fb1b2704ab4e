"""Forecast of batches dried in a fixed bed by hot air, refilled and cooled: many scenarios at once."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray, IntArray, StrArray
from dryrecords.grain.bed_phases import Batch, Phase, run_phases
from dryrecords.grain.bed_scenario import BedScenario
from dryrecords.grain.bed_setup import wet_basis_pct
from dryrecords.grain.bed_state import NEVER, STOP_REASONS, Bed
from dryrecords.grain.energy import MOTOR_EFFICIENCY

__all__ = ["LAYERS", "MODEL_VERSION", "BedRun", "BedScenario", "run_bed"]

MODEL_VERSION = "fixed bed 1"
LAYERS = 15  # within 1.5 % of 60 layers in time, 0.6 point in the driest layer
_TOGETHER = 256  # scenarios whose history stays near the processor
_CURVE_POINTS = 121


@dataclass(frozen=True)
class BedRun:
    """Forecast of each scenario: arrays of shape (n,), NaN where a scenario lacks something; curves (n, points).

    Amounts are for each m2 of floor and for the whole batch, refill and cooling included.
    """

    stop_reason: (
        StrArray  # of bed_state.STOP_REASONS; "limit" after 48 h, "unknown" for a scenario that lacks something
    )
    drying_s: FloatArray  # heated air [s]
    moisture_at_stop_pct: FloatArray  # mean, hot [% wet basis]
    wettest_at_stop_pct: FloatArray  # layer [% wet basis]
    driest_at_stop_pct: FloatArray  # layer [% wet basis]
    grain_temp_at_stop_c: FloatArray  # mean [deg C]
    sensor_temp_at_stop_c: FloatArray  # NaN without a sensor height [deg C]
    exhaust_temp_at_stop_c: FloatArray  # [deg C]
    moisture_dryer_cooled_pct: FloatArray  # mean after cooling in the dryer [% wet basis]
    moisture_cooled_pct: FloatArray  # mean after all cooling that was asked for [% wet basis]
    grain_temp_cooled_c: FloatArray  # mean, likewise [deg C]
    water_removed_kg_m2: FloatArray  # by drying and cooling [kg/m2]
    dry_matter_kg_m2: FloatArray  # [kg/m2]
    heat_j_m2: FloatArray  # that the burner puts into the air, by lower heating value [J/m2]
    fuel_energy_j_m2: FloatArray  # by gross heating value [J/m2]
    fan_energy_j_m2: FloatArray  # electric; NaN without static pressure [J/m2]
    settled_depth_m: FloatArray  # of the bed at the stop [m]
    refill_s: FloatArray  # when the bed was refilled; NaN where it was not [s]
    refill_depth_m: FloatArray  # of the wet grain put on; 0 where none was [m]
    water_error: FloatArray  # what the balance of water leaves open, over the water loaded [-]
    heat_error: FloatArray  # likewise of enthalpy, over what air and grain brought [-]
    curve_s: FloatArray  # common times of the curves, shape (points,); curves are NaN after cooling in the dryer [s]
    curve_moisture_pct: FloatArray  # mean [% wet basis]
    curve_grain_temp_c: FloatArray  # mean [deg C]
    curve_sensor_temp_c: FloatArray  # [deg C]
    curve_exhaust_temp_c: FloatArray  # [deg C]
    curve_depth_m: FloatArray  # [m]


def run_bed(scenario: BedScenario, layers: int = LAYERS) -> BedRun:
    """Forecast batches in a fixed bed: drying until a rule says stop, then cooling.

    Parameters
    ----------
    scenario : n batches of any crops
    layers : that the bed as loaded is divided into; a refill comes on top in layers of its own

    Returns
    -------
    forecast of each batch, whatever the company it is computed in

    Valid for   plenum from ambient to 150 deg C (drying laws: narrower, `thin_layer`); a bed that is not stirred
    Equation    heat and moisture balance of layers, `bed_kernel.LayerStep`
    Source      Thompson, Peart & Foster 1968, Trans. ASAE 11(4)
    Known gap   a model, checked against another implementation and against a partial-differential model, not
                against a measured batch: none with all of its settings was found in print. Airflow is held while
                the bed settles and dries. On the way to the bin, layers are mixed and taken as one moisture.
    Checked by  tests/grain/test_bed.py, test_bed_comparison.py, test_bed_practice.py; tests/benchmarks/bed.py
    """
    spread = scenario.spread()
    complete = spread.is_complete()
    parts: list[tuple[IntArray, Batch]] = []
    for name in np.unique(spread.crop[complete]):
        rows = np.flatnonzero(complete & (spread.crop == name))
        for first in range(0, rows.size, _TOGETHER):
            some = rows[first : first + _TOGETHER]
            parts.append((some, run_phases(str(name), spread.take(some), layers)))
    return _gather(spread, parts)


def _gather(scenario: BedScenario, parts: list[tuple[IntArray, Batch]]) -> BedRun:
    """Figures of all parts in the places of their scenarios, and curves on a time grid common to all."""
    count = scenario.crop.size
    ends = [float(np.max(_curve_end_s(batch))) for _, batch in parts]
    times = np.linspace(0.0, max(ends, default=0.0), _CURVE_POINTS)
    whole: dict[str, Array] = {}
    for each in fields(BedRun):
        shape = (count, _CURVE_POINTS) if each.name.startswith("curve_") else (count,)
        whole[each.name] = np.full(shape, np.nan)
    whole["stop_reason"] = np.full(count, "unknown", dtype="<U8")
    for rows, batch in parts:
        for name, x in (_figures(scenario.take(rows), batch) | _curves(batch, times)).items():
            whole[name][rows] = x
    return BedRun(**(whole | {"curve_s": times}))


def _curve_end_s(batch: Batch) -> FloatArray:
    return batch.drying.lasted_s + (batch.cooling.lasted_s if batch.cooling else 0.0)


def _figures(scenario: BedScenario, batch: Batch) -> dict[str, Array]:
    drying, bed, end = batch.drying, batch.drying.marched.bed, batch.phases[-1].marched.bed
    stop = {name: _at(drying, name, drying.lasted_s) for name in ("temp_c", "sensor_temp_c", "exhaust_temp_c")}
    cooled = (batch.cooling or drying).marched.bed
    in_bin = np.asarray(scenario.bin_cooling_s) > 0.0
    present = bed.dry_kg_m2 > 0.0
    return {
        "stop_reason": np.array(STOP_REASONS)[drying.marched.stop_reason],
        "drying_s": drying.lasted_s,
        "moisture_at_stop_pct": _mean_moisture_pct(bed),
        "wettest_at_stop_pct": wet_basis_pct(np.where(present, bed.moisture, -np.inf).max(axis=0)),
        "driest_at_stop_pct": wet_basis_pct(np.where(present, bed.moisture, np.inf).min(axis=0)),
        "grain_temp_at_stop_c": stop["temp_c"],
        "sensor_temp_at_stop_c": stop["sensor_temp_c"],
        "exhaust_temp_at_stop_c": stop["exhaust_temp_c"],
        "moisture_dryer_cooled_pct": _mean_moisture_pct(cooled),
        "moisture_cooled_pct": _mean_moisture_pct(end),
        "grain_temp_cooled_c": np.where(in_bin, _mean_temp_c(batch, end), _mean_temp_c(batch, cooled)),
        "water_removed_kg_m2": np.sum([each.water_kg_m2 for each in batch.phases], axis=0),
        "dry_matter_kg_m2": bed.dry_kg_m2.sum(axis=0),
        "heat_j_m2": batch.burner_heat_j_m2,
        "fuel_energy_j_m2": batch.burner_heat_j_m2 / scenario.burner_efficiency,
        "fan_energy_j_m2": _fan_energy_j_m2(scenario, batch),
        "settled_depth_m": bed.depth_m(bed.moisture, bed.dry_kg_m2).sum(axis=0),
        "refill_s": _refill_s(batch),
        "refill_depth_m": np.where(np.isnan(_refill_s(batch)), 0.0, drying.marched.refill_depth_m),
        "water_error": batch.water_error,
        "heat_error": batch.heat_error,
    }


def _refill_s(batch: Batch) -> FloatArray:
    """When grain was filled on before the stop. [s]; NaN where none was"""
    marched = batch.drying.marched
    return np.where(
        marched.refill_step < marched.stop_step,
        np.minimum(marched.refill_step, NEVER) * batch.drying.blow.step_s,
        np.nan,
    )


def _mean_moisture_pct(bed: Bed) -> FloatArray:
    """Moisture of the whole bed, from its water and dry matter. [% wet basis]"""
    return wet_basis_pct((bed.dry_kg_m2 * bed.moisture).sum(axis=0) / bed.dry_kg_m2.sum(axis=0))


def _mean_temp_c(batch: Batch, bed: Bed) -> FloatArray:
    """Mean temperature of a bed by its specific heat. [deg C]"""
    heat = bed.dry_kg_m2 * batch.grain.specific_heat_j_kg_k(bed.moisture)
    return np.asarray((heat * bed.temp_c).sum(axis=0) / heat.sum(axis=0))


def _fan_energy_j_m2(scenario: BedScenario, batch: Batch) -> FloatArray:
    """Electric energy of the dryer's fan, and of the bin's where grain is cooled there. [J/m2]"""
    drying_s = _curve_end_s(batch)
    energy = batch.drying.blow.velocity_m_s * scenario.static_pressure_pa * drying_s
    in_bin = np.asarray(scenario.bin_cooling_s)
    bin_energy = np.asarray(scenario.bin_airflow_m3_s_m2) * scenario.bin_static_pressure_pa * in_bin
    energy = energy + np.where(in_bin > 0.0, bin_energy, 0.0)
    return np.asarray(energy / (scenario.fan_efficiency * MOTOR_EFFICIENCY))


def _at(phase: Phase, name: str, time_s: FloatArray) -> FloatArray:
    """Value of a phase's course, linear between its steps; times of shape (..., scenarios)."""
    course: FloatArray = getattr(phase.marched.course, name)
    step = time_s / phase.blow.step_s
    whole = np.clip(np.floor(step), 0, len(course) - 1).astype(np.int64)
    columns = np.broadcast_to(np.arange(course.shape[1]), whole.shape)
    before, after = course[whole, columns], course[np.minimum(whole + 1, len(course) - 1), columns]
    part = step - whole
    return np.where(part > 0.0, before + part * (after - before), before)


def _curves(batch: Batch, times: FloatArray) -> dict[str, Array]:
    dry_end, end = batch.drying.lasted_s, _curve_end_s(batch)
    moments = np.broadcast_to(times[:, np.newaxis], (times.size, dry_end.size))
    curves = {}
    for name in ("moisture", "temp_c", "sensor_temp_c", "exhaust_temp_c", "depth_m"):
        x = _at(batch.drying, name, np.minimum(moments, dry_end))
        if batch.cooling is not None:
            later = _at(batch.cooling, name, np.clip(moments - dry_end, 0.0, batch.cooling.lasted_s))
            x = np.where(moments > dry_end, later, x)
        curves[name] = np.where(moments <= end, x, np.nan).T
    return {
        "curve_moisture_pct": wet_basis_pct(curves["moisture"]),
        "curve_grain_temp_c": curves["temp_c"],
        "curve_sensor_temp_c": curves["sensor_temp_c"],
        "curve_exhaust_temp_c": curves["exhaust_temp_c"],
        "curve_depth_m": curves["depth_m"],
    }
