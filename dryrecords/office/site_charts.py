"""A site's season drawn: final moisture against the base, money lost week by week, fuel against expectation."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from dryrecords.core.quantities import UNITS
from dryrecords.grain.arrays import BoolArray, IntArray
from dryrecords.office import written
from dryrecords.office.chart import Cell, Chart, Column, entry
from dryrecords.office.drawing import Drawing, Look, Scale, Series, scale_of
from dryrecords.office.selectors import SeasonRows

BIN_POINTS = 0.5
# Batches beyond are counted with the last ones drawn: a slipped decimal point would flatten everything else.
FARTHEST_POINTS = 5.0
READ = Look("blue", "circle")
EXPECTED = Look("red", dash="long")
SHOULD = "What they should have taken"


def season_charts(rows: SeasonRows, currency: str) -> list[Chart]:
    return [_against_base(rows), _lost_over_time(rows, currency), _fuel_over_time(rows)]


def _against_base(rows: SeasonRows) -> Chart:
    """How many batches came out how far below or above the base."""
    away = rows.column("moisture_out_pct") - rows.column("base_moisture_pct")
    away = np.clip(away[~np.isnan(away)], -FARTHEST_POINTS, FARTHEST_POINTS - 1e-9)
    places, counts = np.unique(np.floor(away / BIN_POINTS).astype(int), return_counts=True)
    bars = [(float(at) * BIN_POINTS, int(count)) for at, count in zip(places, counts, strict=True)]
    x = scale_of([-1.0, 1.0, *(left for left, _ in bars), *(left + BIN_POINTS for left, _ in bars)], about=6)
    y = scale_of([float(count) for _, count in bars], "batches", zero=True, about=4)
    drawing = Drawing(_signed(x), y, "Batches by final moisture, in points below and above the base")
    for left, count in bars:
        told = f"{_span(left)}: {written.counted(count, 'batch', 'batches')}"
        drawing.bar(left, left + BIN_POINTS, count, told, hatched=left < 0)
    drawing.upright(0.0, "base")
    below = sum(count for left, count in bars if left < 0)
    return Chart(
        name="final-moisture",
        title="Final moisture against the base",
        drawings=[drawing.svg()],
        columns=[Column("From, points"), Column("To, points"), Column("Batches")],
        rows=[
            [
                Cell(_points(left), left),
                Cell(_points(left + BIN_POINTS), left + BIN_POINTS),
                Cell(str(count), float(count)),
            ]
            for left, count in bars
        ],
        note=f"Points of moisture from the base. {below} of {away.size} batches came out below it, drawn hatched.",
        empty="No batch has a final moisture yet.",
    )


def _signed(x: Scale) -> Scale:
    return Scale(x.low, x.high, [(value, _points(value)) for value, _ in x.ticks], x.title)


def _points(value: float) -> str:
    return f"+{value:g}" if value > 0 else f"{value:g}".replace("-", written.MINUS)


def _span(left: float) -> str:
    return f"{_points(left)} to {_points(left + BIN_POINTS)} points"


def _lost_over_time(rows: SeasonRows, currency: str) -> Chart:
    """Money week by week; bushels where there are no prices."""
    in_money = bool((~np.isnan(rows.column("over_drying_total_usd"))).any())
    lost = rows.column("over_drying_total_usd" if in_money else "over_drying_unsold_bu")
    weeks, of_week = _weeks(rows, ~np.isnan(lost))
    sums = [float(lost[of_week == i].sum()) for i in range(len(weeks))]
    counts = [int((of_week == i).sum()) for i in range(len(weeks))]
    unit = written.CURRENCY_SIGNS.get(currency, currency) if in_money else "bu"
    drawing = Drawing(_days(weeks), scale_of(sums, f"{unit} a week", zero=True, about=4), "Lost to over-drying by week")
    texts = [written.money(value, currency) if in_money else f"{written.number(value)} bu" for value in sums]
    for week, value, text in zip(weeks, sums, texts, strict=True):
        drawing.bar(week.toordinal(), week.toordinal() + 7, value, f"Week of {_day(week)}: {text}")
    total = np.cumsum(sums).tolist()
    return Chart(
        name="over-drying",
        title="Lost to over-drying, week by week",
        drawings=[drawing.svg()] if weeks else [],
        columns=[Column("Week of"), Column("Batches"), Column(f"Lost, {unit}"), Column(f"Lost so far, {unit}")],
        rows=[
            [Cell(_day(week)), Cell(str(count), float(count)), Cell(text, value), Cell(written.number(so_far), so_far)]
            for week, count, text, value, so_far in zip(weeks, counts, texts, sums, total, strict=True)
        ],
        note="Weeks begin on Monday; a batch counts in the week in which it began.",
        empty="Nothing is known to be lost yet.",
    )


def _fuel_over_time(rows: SeasonRows) -> Chart:
    """Weekly fuel over water of batches whose fuel was read or shared out, beside what they should have taken."""
    fuel, water, expected = map(rows.column, ("fuel_energy_j", "water_removed_kg", "expected_fuel_energy_j"))
    weeks, of_week = _weeks(rows, rows.read_fuel & ~np.isnan(fuel + water + expected))
    table = []
    for i, week in enumerate(weeks):
        inside = of_week == i
        pounds = water[inside].sum() * UNITS["btu_per_lb"].factor
        spread = fuel[inside] / (water[inside] * UNITS["btu_per_lb"].factor)
        table.append((week, int(inside.sum()), fuel[inside].sum() / pounds, expected[inside].sum() / pounds, spread))
    x = [week.toordinal() + 3.5 for week, *_ in table]
    used, wanted = [float(row[2]) for row in table], [float(row[3]) for row in table]
    bars = [float(row[4].std(ddof=1)) if row[1] > 1 else None for row in table]
    heights = [
        *used,
        *wanted,
        *(y + u for y, u in zip(used, bars, strict=True) if u),
        *(y - (u or 0) for y, u in zip(used, bars, strict=True)),
    ]
    drawing = Drawing(_days(weeks), scale_of(heights, "Btu per lb of water"), "Fuel per pound of water by week")
    told = [f"Week of {_day(row[0])}: {written.number(row[2])} Btu/lb" for row in table]
    drawing.add(Series(SHOULD, EXPECTED, x, wanted))
    drawing.add(Series("Fuel, read or shared out", READ, x, used, told, bars))
    return Chart(
        name="fuel",
        title="Fuel per pound of water against expectation",
        drawings=[drawing.svg()] if weeks else [],
        columns=[
            Column("Week of"),
            Column("Batches"),
            Column("Fuel, Btu/lb"),
            Column("Spread of batches, Btu/lb"),
            Column("Expected, Btu/lb"),
        ],
        rows=[
            [
                Cell(_day(row[0])),
                Cell(str(row[1]), float(row[1])),
                Cell(written.number(y), y),
                Cell(written.number(u) if u else "", u),
                Cell(written.number(should), should),
            ]
            for row, y, u, should in zip(table, used, bars, wanted, strict=True)
        ],
        legend=[
            entry("fuel, read or a share of what a tank gave, with the spread of the week's batches", READ),
            entry(SHOULD.lower(), EXPECTED),
        ],
        note="What they should have taken: the heat for their water and grain, by their own plenum and weather.",
        empty="No fuel was read for a batch of this season, nor shared out to one.",
    )


def _weeks(rows: SeasonRows, which: BoolArray) -> tuple[list[date], IntArray]:
    """Mondays from the first week to the last that counts, and the week of each batch; -1 for those left out."""
    zone = ZoneInfo(rows.timezone)
    mondays = np.array([_monday(at, zone).toordinal() for at in rows.started_at], dtype=int)
    if not which.any():
        return [], np.full(len(mondays), -1)
    first, last = int(mondays[which].min()), int(mondays[which].max())
    present = [at for at in range(first, last + 1, 7) if (which & (mondays == at)).any()]
    places = {at: i for i, at in enumerate(present)}
    of_week = np.array([places.get(int(at), -1) if chosen else -1 for at, chosen in zip(mondays, which, strict=True)])
    return [date.fromordinal(at) for at in present], of_week


def _monday(at: datetime, zone: ZoneInfo) -> date:
    local = at.astimezone(zone).date()
    return local - timedelta(days=local.weekday())


def _days(weeks: Sequence[date]) -> Scale:
    """From the first Monday to the end of the last week, with a few of them named."""
    if not weeks:
        return Scale(0.0, 1.0, [])
    low, high = weeks[0].toordinal(), weeks[-1].toordinal() + 7
    every = max(1, round((high - low) / 7 / 5)) * 7
    ticks = [(float(at), _day(date.fromordinal(at))) for at in range(low, high + 1, every)]
    return Scale(float(low), float(high), ticks)


def _day(day: date) -> str:
    return written.day(datetime(day.year, day.month, day.day, tzinfo=UTC), "UTC").split(",")[0]
