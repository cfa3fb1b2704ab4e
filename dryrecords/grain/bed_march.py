"""A bed marched through time: every layer of one anti-diagonal at once, for all scenarios, until each one stops.

Layer i at step k needs itself at step k - 1 and the air of layer i - 1 at step k. So on diagonal d every layer i takes
its step d - i at once, and what stands at one moment lies askew in the history: step k of layer i on row k + i.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.lib.stride_tricks import as_strided

from dryrecords.grain.arrays import Array, BoolArray, FloatArray, IntArray
from dryrecords.grain.bed_course import course_of, first_met
from dryrecords.grain.bed_kernel import GrainConstants, Layers, LayerStep
from dryrecords.grain.bed_state import NEVER, Bed, Blow, Course, Marched, Refill, Stop, take

_BLOCK_STEPS = 16  # diagonals between two looks at who has stopped
_BED_ARRAYS = ("moisture", "temp_c", "reference", "dry_kg_m2")


@np.errstate(all="ignore")
def march(grain: GrainConstants, bed: Bed, blow: Blow, stop: Stop, refill: Refill | None = None) -> Marched:
    """Blow air through beds until a rule stops each of them.

    Parameters
    ----------
    grain : constants of the crop
    bed, blow, stop : of the scenarios, which go on side by side without touching each other; NaN for unused rules only
    refill : what is filled into those layers of the bed that hold nothing yet, which lie on top

    Source      `LayerStep`
    Checked by  tests/grain/test_bed_march.py against the same balance taken layer by layer
    """
    ending = _Ending(bed)
    wave = _Wave(grain, bed, blow, stop, refill)
    while wave.rows.size:
        wave.advance()
        wave.look(ending)
    return ending.marched()


class _Ending:
    """Collects how each scenario went and ended."""

    def __init__(self, bed: Bed) -> None:
        count = bed.moisture.shape[1]
        self._bed = replace(bed, **{name: getattr(bed, name).copy() for name in _BED_ARRAYS})
        self._courses: list[Course] = []
        self._stop_step = np.full(count, np.nan)
        self._reason = np.zeros(count, dtype=np.int64)
        self._refill_step = np.full(count, NEVER)
        self._refill_depth_m = np.zeros(count)

    def add_course(self, course: Course, rows: IntArray) -> None:
        """More steps of the scenarios in rows; the others have stopped."""
        shape = (len(course.moisture), self._stop_step.size)
        whole = Course(*(np.full(shape, np.nan) for _ in fields(Course)))
        for each in fields(Course):
            getattr(whole, each.name)[:, rows] = getattr(course, each.name)
        self._courses.append(whole)

    def add_stops(self, bed: Bed, stop_step: FloatArray, reason: IntArray, rows: IntArray) -> None:
        """Scenarios in rows stopped, with their beds like this."""
        for name in _BED_ARRAYS:
            getattr(self._bed, name)[:, rows] = getattr(bed, name)
        self._stop_step[rows], self._reason[rows] = stop_step, reason

    def add_refills(self, step: IntArray, depth_m: FloatArray, rows: IntArray) -> None:
        """Refills of the scenarios in rows."""
        self._refill_step[rows], self._refill_depth_m[rows] = step, depth_m

    def marched(self) -> Marched:
        """Everything that was collected."""
        course = Course(*(np.concatenate([getattr(x, each.name) for x in self._courses]) for each in fields(Course)))
        return Marched(self._bed, course, self._stop_step, self._reason, self._refill_step, self._refill_depth_m)


class _RefillWatch:
    """Knows when each scenario is refilled, and with how much."""

    def __init__(self, bed: Bed, refill: Refill) -> None:
        self.base_layers = int((bed.dry_kg_m2 > 0.0).any(axis=1).sum())
        self._refill = refill
        self._base_dry = bed.dry_kg_m2[: self.base_layers]
        self._first_depth = self._depth_m(bed, bed.moisture)
        self.step = np.where(np.isnan(refill.settled_m), refill.step, NEVER)
        self.filled_m = np.zeros(self.step.shape)

    def _depth_m(self, bed: Bed, moisture: Array) -> Array:
        return bed.depth_m(moisture[: self.base_layers], self._base_dry).sum(axis=0)

    def decide(self, step: int, bed: Bed, moisture: Array) -> None:
        """Mark the beds that are refilled after this step; moisture is that of their layers."""
        settled_m = self._first_depth - self._depth_m(bed, moisture)
        due = (self.step == step) | ((self.step == NEVER) & (settled_m >= self._refill.settled_m))
        self.step = np.where(due, step, self.step)
        amount = np.where(np.isnan(self._refill.depth_m), settled_m, self._refill.depth_m)
        self.filled_m = np.where(due, np.maximum(amount, 0.0), self.filled_m)

    def fill(self, bed: Bed, was: Layers, now: BoolArray, grain: GrainConstants) -> Layers:
        """State of the layers with fresh grain in those marked, shape (layers above the base, scenarios)."""
        fresh, above = self._refill, slice(self.base_layers, None)
        each_dry = self.filled_m / bed.depth_m(fresh.moisture, np.ones_like(fresh.moisture)) / len(now)
        new = Layers(was.moisture.copy(), was.temp_c.copy(), was.bound_j_kg.copy(), was.humidity)
        bound = grain.bound_heat_j_kg(fresh.moisture)
        values = [(new.moisture, fresh.moisture), (new.temp_c, fresh.temp_c), (new.bound_j_kg, bound)]
        values += [(bed.reference, fresh.moisture), (bed.dry_kg_m2, each_dry)]
        for target, value in values:
            target[above] = np.where(now, value, target[above])
        return new

    def filled(self, moisture: Array, temp_c: Array, step: IntArray, rows: IntArray) -> tuple[Array, Array]:
        """Moisture and temperature of layers after a step, of the scenarios in rows, once a refill then is in."""
        is_new = (np.arange(len(moisture))[:, np.newaxis] >= self.base_layers) & (step == self.step[rows])
        fresh = take(self._refill, rows)
        return np.where(is_new, fresh.moisture, moisture), np.where(is_new, fresh.temp_c, temp_c)

    def keep(self, rows: BoolArray) -> None:
        """Go on with some of the scenarios."""
        self._refill = take(self._refill, rows)
        self._base_dry, self._first_depth = self._base_dry[:, rows], self._first_depth[rows]
        self.step, self.filled_m = self.step[rows], self.filled_m[rows]


class _Wave:
    """History of the last diagonals of the scenarios that still go on; `rows` are their places."""

    def __init__(self, grain: GrainConstants, bed: Bed, blow: Blow, stop: Stop, refill: Refill | None) -> None:
        self._grain, self._blow, self._stop = grain, blow, stop
        # the wave fills layers in; the bed that was handed over stays as it was
        self._bed = replace(bed, reference=bed.reference.copy(), dry_kg_m2=bed.dry_kg_m2.copy())
        self._watch = None if refill is None else _RefillWatch(bed, refill)
        self.rows = np.arange(bed.moisture.shape[1])
        self._layers = len(bed.moisture)
        self._diagonal = 0  # the last one that is known
        self._seen = -1  # the last step that was looked at
        humidity = np.broadcast_to(blow.humidity, bed.moisture.shape)
        bound = grain.bound_heat_j_kg(bed.moisture)
        self._start(Layers(bed.moisture, bed.temp_c, bound, humidity))

    def _start(self, last: Layers) -> None:
        """Take as many diagonals as there are layers for the past; of shape (layers, scenarios), all are alike."""
        shape = (self._layers + _BLOCK_STEPS, self._layers, self.rows.size)
        self._air_temp_c, self._air_humidity = np.empty((2, shape[0], shape[1] + 1, shape[2]))
        self._air_temp_c[:, 0], self._air_humidity[:, 0] = self._blow.temp_c, self._blow.humidity
        self._history = Layers(np.empty(shape), self._air_temp_c[:, 1:], np.empty(shape), self._air_humidity[:, 1:])
        self._history.at(slice(0, self._layers)).set(last)
        self._size_up()

    def _size_up(self) -> None:
        blow = self._blow
        self._step = LayerStep(
            self._grain,
            self._bed.dry_kg_m2 / (blow.flux_kg_s_m2 * blow.step_s),
            self._bed.reference,
            blow.step_s * blow.rate_factor,
            blow.velocity_m_s,
            blow.pressure_pa,
        )

    def advance(self) -> None:
        """Fill the rest of the history, diagonal by diagonal."""
        for row in range(self._layers, self._layers + _BLOCK_STEPS):
            self._diagonal += 1
            before, becomes = self._history.at(row - 1), self._history.at(row)
            was = before if self._watch is None else self._refilled(self._watch, before, row - 1)
            self._step(self._air_temp_c[row - 1, :-1], self._air_humidity[row - 1, :-1], was, becomes)
            if self._diagonal < self._layers:
                idle = slice(self._diagonal, None)
                becomes.at(idle).set(before.at(idle))

    def _refilled(self, watch: _RefillWatch, was: Layers, row: int) -> Layers:
        """The layers before this diagonal, with fresh grain in those whose step comes right after a refill."""
        step = self._diagonal - 1 - watch.base_layers
        if step >= 0:
            base = self._history.moisture[:, : watch.base_layers]
            watch.decide(step, self._bed, _askew(base, row - watch.base_layers, 1)[0])
        steps = self._diagonal - 1 - np.arange(watch.base_layers, self._layers)
        now = steps[:, np.newaxis] == watch.step
        if not now.any():
            return was
        filled = watch.fill(self._bed, was, now, self._grain)
        self._size_up()
        return filled

    def look(self, ending: _Ending) -> None:
        """Tell of the steps that are complete, and let go of the scenarios that have stopped."""
        first, last = max(self._seen, 0), self._diagonal - self._layers + 1
        stays = np.full(self.rows.size, True)
        if last >= 0:
            row = len(self._history.moisture) - 1 - self._diagonal + first
            arrays = (getattr(self._history, each.name) for each in fields(Layers))
            stays = self._judge(Layers(*(_askew(x, row, last - first + 1) for x in arrays)), first, ending)
            self._seen = last
        self._keep(stays)

    def _keep(self, stays: BoolArray) -> None:
        """Go on with some of the scenarios, and with what of the history is still asked for."""
        if not stays.all():
            self.rows = self.rows[stays]
            self._bed, self._blow = take(self._bed, stays), take(self._blow, stays)
            self._stop = take(self._stop, stays)
            if self._watch is not None:
                self._watch.keep(stays)
        if self.rows.size:
            last = self._history.at(slice(_BLOCK_STEPS, None))
            self._start(Layers(*(getattr(last, each.name)[..., stays] for each in fields(Layers))))

    def _judge(self, layers: Layers, first: int, ending: _Ending) -> BoolArray:
        """Tell of layers from step `first` on, shape (moments, layers, scenarios); who of them goes on."""
        dry = self._dry_kg_m2(first, len(layers.moisture))
        course = course_of(self._grain, layers, dry, self._bed, self._blow, self._stop.sensor_height_m)
        told = Course(*(getattr(course, each.name)[int(self._seen >= 0) :] for each in fields(Course)))
        ending.add_course(told, self.rows)
        place, fraction, reason = first_met(course, self._stop, first, self._blow.step_s)
        stopped = place >= 0
        gone = np.flatnonzero(stopped)
        if gone.size:
            place, fraction, reason = place[gone], fraction[gone], reason[gone]
            if self._watch is not None:
                ending.add_refills(self._watch.step[gone], self._watch.filled_m[gone], self.rows[gone])
            bed = self._between(layers, dry, first, place, fraction, gone)
            ending.add_stops(bed, np.maximum(first + place - 1 + fraction, 0.0), reason, self.rows[gone])
        return ~stopped

    def _dry_kg_m2(self, first: int, count: int) -> FloatArray:
        """Dry matter of the layers at `count` moments from step `first` on; shape (moments, layers, scenarios)."""
        shape = (count, self._layers, self.rows.size)
        if self._watch is None:
            return np.broadcast_to(self._bed.dry_kg_m2, shape)
        steps = first + np.arange(count)[:, np.newaxis, np.newaxis]
        is_base = np.arange(self._layers)[:, np.newaxis] < self._watch.base_layers
        return np.where(is_base | (steps > self._watch.step), self._bed.dry_kg_m2, 0.0)

    def _between(
        self, layers: Layers, dry: FloatArray, first: int, place: IntArray, fraction: FloatArray, gone: IntArray
    ) -> Bed:
        """Beds of the scenarios that are gone, at a fraction of the step to a moment; in heat and water linear."""
        before, grain = np.maximum(place - 1, 0), self._grain
        moisture, temp_c = (x[before, :, gone].T for x in (layers.moisture, layers.temp_c))
        if self._watch is not None:
            moisture, temp_c = self._watch.filled(moisture, temp_c, first + before, gone)
        later, later_c = (x[place, :, gone].T for x in (layers.moisture, layers.temp_c))
        heat = grain.enthalpy_j_kg(moisture, temp_c)
        heat = heat + fraction * (grain.enthalpy_j_kg(later, later_c) - heat)
        moisture = moisture + fraction * (later - moisture)
        return replace(
            take(self._bed, gone),
            moisture=moisture,
            temp_c=grain.temp_c(moisture, heat),
            dry_kg_m2=dry[place, :, gone].T,
        )


def _askew(x: FloatArray, row: int, count: int) -> FloatArray:
    """Layers at `count` moments, the first of which begins on a row: view of shape (count, layers, scenarios)."""
    down, across, along = x.strides
    return as_strided(x[row:], (count, *x.shape[1:]), (down, down + across, along), writeable=False)
