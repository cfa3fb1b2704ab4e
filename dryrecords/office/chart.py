"""A chart: its drawings, how they are read, and the numbers behind them as a table and as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, field

from django.http import HttpRequest, HttpResponse
from django.utils.safestring import SafeString

from dryrecords.core.errors import NotFound
from dryrecords.office.drawing import Look, key

# The query parameter of a page that asks for the numbers of one of its charts.
ASKED = "csv"


@dataclass(frozen=True)
class Cell:
    """As it is written, and the number itself where it is one."""

    text: str
    value: float | None = None


@dataclass(frozen=True)
class Column:
    """`scale` and `look` let a script draw the column over the first one: see static/office/chart.js."""

    title: str
    scale: str = ""
    look: Look | None = None


@dataclass(frozen=True)
class Entry:
    """Of the legend."""

    key: SafeString
    label: str


@dataclass(frozen=True)
class Chart:
    name: str
    title: str
    drawings: Sequence[SafeString]
    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]
    legend: Sequence[Entry] = ()
    note: str = ""
    # The first column is a number along which a script may zoom.
    is_along: bool = False
    empty: str = ""


def entry(label: str, look: Look) -> Entry:
    return Entry(key(look), label)


@dataclass
class Charts:
    """Those of a page, in order."""

    all: list[Chart] = field(default_factory=list)

    def as_csv(self, request: HttpRequest) -> HttpResponse | None:
        """The numbers of the chart that is asked for, if one is."""
        if (name := request.GET.get(ASKED)) is None:
            return None
        chart = next((each for each in self.all if each.name == name), None)
        if chart is None:
            raise NotFound()
        lines = io.StringIO()
        writer = csv.writer(lines)
        writer.writerow([column.title for column in chart.columns])
        for row in chart.rows:
            writer.writerow([cell.text if cell.value is None else f"{cell.value:.10g}" for cell in row])
        response = HttpResponse(lines.getvalue(), content_type="text/csv; charset=utf-8")
        response["Content-Disposition"] = f'attachment; filename="{chart.name}.csv"'
        return response
