"""One bin: what stands in it and whose it is, how moist and how warm, how long it may keep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from dryrecords.grain.crops import CROPS
from dryrecords.harvest.models import Crop, Sample
from dryrecords.office import columns, selectors, written
from dryrecords.office.batch import sample_line
from dryrecords.office.bin_chart import samples_chart
from dryrecords.office.chart import Charts
from dryrecords.office.figures import Line
from dryrecords.office.pages import Page
from dryrecords.season import cautions
from dryrecords.season.bin_storage import HEATING_K, BinStorage, bin_storage
from dryrecords.season.models import BatchResult

DAY_S, YEAR_DAYS = 86_400.0, 365
LACKS = {"batches": "batches dried into it", "moisture_pct": "a moisture", "grain_temp_f": "a temperature of the grain"}


@dataclass(frozen=True)
class Content:
    """What came in of one lot."""

    lot: str
    customer: str
    batches: int
    dry: str
    moisture: str
    came: str


class BinPage(Page):
    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        stored = bin_storage(self.access, id)
        site = stored.bin.site
        samples = list(
            Sample.objects.visible_to(self.access).filter(bin=stored.bin).select_related("meter").order_by("taken_at")
        )
        charts = Charts([samples_chart(samples, site.timezone)] if samples else [])
        if (numbers := charts.as_csv(request)) is not None:
            return numbers
        return self.show(
            "office/bin.html",
            way="board",
            bin=stored.bin,
            site=site,
            zone=site.timezone,
            stored=stored,
            crop=Crop(stored.crop).label if stored.crop else "",
            left=_left(stored),
            lacks=", ".join(LACKS.get(name, written.named(name)) for name in stored.missing),
            lines=_lines(stored, site.timezone),
            made_of=_made_of(stored.bin),
            contents=_contents(selectors.contents_of(self.access, stored.batches), site.timezone),
            samples=[sample_line(sample, site.timezone) for sample in samples[::-1]],
            charts=charts,
            cautions=[*cautions.of_warming(stored.warmed_c, HEATING_K), *cautions.STORAGE],
        )


def _left(stored: BinStorage) -> str:
    """Whole days are more than is known; beyond a year nobody needs them."""
    if stored.life_left_s is None:
        return written.NOTHING
    days = stored.life_left_s / DAY_S
    if days < 1:
        return "none"
    return "more than a year" if days > YEAR_DAYS else f"about {written.counted(round(days), 'day')}"


def _lines(stored: BinStorage, zone: str) -> list[Line]:
    mass, warmed = stored.dry_mass_kg, stored.warmed_c
    bushels = mass / CROPS[stored.crop].bushel_kg if mass is not None and stored.crop else None
    season = "warm" if stored.safe_pct == stored.safe_warm_pct else "cold"
    return [
        Line("In it", written.NOTHING if bushels is None else f"{written.number(bushels)} bu"),
        Line("Since", written.day(stored.stored_since, zone)),
        Line("Moisture", written.percent(stored.moisture_pct)),
        Line("Temperature of the grain", written.quantity(stored.temp_c, "f")),
        Line("Since the sample before", written.NOTHING if warmed is None else f"{_signed(warmed * 1.8)} °F"),
        Line("Storage life used", written.NOTHING if stored.life_used is None else f"{100 * stored.life_used:.0f} %"),
        Line(f"Keeps through the {season} months below", written.percent(stored.safe_pct)),
    ]


def _signed(value: float) -> str:
    return f"+{value:.0f}" if value > 0.5 else written.number(value)


def _made_of(held: Any) -> list[Line]:
    known = [name for name in ("diameter_m", "eave_height_m", "bottom") if getattr(held, name)]
    return [Line(columns.label(name), columns.value(name, getattr(held, name), "UTC")) for name in known]


def _contents(rows: list[tuple[Any, BatchResult | None]], zone: str) -> list[Content]:
    """By lot, in the order in which lots came in."""
    lots: dict[Any, list[tuple[Any, Any]]] = {}
    for batch, result in rows:
        lots.setdefault(batch.lot, []).append((batch, result))
    return [_content(lot, of, zone) for lot, of in lots.items()]


def _content(lot: Any, rows: list[tuple[Any, Any]], zone: str) -> Content:
    known = [result for _, result in rows if result is not None and result.complete]
    mass = sum(result.dry_mass_kg for result in known)
    moisture = sum(result.dry_mass_kg * result.moisture_out_pct for result in known) / mass if mass else None
    first, last = (written.day(rows[i][0].started_at, zone) for i in (0, -1))
    return Content(
        lot=lot.name if lot else "no lot",
        customer=(lot.customer if lot else rows[0][0].dryer.site.customer).name,
        batches=len(rows),
        dry=f"{written.number(sum(result.dry_bu for result in known))} bu" if known else written.NOTHING,
        moisture=written.percent(moisture),
        came=first if first == last else f"{first} to {last}",
    )
