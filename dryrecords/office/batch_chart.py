"""Readings, samples and what the bed model expected of one batch, drawn over its hours."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from dryrecords.core.quantities import UNITS
from dryrecords.harvest.models import Batch, Reading, Sample
from dryrecords.office import written
from dryrecords.office.chart import Cell, Chart, Column, entry
from dryrecords.office.drawing import Drawing, Look, Scale, Series, scale_of
from dryrecords.season.course import Course

F = UNITS["f"]
READ = {
    "plenum_temp_c": ("plenum, read", Look("red", "triangle")),
    "grain_temp_c": ("grain sensor, read", Look("blue", "circle")),
    "exhaust_temp_c": ("exhaust air, read", Look("green", "square")),
}
EXPECTED = {
    "sensor_temp_c": ("grain sensor, expected", Look("blue", dash="")),
    "exhaust_temp_c": ("exhaust air, expected", Look("green", dash="long")),
}
MOISTURE = ("moisture, expected", Look("ink", dash=""))
SAMPLED = ("moisture, sampled", Look("red", "diamond"))
# A cooled sample is taken the next day; the drawing goes on for so long beyond the batch to show it.
SHOWN_AFTER_H = 30.0
MOST_ROWS_OF_THE_MODEL = 41


def batch_chart(
    batch: Batch, readings: Sequence[Reading], samples: Sequence[Sample], course: Course, base_pct: float | None
) -> Chart:
    zone = batch.dryer.site.timezone
    hours = _hours_since(batch.started_at)
    temps = _read_series(readings, hours, zone) + _expected_series(course)
    moist = _moisture_series(course, samples, hours, zone)
    ends = [x for series in [*temps, *moist] for x in series.x]
    x = scale_of([0.0, *ends], about=6)
    drawings = []
    if temps:
        drawings.append(_drawn(temps, x, "°F", "Temperatures of the batch over its hours").svg())
    if moist:
        drawing = _drawn(moist, x, "% moisture, wet basis", "Moisture of the batch over its hours", base_pct)
        if base_pct is not None:
            drawing.level(base_pct, f"base {base_pct:g} %")
        drawings.append(drawing.svg())
    return Chart(
        name="course",
        title="Course of the batch",
        drawings=drawings,
        columns=[
            Column("Hour"),
            Column("Time"),
            *[Column(f"{series.label}, °F", "f", series.look) for series in temps],
            *[Column(f"{series.label}, %", "pct", series.look) for series in moist],
        ],
        rows=_rows([*temps, *moist], batch.started_at, zone),
        legend=[entry(series.label, series.look) for series in [*temps, *moist]],
        note="Along the bottom: hours since the batch began.",
        is_along=True,
        empty="There are no readings or samples to draw yet.",
    )


def _hours_since(start: datetime) -> Callable[[datetime], float]:
    return lambda at: (at - start).total_seconds() / 3600


def _read_series(readings: Sequence[Reading], hours: Callable[[datetime], float], zone: str) -> list[Series]:
    found = []
    for column, (label, look) in READ.items():
        rows = [(row.at, getattr(row, column)) for row in readings if getattr(row, column) is not None]
        if rows:
            at, values = zip(*rows, strict=True)
            y = [F.from_si(value) for value in values]
            told = [f"{label}: {value:.0f} °F at {written.clock(t, zone)}" for t, value in zip(at, y, strict=True)]
            found.append(Series(label, look, list(map(hours, at)), y, told))
    return found


def _expected_series(course: Course) -> list[Series]:
    curve = course.curve
    if curve is None:
        return []
    x = [each / 3600 for each in curve.time_s]
    return [
        Series(label, look, x, [None if value is None else F.from_si(value) for value in getattr(curve, name)])
        for name, (label, look) in EXPECTED.items()
    ]


def _moisture_series(
    course: Course, samples: Sequence[Sample], hours: Callable[[datetime], float], zone: str
) -> list[Series]:
    found = []
    if course.curve is not None:
        x = [each / 3600 for each in course.curve.time_s]
        found.append(Series(MOISTURE[0], MOISTURE[1], x, course.curve.moisture_pct))
    last = max([*found[0].x, 0.0] if found else [0.0])
    rows = [(hours(row.taken_at), row) for row in samples if hours(row.taken_at) <= last + SHOWN_AFTER_H]
    if rows:
        told = [
            f"{row.get_stage_display()}: {row.moisture_pct:g} %, {written.moment(row.taken_at, zone)}"
            for _, row in rows
        ]
        found.append(Series(*SAMPLED, [max(x, 0.0) for x, _ in rows], [row.moisture_pct for _, row in rows], told))
    return found


def _drawn(series: Sequence[Series], x: Scale, unit: str, what: str, also: float | None = None) -> Drawing:
    values = [y for each in series for y in each.y if y is not None]
    drawing = Drawing(x, scale_of(values if also is None else [*values, also], unit), what)
    for each in series:
        drawing.add(each)
    return drawing


def _rows(series: Sequence[Series], start: datetime, zone: str) -> list[list[Cell]]:
    """A row for each moment of which something is known."""
    known: dict[float, dict[int, float]] = {}
    for i, each in enumerate(series):
        step = max(1, len(each.x) // MOST_ROWS_OF_THE_MODEL) if not each.look.mark else 1
        for x, y in list(zip(each.x, each.y, strict=True))[::step]:
            if y is not None:
                known.setdefault(round(x, 4), {})[i] = y
    return [
        [
            Cell(f"{x:.2f}", x),
            Cell(written.clock(start + timedelta(hours=x), zone)),
            *[Cell(written.number(row.get(i), 1) if i in row else "", row.get(i)) for i in range(len(series))],
        ]
        for x, row in sorted(known.items())
    ]
