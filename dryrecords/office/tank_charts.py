"""A tank's season drawn: what it gave, beside what was expected of it; and the numbers of its batches."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from dryrecords.core.quantities import UNITS
from dryrecords.office import written
from dryrecords.office.chart import Cell, Chart, Column, entry
from dryrecords.office.drawing import Drawing, Look, Series, scale_of
from dryrecords.office.dryer_chart import DAY_S, days_from
from dryrecords.season.account_views import AccountView

DRAWN, EXPECTED = Look("blue", "circle", ""), Look("red", dash="long")
COLUMNS = {
    "drawn": "Drawn",
    "drawn_u": "±",
    "delivered": "Delivered",
    "expected": "Expected",
    "allocated": "To batches",
    "other": "Site besides",
    "found": "Set aside",
    "unallocated": "Of no batch",
}


def account_chart(view: AccountView, unit: str, zone: str) -> Chart:
    """Sums from the first reading on: where the lines part, something is not explained."""
    rows = view.figures.get("intervals", [])
    scale, sign = UNITS[unit], written.sign(unit)
    table = np.array([[scale.from_si(row[name]) for name in COLUMNS] for row in rows]).reshape(-1, len(COLUMNS))
    ends = [datetime.fromisoformat(row["to"]) for row in rows]
    began = [datetime.fromisoformat(row["from"]) for row in rows]
    drawings = []
    if rows:
        x = [0.0, *((at - began[0]).total_seconds() / DAY_S for at in ends)]
        drawn, expected = ([0.0, *np.cumsum(table[:, i]).tolist()] for i in (0, 3))
        told = [
            f"{written.moment(at, zone)}: {written.number(y)} {sign}" for at, y in zip(ends, drawn[1:], strict=True)
        ]
        y = scale_of([*drawn, *expected], f"{sign} since the first reading")
        drawing = Drawing(days_from(began[0], x[-1], zone), y, "Drawn, beside what was expected")
        drawing.add(Series("drawn", DRAWN, x, drawn, ["", *told]))
        drawing.add(Series("expected", EXPECTED, x, expected))
        drawings.append(drawing.svg())
    return Chart(
        name="account",
        title="What it gave, summed up from reading to reading",
        drawings=drawings,
        columns=[Column("From"), Column("To"), *[Column(f"{title}, {sign}") for title in COLUMNS.values()]],
        rows=[
            [
                Cell(written.moment(first, zone)),
                Cell(written.moment(last, zone)),
                *[Cell(written.number(value, 1), value) for value in values],
            ]
            for first, last, values in zip(began, ends, table.tolist(), strict=True)
        ],
        legend=[
            entry("drawn, by the readings and deliveries", DRAWN),
            entry("what batches should have taken, by their water, weather and plenum", EXPECTED),
        ],
        empty="There are not two readings of this season to go by.",
    )


def shares_chart(view: AccountView, unit: str, zone: str) -> Chart:
    """Every batch's share as numbers, in the order in which they began."""
    names = view.names
    rows = [row for row in view.figures.get("batches", []) if row["batch"] in names]
    rows.sort(key=lambda row: (names[row["batch"]].started_at, row["batch"]))
    sign = written.sign(unit)
    values = ("expected", "amount", "amount_u")
    return Chart(
        name="shares",
        title="What each batch got",
        drawings=[],
        columns=[
            Column("Batch"),
            Column("Began"),
            Column("Dryer"),
            *[Column(f"{title}, {sign}") for title in ("Expected", "Got", "±")],
            Column("Basis"),
        ],
        rows=[
            [
                Cell(row["batch"]),
                Cell(written.moment(names[row["batch"]].started_at, zone)),
                Cell(names[row["batch"]].dryer),
                *[Cell("", None if row[name] is None else UNITS[unit].from_si(row[name])) for name in values],
                Cell(row["basis"]),
            ]
            for row in rows
        ],
    )
