"""Moisture and temperature of a bin's samples over time."""

from __future__ import annotations

from collections.abc import Sequence

from dryrecords.core.quantities import UNITS
from dryrecords.harvest.models import Sample
from dryrecords.office import written
from dryrecords.office.chart import Cell, Chart, Column, entry
from dryrecords.office.drawing import Drawing, Look, Series, scale_of
from dryrecords.office.dryer_chart import DAY_S, days_from

MOISTURE, TEMP = Look("ink", "diamond", ""), Look("red", "triangle", "long")


def samples_chart(samples: Sequence[Sample], zone: str) -> Chart:
    start = samples[0].taken_at
    x = [(sample.taken_at - start).total_seconds() / DAY_S for sample in samples]
    along = days_from(start, x[-1], zone)
    told = [written.moment(sample.taken_at, zone) for sample in samples]
    moistures: list[float | None] = [sample.moisture_pct for sample in samples]
    temps = [None if s.grain_temp_c is None else UNITS["f"].from_si(s.grain_temp_c) for s in samples]
    drawings = []
    for title, look, y in (("% moisture", MOISTURE, moistures), ("°F", TEMP, temps)):
        known = [(at, value, said) for at, value, said in zip(x, y, told, strict=True) if value is not None]
        if known:
            drawing = Drawing(
                along, scale_of([value for _, value, _ in known], title), f"{title} of the samples", 220.0
            )
            drawing.add(Series(title, look, *(list(each) for each in zip(*known, strict=True))))
            drawings.append(drawing.svg())
    return Chart(
        name="samples",
        title="Samples of the bin",
        drawings=drawings,
        columns=[Column("Taken"), Column("Moisture, %"), Column("Grain, °F")],
        rows=[
            [Cell(said), Cell(written.number(pct, 1), pct), Cell("" if f is None else written.number(f), f)]
            for said, pct, f in zip(told, moistures, temps, strict=True)
        ],
        legend=[entry("moisture", MOISTURE), entry("temperature", TEMP)],
    )
