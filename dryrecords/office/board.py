"""The season board: what is drying, what over-drying has cost, and what is still to be seen to, at every site."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from django.http import HttpRequest, HttpResponse

from dryrecords.core import clock
from dryrecords.equipment.models import Dryer
from dryrecords.harvest.models import Batch
from dryrecords.office import figures, selectors, written
from dryrecords.office.desk import Desk
from dryrecords.office.pages import Page
from dryrecords.season import aggregate
from dryrecords.tenancy.models import Site

# Longer than any batch takes in a dryer that is emptied after each.
LONG_FOR_A_BATCH = timedelta(hours=30)


@dataclass(frozen=True)
class DryingLine:
    batch: Batch
    began: str
    since: str
    set_to: str
    is_long: bool


@dataclass(frozen=True)
class SiteLine:
    site: Site
    batches: int
    drying: int
    below_base: str
    lost: str
    unsold: str
    energy: str
    lacking: int
    is_fresh: bool


class BoardPage(Page):
    def get(self, request: HttpRequest, season: int | None = None) -> HttpResponse:
        found = selectors.board(self.access, season)
        total = found.overview.total
        currency = self.desk.currency
        names = ["over_drying_unsold_bu", "over_drying_points", "over_drying_extra_fuel_m3"]
        gas = total.gas_batches
        names += ["water_removed_kg", *figures.fuel_names(total.figures, gas), "energy_j_per_kg_water"]
        sites = [_site_line(row, self.desk) for row in found.sites]
        return self.show(
            "office/board.html",
            way="board",
            season=found.season,
            seasons=found.seasons,
            total=total,
            lost=figures.told(total.figures, "over_drying_total_usd", currency),
            totals=figures.lines(total.figures, names, currency),
            fuel_note=figures.fuel_note(total.figures, gas),
            held=selectors.held_waiting(self.access),
            drying=[drying_line(batch) for batch in found.drying],
            sites=sites,
            open=[line for line in sites if line.lacking or not line.is_fresh],
        )


def drying_line(batch: Batch) -> DryingLine:
    zone = batch.dryer.site.timezone
    open_for = clock.now() - batch.started_at
    settings = [
        f"plenum {written.quantity(batch.plenum_temp_c, 'f')}" if batch.plenum_temp_c is not None else "",
        f"stop at {written.quantity(batch.cutoff_temp_c, 'f')}" if batch.cutoff_temp_c is not None else "",
    ]
    return DryingLine(
        batch=batch,
        began=written.moment(batch.started_at, zone),
        since=written.duration(open_for.total_seconds()),
        set_to=", ".join(filter(None, settings)),
        is_long=open_for > LONG_FOR_A_BATCH and batch.dryer.type != Dryer.Type.IN_BIN,
    )


def _site_line(row: selectors.SiteRow, desk: Desk) -> SiteLine:
    values = row.view.figures if row.view else aggregate.figures({})
    return SiteLine(
        site=row.site,
        batches=row.view.batches if row.view else 0,
        drying=row.drying,
        below_base=figures.told(values, "over_drying_points"),
        lost=figures.told(values, "over_drying_total_usd", desk.currency),
        unsold=figures.told(values, "over_drying_unsold_bu"),
        energy=figures.told(values, "energy_j_per_kg_water"),
        lacking=row.view.batches - row.view.complete_batches if row.view else 0,
        is_fresh=row.view.fresh if row.view else True,
    )
