"""How a dryer's batches came out, one after the other."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from dryrecords.office import written
from dryrecords.office.chart import Cell, Chart, Column
from dryrecords.office.drawing import Drawing, Look, Scale, Series, scale_of
from dryrecords.office.selectors import Outcome

DAY_S = 86_400.0


def outcomes_chart(outcomes: Sequence[Outcome], zone: str) -> Chart:
    """Points below and above the base, oldest first."""
    known = [each for each in outcomes if each.away_pct is not None][::-1]
    y = [float(each.away_pct or 0.0) for each in known]
    told = [f"{written.moment(each.started_at, zone)}: {_away(value)}" for each, value in zip(known, y, strict=True)]
    drawings = []
    if known:
        start = known[0].started_at
        x = [(each.started_at - start).total_seconds() / DAY_S for each in known]
        ends = [0.0, *(v + s * (each.u_pct or 0.0) for each, v in zip(known, y, strict=True) for s in (-1, 1))]
        drawing = Drawing(days_from(start, x[-1], zone), scale_of(ends, "points from the base"), "How batches came out")
        drawing.level(0.0, "base")
        drawing.add(Series("batches", Look("blue", "circle"), x, y, told, [each.u_pct for each in known]))
        drawings.append(drawing.svg())
    return Chart(
        name="outcomes",
        title="How its batches came out",
        drawings=drawings,
        columns=[Column("Began"), Column("Moisture out, %"), Column("Points from the base"), Column("±")],
        rows=[
            [
                Cell(written.moment(each.started_at, zone)),
                Cell(written.number(each.moisture_pct, 2), each.moisture_pct),
                Cell(written.number(value, 2), value),
                Cell(written.number(each.u_pct, 2) if each.u_pct else "", each.u_pct),
            ]
            for each, value in zip(known, y, strict=True)
        ],
        note="Below the line grain was dried further than it had to be. Bars are one standard uncertainty.",
        empty="No batch of this crop has all figures yet.",
    )


def _away(points: float) -> str:
    return f"{written.number(abs(points), 2)} points {'below' if points < 0 else 'above'} the base"


def days_from(start: datetime, last: float, zone: str) -> Scale:
    every = max(1, round(last / 5))
    ticks = [
        (float(at), written.day(start + timedelta(days=at), zone).split(",")[0])
        for at in range(0, int(last) + 1, every)
    ]
    return Scale(0.0, max(last, 1.0), ticks)
