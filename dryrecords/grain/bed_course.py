"""Means of a bed and the readings of its thermometers, step by step, and the step at which a rule says stop."""

from __future__ import annotations

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray, IntArray
from dryrecords.grain.bed_kernel import GrainConstants, Layers
from dryrecords.grain.bed_state import Bed, Blow, Course, Stop


def course_of(
    grain: GrainConstants, layers: Layers, dry_kg_m2: FloatArray, bed: Bed, blow: Blow, sensor_height_m: FloatArray
) -> Course:
    """Means and readings of layers at some moments; layers and dry_kg_m2 of shape (moments, layers, scenarios)."""
    total = dry_kg_m2.sum(axis=1)
    water = dry_kg_m2 * layers.moisture
    moisture = water.sum(axis=1) / total
    heat = grain.heat_0 * dry_kg_m2 + grain.heat_1 * water
    return Course(
        moisture=moisture,
        temp_c=(heat * layers.temp_c).sum(axis=1) / heat.sum(axis=1),
        sensor_temp_c=_sensor_temp_c(layers, dry_kg_m2, bed, blow, sensor_height_m),
        exhaust_temp_c=layers.temp_c[:, -1].copy(),
        exhaust_humidity=layers.humidity[:, -1].copy(),
        depth_m=bed.depth_m(moisture, total),
    )


def _sensor_temp_c(
    layers: Layers, dry_kg_m2: FloatArray, bed: Bed, blow: Blow, sensor_height_m: FloatArray
) -> FloatArray:
    """Temperature at a height above the floor; that of the exhaust where the bed has settled below it. [deg C]

    A layer's temperature is that of the air where it leaves the layer, so it stands at the layer's top.
    """
    if np.isnan(sensor_height_m).all():
        return np.full(layers.temp_c[:, 0].shape, np.nan)
    heights = bed.depth_m(layers.moisture, dry_kg_m2)
    tops = np.cumsum(heights, axis=1)
    place = np.minimum((tops < sensor_height_m).sum(axis=1), tops.shape[1] - 1)[:, np.newaxis]
    top, height, above = (np.take_along_axis(x, place, axis=1)[:, 0] for x in (tops, heights, layers.temp_c))
    below = np.take_along_axis(layers.temp_c, np.maximum(place - 1, 0), axis=1)[:, 0]
    below = np.where(place[:, 0] > 0, below, blow.temp_c)
    upward = np.clip(1.0 - (top - sensor_height_m) / np.where(height > 0.0, height, np.inf), 0.0, 1.0)
    return below + upward * (above - below)


def first_met(course: Course, stop: Stop, first_step: int, step_s: FloatArray) -> tuple[IntArray, FloatArray, IntArray]:
    """First moment of a course at which a rule is met, for each scenario.

    Returns
    -------
    place : moment in the course; -1 where no rule is met
    fraction : of the step before it after which the rule was met
    reason : place of the rule in STOP_REASONS
    """
    times = (first_step + np.arange(len(course.moisture)))[:, np.newaxis] * step_s
    excess = np.stack(
        [
            times - stop.time_s,
            stop.moisture - course.moisture,
            course.sensor_temp_c - stop.sensor_temp_c,
            course.exhaust_temp_c - stop.exhaust_temp_c,
            times - stop.limit_s,
        ]
    )
    met = excess >= 0.0
    any_met = np.any(met, axis=0)
    place = np.where(any_met.any(axis=0), any_met.argmax(axis=0), -1)
    now, before = (_at(excess, np.maximum(each, 0)) for each in (place, place - 1))
    fraction = np.where(place > 0, before / (before - now), 0.0)
    fraction = np.where(_at(met, np.maximum(place, 0)), fraction, np.inf)
    reason = fraction.argmin(axis=0)
    return place, np.take_along_axis(fraction, reason[np.newaxis], axis=0)[0], reason


def _at(x: Array, place: IntArray) -> Array:
    """Elements of x, shape (rules, moments, scenarios), at one moment of each scenario; shape (rules, scenarios)."""
    return np.take_along_axis(x, place[np.newaxis, np.newaxis], axis=1)[:, 0]
