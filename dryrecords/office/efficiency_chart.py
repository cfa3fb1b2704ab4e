"""A dryer's fuel against what its batches should have taken, drawn, and the signal of it in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from dryrecords.core.quantities import UNITS
from dryrecords.office import written
from dryrecords.office.batch import BASES
from dryrecords.office.chart import Cell, Chart, Column, entry
from dryrecords.office.drawing import Drawing, Look, Scale, Series, scale_of
from dryrecords.office.dryer_chart import DAY_S, days_from
from dryrecords.season.efficiency import EFFICIENCY_ASSUMED, REFERENCE, DriedBatch, Efficiency

# More would be a smear on paper; the signal is of all of them.
MOST_DRAWN = 150
# A bar is long if it is more than so much of its value.
LONG_BAR = 0.3
# Of what is usual: limits beyond say that little is known, and would press all else together.
FAR_LIMIT = 2.0
BTU_LB = UNITS["btu_per_lb"]
FUEL, EXPECTED = Look("blue", "circle"), Look("red", "square")
RATIO, AVERAGE, LIMIT = Look("blue", "circle"), Look("ink", dash=""), Look("red", dash="short")


@dataclass(frozen=True)
class Told:
    """is_signal: something a person should look into."""

    answer: str
    is_signal: bool
    causes: tuple[str, ...]
    explained: str
    assumed: Sequence[str]


def told(of: Efficiency, zone: str) -> Told:
    return Told(_answer(of, zone), of.signal in ("more", "less"), of.causes, _explained(of), EFFICIENCY_ASSUMED)


def _answer(of: Efficiency, zone: str) -> str:
    if of.signal == "too_few" or of.usual_ratio is None or of.ratio_now is None:
        return (
            f"Nothing can be said before {REFERENCE + 1} batches of a season have fuel that was read or shared out; "
            f"there are {len(of.batches)}."
        )
    usual = written.with_u(of.usual_ratio, of.usual_ratio_u, 2)
    now = f"{of.ratio_now:.2f} times what its water, weather and plenum let one expect"
    if of.signal == "none":
        return f"No drift. Its fuel is {now}; with the season's first batches it was {usual} times."
    return (
        f"Drift: since {written.moment(of.since, zone)} it takes {of.signal} than before. Its fuel is {now}; with the "
        f"season's first batches it was {usual} times."
    )


def _explained(of: Efficiency) -> str:
    if of.explained is None:
        return ""
    percent = 100.0 * of.explained
    if abs(percent) < 1.0:
        return "Weather, plenum and moistures hardly changed what a pound of water should take."
    way = "more" if percent > 0 else "less"
    return (
        f"By weather, plenum and moistures a pound of water should take {abs(percent):.0f} % {way} now than with the "
        "first batches. That is in what is expected, and no drift."
    )


def efficiency_chart(of: Efficiency, zone: str) -> Chart:
    rows = of.batches[-MOST_DRAWN:]
    left_out = len(of.batches) - len(rows)
    return Chart(
        name="efficiency",
        title=f"Fuel against expectation, {of.season}" if of.batches else "Fuel against expectation",
        drawings=_drawings(of, rows, zone) if rows else [],
        columns=[
            Column("Began"),
            Column("Fuel, Btu/lb of water"),
            Column("±"),
            Column("Expected, Btu/lb of water"),
            Column("Fuel over expected"),
            Column("±"),
            Column("Average"),
            Column("Lower limit"),
            Column("Upper limit"),
            Column("Fuel is"),
        ],
        rows=[_row(each, zone) for each in rows],
        legend=[
            entry("fuel that was read or shared out", FUEL),
            entry("what the batch should have taken", EXPECTED),
            entry("moving average of fuel over expected", AVERAGE),
            entry("its limits", LIMIT),
        ],
        note="Below: each batch's fuel over what it should have taken. An average beyond its limits is a drift."
        + (f" The newest {len(rows)} of {len(of.batches)} batches." if left_out else ""),
        empty="No batch of this crop has fuel that was read or shared out.",
    )


def _drawings(of: Efficiency, rows: Sequence[DriedBatch], zone: str) -> list[SafeString]:
    start = rows[0].at
    x = [(each.at - start).total_seconds() / DAY_S for each in rows]
    along = days_from(start, x[-1], zone)
    return [_per_pound(rows, x, along, zone).svg(), _ratios(of, rows, x, along, zone).svg()]


def _per_pound(rows: Sequence[DriedBatch], x: Sequence[float], along: Scale, zone: str) -> Drawing:
    fuel = [BTU_LB.from_si(each.fuel_j_per_kg) for each in rows]
    expected = [BTU_LB.from_si(each.expected_j_per_kg) for each in rows]
    said = _said(rows, fuel, lambda value: f"{written.number(value)} Btu/lb", zone)
    y = scale_of([*fuel, *expected], "Btu per lb of water")
    drawing = Drawing(along, y, "Fuel per pound of water, batch by batch")
    drawing.add(Series("expected", EXPECTED, x, expected))
    drawing.add(Series("fuel", FUEL, x, fuel, said))
    return drawing


def _ratios(of: Efficiency, rows: Sequence[DriedBatch], x: Sequence[float], along: Scale, zone: str) -> Drawing:
    ratios, u = [each.ratio for each in rows], [each.ratio_u for each in rows]
    average = [each.average for each in rows]
    limits = [value for each in rows for value in (each.low, each.high) if value is not None]
    near = [value for value in limits if value < FAR_LIMIT * (of.usual_ratio or 1.0)]
    known = [*near, *(value for value in average if value is not None)]
    y = scale_of([1.0, *_ends(ratios, u), *known], "fuel over expected", least=0.2)
    drawing = Drawing(along, y, "Fuel over what was expected, batch by batch", 240.0)
    if of.usual_ratio is not None:
        drawing.level(of.usual_ratio, "usual")
    drawing.add(Series("fuel over expected", RATIO, x, ratios, _said(rows, ratios, "{:.2f} times".format, zone), u))
    for name in ("low", "high"):
        inside = [None if (value := getattr(each, name)) is None else min(value, y.high) for each in rows]
        drawing.add(Series(name, LIMIT, x, inside))
    drawing.add(Series("average", AVERAGE, x, average))
    return drawing


def _ends(values: Sequence[float], u: Sequence[float]) -> list[float]:
    """Of marks, and of bars that do not dwarf them; longer ones end at the edge of the drawing, as far limits do."""
    bars = [(value, each if each < LONG_BAR * value else 0.0) for value, each in zip(values, u, strict=True)]
    return [value + sign * each for value, each in bars for sign in (-1.0, 1.0)]


def _said(rows: Sequence[DriedBatch], values: Sequence[float], say: Callable[[float], str], zone: str) -> list[str]:
    return [f"{written.moment(row.at, zone)}: {say(value)}" for row, value in zip(rows, values, strict=True)]


def _row(of: DriedBatch, zone: str) -> list[Cell]:
    per_pound = [of.fuel_j_per_kg, of.fuel_u_j_per_kg, of.expected_j_per_kg]
    ratios = [of.ratio, of.ratio_u, of.average, of.low, of.high]
    outward = [BTU_LB.from_si(value) for value in per_pound]
    return [
        Cell(written.moment(of.at, zone)),
        *[Cell(written.number(value), value) for value in outward],
        *[Cell("" if value is None else written.number(value, 2), value) for value in ratios],
        Cell(BASES[of.basis]),
    ]
