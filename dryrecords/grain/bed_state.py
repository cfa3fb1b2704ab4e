"""What the parts of the bed model hand to each other: the bed, its air, when to stop, what came of it."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray, IntArray
from dryrecords.grain.bed_grain import volume_per_dry_m3_kg

NEVER = int(np.iinfo(np.int64).max // 2)  # a step that does not come
STOP_REASONS = ("time", "moisture", "sensor", "exhaust", "limit")

Record = TypeVar("Record")


def take(record: Record, rows: Array) -> Record:
    """A dataclass of arrays with some of the scenarios, which lie on the last axis of each."""
    values = {each.name: getattr(record, each.name) for each in fields(record)}  # type: ignore[arg-type]
    return replace(record, **{name: x[..., rows] for name, x in values.items() if isinstance(x, np.ndarray)})  # type: ignore[type-var]


@dataclass(frozen=True)
class Bed:
    """Layers at one moment: arrays of shape (layers, scenarios), bottom first. Scenarios share a crop."""

    moisture: FloatArray  # [fraction, dry basis]
    temp_c: FloatArray  # [deg C]
    reference: FloatArray  # moisture at which drying of the layer began [fraction, dry basis]
    dry_kg_m2: FloatArray  # dry matter [kg/m2]; 0 for a layer that is yet to be filled
    base_volume_m3_kg: FloatArray  # shape (scenarios,); of each kg of dry matter at base_moisture [m3/kg]
    base_moisture: float  # [fraction, dry basis]

    def depth_m(self, moisture: Array, dry_kg_m2: Array) -> Array:
        """Depth of dry matter [kg/m2] at a moisture, arrays with scenarios on the last axis. [m]"""
        return dry_kg_m2 * volume_per_dry_m3_kg(moisture, self.base_volume_m3_kg, self.base_moisture)


@dataclass(frozen=True)
class Blow:
    """Air that is blown in, and its time step: arrays of shape (scenarios,)."""

    temp_c: FloatArray  # [deg C]
    humidity: FloatArray  # [kg/kg]
    flux_kg_s_m2: FloatArray  # of dry air [kg/(s m2)]
    velocity_m_s: FloatArray  # over the empty floor [m/s]
    pressure_pa: FloatArray  # [Pa]
    step_s: FloatArray  # [s]
    rate_factor: FloatArray  # the drying law's clock runs this much faster [-]


@dataclass(frozen=True)
class Stop:
    """When to stop, whichever comes first: arrays of shape (scenarios,), NaN for a rule that is not used."""

    time_s: FloatArray  # [s]
    moisture: FloatArray  # of the bed's mean [fraction, dry basis]
    sensor_temp_c: FloatArray  # [deg C]
    exhaust_temp_c: FloatArray  # [deg C]
    sensor_height_m: FloatArray  # above the floor; NaN for a bed without [m]
    limit_s: FloatArray  # taken where no rule is met by then [s]


@dataclass(frozen=True)
class Refill:
    """Wet grain filled on top mid-batch: arrays of shape (scenarios,)."""

    step: IntArray  # after which it is filled; NEVER for no refill, or where settled_m says when
    settled_m: FloatArray  # depth by which the bed has to settle first; NaN where not used [m]
    depth_m: FloatArray  # of the grain filled on; NaN to fill up to where the bed began [m]
    moisture: FloatArray  # [fraction, dry basis]
    temp_c: FloatArray  # [deg C]


@dataclass(frozen=True)
class Course:
    """A bed from step to step: arrays of shape (steps + 1, scenarios); NaN after a scenario has stopped."""

    moisture: FloatArray  # mean [fraction, dry basis]
    temp_c: FloatArray  # mean of the grain by its heat [deg C]
    sensor_temp_c: FloatArray  # [deg C]
    exhaust_temp_c: FloatArray  # [deg C]
    exhaust_humidity: FloatArray  # [kg/kg]
    depth_m: FloatArray  # [m]


@dataclass(frozen=True)
class Marched:
    """What came of a march: arrays of shape (scenarios,)."""

    bed: Bed
    course: Course
    stop_step: FloatArray  # with its fraction
    stop_reason: IntArray  # place in STOP_REASONS
    refill_step: IntArray  # NEVER where there was none
    refill_depth_m: FloatArray  # 0 where there was none [m]
