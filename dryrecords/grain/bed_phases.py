"""The phases of batches of one crop: heated air, ambient air in the dryer, ambient air in the bin; and their sums."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray
from dryrecords.grain.bed_grain import grain_constants
from dryrecords.grain.bed_kernel import GrainConstants
from dryrecords.grain.bed_march import march
from dryrecords.grain.bed_scenario import BedScenario
from dryrecords.grain.bed_setup import (
    Air,
    ambient_humidity,
    blow,
    cooling_stop,
    dry_basis,
    drying_stop,
    heating,
    loaded_bed,
    refill,
)
from dryrecords.grain.bed_state import Bed, Blow, Marched
from dryrecords.grain.psychrometrics import enthalpy_j_kg, humidity_ratio_of_rh


@dataclass(frozen=True)
class Phase:
    """One march, and what its air took with it: arrays of shape (n,)."""

    marched: Marched
    blow: Blow
    lasted_s: FloatArray  # [s]
    water_kg_m2: FloatArray  # taken up by the air [kg/m2]
    heat_j_m2: FloatArray  # likewise, enthalpy [J/m2]
    heat_moved_j_m2: FloatArray  # enthalpy that the air brought and took, whatever its sign [J/m2]


@dataclass(frozen=True)
class Batch:
    """Batches of one crop through all phases; arrays of shape (n,)."""

    grain: GrainConstants
    drying: Phase
    cooling: Phase | None  # in the dryer; None where no batch is cooled there
    storing: Phase | None  # in the bin; None where no batch is
    burner_heat_j_m2: FloatArray
    water_error: FloatArray
    heat_error: FloatArray

    @property
    def phases(self) -> list[Phase]:
        """The phases that were, in their order."""
        return [each for each in (self.drying, self.cooling, self.storing) if each is not None]


def run_phases(crop: str, scenario: BedScenario, layers: int) -> Batch:
    """Dry and cool batches of one crop; a scenario that is spread out and complete."""
    grain, humidity = grain_constants(crop), ambient_humidity(scenario)
    outside = np.asarray(scenario.ambient_temp_c)
    plenum = heating(scenario, humidity)
    bed = loaded_bed(scenario, crop, layers)
    airflow = np.asarray(scenario.airflow_m3_s_m2 * scenario.airflow_factor)

    hot = Air(np.asarray(scenario.plenum_temp_c), plenum.humidity, outside, humidity, np.asarray(scenario.refill_at_s))
    wind = blow(scenario, grain, bed.dry_kg_m2[0], hot, airflow)
    drying = _phase(grain, wind, march(grain, bed, wind, drying_stop(scenario), refill(scenario, wind.step_s)))

    cooling = _cooling(grain, scenario, drying.marched.bed, outside, humidity, airflow)
    last = cooling or drying
    storing = _storing(grain, scenario, last.marched.bed, layers)
    phases = [each for each in (drying, cooling, storing) if each is not None]
    water_error, heat_error = _errors(grain, scenario, bed, phases)
    heat = plenum.heat_j_kg * wind.flux_kg_s_m2 * drying.lasted_s
    return Batch(grain, drying, cooling, storing, heat, water_error, heat_error)


def _cooling(
    grain: GrainConstants,
    scenario: BedScenario,
    bed: Bed,
    temp_c: FloatArray,
    humidity: FloatArray,
    airflow: FloatArray,
) -> Phase | None:
    time_s = np.asarray(scenario.cooling_s)
    if not time_s.any():
        return None
    wind = blow(scenario, grain, bed.dry_kg_m2[0], Air(temp_c, humidity, temp_c, humidity, time_s), airflow)
    stop = cooling_stop(scenario, time_s, np.asarray(scenario.sensor_height_m))
    return _phase(grain, wind, march(grain, bed, wind, stop))


def _storing(grain: GrainConstants, scenario: BedScenario, bed: Bed, layers: int) -> Phase | None:
    """Cooling in the bin by the layer model too, so that it can take no more water than its energy allows."""
    time_s = np.asarray(scenario.bin_cooling_s)
    if not time_s.any():
        return None
    temp_c = np.asarray(scenario.bin_air_temp_c)
    humidity = humidity_ratio_of_rh(temp_c, scenario.bin_air_rh_pct, scenario.pressure_pa)
    mixed = _mixed(grain, bed, layers, np.asarray(scenario.bin_tempered))
    # a batch that is not moved may have no airflow; any will do for no time at all
    airflow = np.where(time_s > 0.0, scenario.bin_airflow_m3_s_m2, scenario.airflow_m3_s_m2)
    wind = blow(scenario, grain, mixed.dry_kg_m2[0], Air(temp_c, humidity, temp_c, humidity, time_s), airflow)
    stop = cooling_stop(scenario, time_s, np.full(time_s.shape, np.nan))
    return _phase(grain, wind, march(grain, mixed, wind, stop))


def _mixed(grain: GrainConstants, bed: Bed, layers: int, tempered: FloatArray) -> Bed:
    """The same grain mixed through and spread over as many equal layers.

    Where kernels have tempered, their surface is as wet as their core, so they dry like fresh grain of their moisture.
    """
    total = bed.dry_kg_m2.sum(axis=0)
    moisture, reference, heat = (
        (bed.dry_kg_m2 * x).sum(axis=0) / total
        for x in (bed.moisture, bed.reference, grain.enthalpy_j_kg(bed.moisture, bed.temp_c))
    )
    reference = reference + tempered * (moisture - reference)
    each = (layers, 1)
    return Bed(
        moisture=np.tile(moisture, each),
        temp_c=np.tile(grain.temp_c(moisture, heat), each),
        reference=np.tile(reference, each),
        dry_kg_m2=np.tile(total / layers, each),
        base_volume_m3_kg=bed.base_volume_m3_kg,
        base_moisture=bed.base_moisture,
    )


def _phase(grain: GrainConstants, wind: Blow, marched: Marched) -> Phase:
    """Sums over the steps of a march, the last of them in part."""
    course, steps = marched.course, np.arange(1, len(marched.course.moisture))
    part = np.clip(marched.stop_step - (steps[:, np.newaxis] - 1), 0.0, 1.0)
    air_kg_m2 = np.where(part > 0.0, part, 0.0) * wind.flux_kg_s_m2 * wind.step_s
    out = enthalpy_j_kg(course.exhaust_temp_c[1:], course.exhaust_humidity[1:])
    into = enthalpy_j_kg(wind.temp_c, wind.humidity)

    def total(x: Array) -> FloatArray:
        return np.where(part > 0.0, air_kg_m2 * x, 0.0).sum(axis=0)

    return Phase(
        marched,
        wind,
        lasted_s=marched.stop_step * wind.step_s,
        water_kg_m2=total(course.exhaust_humidity[1:] - wind.humidity),
        heat_j_m2=total(out - into),
        heat_moved_j_m2=total(np.abs(out) + np.abs(into)),
    )


def _errors(
    grain: GrainConstants, scenario: BedScenario, loaded: Bed, phases: list[Phase]
) -> tuple[FloatArray, FloatArray]:
    """What the balances of water and enthalpy leave open over all phases, relative. [-]"""
    end = phases[-1].marched.bed
    dry_end, dry_loaded = end.dry_kg_m2.sum(axis=0), loaded.dry_kg_m2.sum(axis=0)
    added, moisture = dry_end - dry_loaded, dry_basis(np.asarray(scenario.refill_moisture_pct))
    water_in = (loaded.dry_kg_m2 * loaded.moisture).sum(axis=0) + added * moisture
    heat_in = (loaded.dry_kg_m2 * grain.enthalpy_j_kg(loaded.moisture, loaded.temp_c)).sum(axis=0)
    heat_in = heat_in + added * grain.enthalpy_j_kg(moisture, np.asarray(scenario.refill_temp_c))
    water = water_in - (end.dry_kg_m2 * end.moisture).sum(axis=0)
    heat = heat_in - (end.dry_kg_m2 * grain.enthalpy_j_kg(end.moisture, end.temp_c)).sum(axis=0)
    moved = np.abs(heat_in) + np.sum([each.heat_moved_j_m2 for each in phases], axis=0)
    return (
        (water - np.sum([each.water_kg_m2 for each in phases], axis=0)) / water_in,
        (heat - np.sum([each.heat_j_m2 for each in phases], axis=0)) / moved,
    )
