"""A tank's or a meter's readings of one season, one after another: what went out between them, and how sure that is."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple, TypeVar

import numpy as np

from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.energy import THERM_J
from dryrecords.grain.volume import GALLON_M3
from dryrecords.season.fuel import (
    ELECTRICITY_METER_U,
    FULL,
    GAS_METER_U,
    GAUGE_U,
    LIQUID_METER_U,
    TEMP_UNKNOWN_U,
    volume_factor,
)

T = TypeVar("T")

# Half the last digit of a meter that shows whole gallons, therms or kilowatt-hours, over sqrt(3).
DIGIT_U = 0.5 / math.sqrt(3.0)


class FuelRow(NamedTuple):
    at: datetime
    gauge_pct: float | None
    volume_m3: float | None
    meter_m3: float | None
    meter_j: float | None
    fuel_temp_c: float | None

    @property
    def is_meter(self) -> bool:
        return self.meter_m3 is not None or self.meter_j is not None


class DeliveryRow(NamedTuple):
    at: datetime
    volume_m3: float
    temperature_corrected: bool
    fuel_temp_c: float | None


@dataclass(frozen=True)
class Chain:
    """m + 1 readings and the m intervals between them, in one unit: cubic metres at 60 F, joules or kilowatt-hours.

    used : (m,) what went out; delivered : (m,) what came in, already in `used`
    reading_u : (m + 1,) of each reading by itself; extra_u : (m,) of deliveries; common_u : (m,) of a meter throughout
    refused : readings that cannot be
    """

    at: list[datetime]
    used: FloatArray
    delivered: FloatArray
    reading_u: FloatArray
    extra_u: FloatArray
    common_u: FloatArray
    # A meter counts up; what a gauge shows goes down.
    is_meter: bool
    refused: list[datetime]

    @property
    def intervals(self) -> int:
        return self.used.size

    def covariance(self) -> FloatArray:
        """Of what went out, shape (m, m): an error in a reading is in both intervals that it ends and begins."""
        steps = -np.diff(np.eye(self.intervals + 1), axis=0)
        return np.asarray(
            (steps * self.reading_u**2) @ steps.T + np.diag(self.extra_u**2) + np.outer(self.common_u, self.common_u)
        )

    def without(self, readings: Sequence[int]) -> Chain:
        """With some inner readings left out, and the intervals on either side of each as one."""
        kept = np.setdiff1d(np.arange(self.intervals + 1), np.asarray(readings, dtype=np.int64))
        parts = kept[:-1]
        added = {name: np.add.reduceat(getattr(self, name), parts) for name in ("used", "delivered", "common_u")}
        return Chain(
            at=[self.at[i] for i in kept],
            reading_u=self.reading_u[kept],
            extra_u=np.sqrt(np.add.reduceat(self.extra_u**2, parts)),
            is_meter=self.is_meter,
            refused=self.refused,
            **added,
        )


def fuel_chain(
    readings: Sequence[FuelRow], deliveries: Sequence[DeliveryRow], fuel: str, capacity_m3: float | None
) -> Chain | None:
    """None where there are not two readings that can be compared. Of a tank with a meter and a gauge, what was read
    more often counts."""
    meters = [row for row in readings if row.is_meter]
    levels = [row for row in readings if not row.is_meter]
    if len(meters) >= len(levels):
        return _meter_chain(meters, fuel)
    return _level_chain(levels, deliveries, fuel, capacity_m3)


def power_chain(readings: Sequence[tuple[datetime, float]]) -> Chain | None:
    rows = _last_of_each_moment(readings)
    if len(rows) < 2:
        return None
    used = np.diff([count for _, count in rows])
    return _metered([at for at, _ in rows], used, ELECTRICITY_METER_U, DIGIT_U)


def _meter_chain(readings: Sequence[FuelRow], fuel: str) -> Chain | None:
    rows = _last_of_each_moment([(row.at, row) for row in readings])
    if len(rows) < 2:
        return None
    at = [moment for moment, _ in rows]
    if fuel == "natural_gas":
        return _metered(at, np.diff([row.meter_j or 0.0 for _, row in rows]), GAS_METER_U, DIGIT_U * THERM_J)
    factors = np.array([volume_factor(fuel, row.fuel_temp_c)[0] for _, row in rows[1:]])
    used = np.diff([row.meter_m3 or 0.0 for _, row in rows]) * factors
    return _metered(at, used, LIQUID_METER_U, DIGIT_U * GALLON_M3)


def _metered(at: list[datetime], used: FloatArray, relative_u: float, digit_u: float) -> Chain:
    return Chain(
        at=at,
        used=used,
        delivered=np.zeros(used.size),
        reading_u=np.full(len(at), digit_u),
        extra_u=np.zeros(used.size),
        common_u=relative_u * np.abs(used),
        is_meter=True,
        refused=[],
    )


def _level_chain(
    readings: Sequence[FuelRow], deliveries: Sequence[DeliveryRow], fuel: str, capacity_m3: float | None
) -> Chain | None:
    volumes, refused = [], []
    for row in readings:
        volume = row.volume_m3
        if row.gauge_pct is not None:
            volume = None if capacity_m3 is None else row.gauge_pct / 100 * capacity_m3
        if volume is not None and capacity_m3 is not None and volume > FULL * capacity_m3:
            refused.append(row.at)
        elif volume is not None:
            volumes.append((row.at, (volume, *volume_factor(fuel, row.fuel_temp_c))))
    rows = _last_of_each_moment(volumes)
    if len(rows) < 2:
        return None
    at = [moment for moment, _ in rows]
    level = np.array([volume * factor for _, (volume, factor, _) in rows])
    guessed_u = np.array([TEMP_UNKNOWN_U * volume if assumed else 0.0 for _, (volume, _, assumed) in rows])
    delivered, variance = np.zeros(len(at) - 1), np.zeros(len(at) - 1)
    for delivery in deliveries:
        number = bisect_left(at, delivery.at) - 1
        if 0 <= number < delivered.size:
            known = (1.0, False) if delivery.temperature_corrected else volume_factor(fuel, delivery.fuel_temp_c)
            delivered[number] += delivery.volume_m3 * known[0]
            variance[number] += (LIQUID_METER_U**2 + (TEMP_UNKNOWN_U if known[1] else 0.0) ** 2) * delivery.volume_m3**2
    return Chain(
        at=at,
        used=level[:-1] - level[1:] + delivered,
        delivered=delivered,
        # A tank whose capacity nobody noted is taken to be as large as what was read in it.
        reading_u=np.hypot(GAUGE_U * (capacity_m3 or float(level.max())), guessed_u),
        extra_u=np.sqrt(variance),
        common_u=np.zeros(delivered.size),
        is_meter=False,
        refused=refused,
    )


def _last_of_each_moment(rows: Sequence[tuple[datetime, T]]) -> list[tuple[datetime, T]]:
    return sorted(dict(rows).items(), key=lambda pair: pair[0])
