"""One site's season: figures with their uncertainties, by dryer and crop, drawn; and ways to its dryers and bins."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from dryrecords.office import figures, outlook, selectors, written
from dryrecords.office.chart import Charts
from dryrecords.office.outlook import OutlookForm
from dryrecords.office.pages import Page
from dryrecords.office.site_charts import season_charts
from dryrecords.season.cautions import ESTIMATE

GRAIN = ("wet_bu", "dry_bu", "base_bu", "market_bu", "moisture_in_pct", "moisture_out_pct", "points_removed")
ENERGY = (
    "electricity_kwh",
    "fuel_j_per_kg_water",
    "energy_j_per_kg_water",
    "thermal_efficiency_pct",
    "throughput_bu_h",
    "cost_total_usd",
    "cost_usd_per_point_bu",
)
COMPARED = (
    "over_drying_total_usd",
    "over_drying_points",
    "moisture_out_pct",
    "fuel_j_per_kg_water",
    "throughput_bu_h",
    "market_bu",
)


@dataclass(frozen=True)
class GroupLine:
    """Of a dryer or a crop."""

    name: str
    dryer_id: str
    batches: int
    figures: list[figures.Line]


class SitePage(Page):
    def get(self, request: HttpRequest, id: UUID, season: int | None = None) -> HttpResponse:
        found = selectors.site_page(self.access, id, season)
        currency, view, values = self.desk.currency, found.view, found.view.figures
        charts = Charts(season_charts(found.rows, currency))
        if (numbers := charts.as_csv(request)) is not None:
            return numbers
        fuel = figures.fuel_names(values, view.gas_batches)
        return self.show(
            "office/site.html",
            way="board",
            site=found.site,
            season=found.season,
            seasons=found.seasons,
            view=view,
            lacking=view.batches - view.complete_batches,
            lost=figures.told(values, "over_drying_total_usd", currency),
            groups=[
                ("Over-drying", figures.lines(values, figures.OVER_DRYING, currency)),
                ("Grain", figures.lines(values, (*GRAIN, *figures.SHRINK))),
                ("Energy", figures.lines(values, (*fuel, *ENERGY), currency)),
            ],
            fuel_note=figures.fuel_note(values, view.gas_batches),
            compared=[figures.WORDS[name].label for name in COMPARED],
            by_dryer=[_dryer(found.dryer_names, key, of, currency) for key, of in view.by_dryer.items()],
            by_crop=[_group(written.named(key), "", of, currency) for key, of in view.by_crop.items()],
            dryers=found.dryers,
            bins=found.bins,
            tanks=found.tanks,
            form=OutlookForm(initial=outlook.USUAL),
            worst=_batches(found, view.worst, currency),
            charts=charts,
            cautions=[ESTIMATE],
        )


def _dryer(names: Mapping[str, str], dryer_id: str, of: Mapping[str, Any], currency: str) -> GroupLine:
    is_there = dryer_id in names
    return _group(names.get(dryer_id, "a dryer that was removed"), dryer_id if is_there else "", of, currency)


def _group(name: str, dryer_id: str, of: Mapping[str, Any], currency: str) -> GroupLine:
    return GroupLine(name, dryer_id, of["batches"], _compared(of, currency))


def _compared(of: Mapping[str, Any], currency: str) -> list[figures.Line]:
    """Each with its dash where it is not known: columns stay in line."""
    return [figures.Line(figures.WORDS[name].label, figures.told(of, name, currency)) for name in COMPARED]


def _batches(found: selectors.SiteSeasonPage, ids: list[str], currency: str) -> list[tuple[str, str, str]]:
    """Id, beginning and loss of those that may be seen."""
    lines = []
    for batch_id in ids:
        if (row := found.rows.place.get(UUID(batch_id))) is not None:
            lost = {name: found.rows.column(name)[row] for name in ("over_drying_total_usd", "over_drying_unsold_bu")}
            name = next((name for name, value in lost.items() if value == value), "over_drying_total_usd")
            began = written.moment(found.rows.started_at[row], found.site.timezone)
            lines.append((batch_id, began, figures.told({name: float(lost[name])}, name, currency)))
    return lines
