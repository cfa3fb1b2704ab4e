"""Reads of the pages that no part below has a use for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Count, Q

from dryrecords.core import clock
from dryrecords.core.errors import NotFound
from dryrecords.equipment.models import Bin, Dryer, Tank
from dryrecords.grain.arrays import BoolArray, FloatArray
from dryrecords.harvest.models import Batch, Crop
from dryrecords.journal import ledger
from dryrecords.season.models import BatchResult, SiteSeason
from dryrecords.season.selectors import SeasonOverview, SeasonView, season_overview, site_season
from dryrecords.tenancy.access import Access, Role
from dryrecords.tenancy.models import Site
from dryrecords.tenancy.writes import get

# A bin that dries where it stores takes weeks; a batch that is open for longer was never ended in the records.
LONGEST_OPEN = timedelta(days=60)
MOST_OPEN = 200
UTC_NAME = "UTC"
BATCHES_A_PAGE = 50
MOST_OUTCOMES = 120


@dataclass(frozen=True)
class SiteRow:
    """A site in a season; `view` is None where it has no batch."""

    site: Site
    view: SeasonView | None
    drying: int


@dataclass(frozen=True)
class Board:
    season: int
    seasons: list[int]
    overview: SeasonOverview
    sites: list[SiteRow]
    drying: list[Batch]


def seasons_known(access: Access) -> list[int]:
    """Newest first; the present one where nothing was recorded yet."""
    mine = Site.objects.visible_to(access).values("pk")
    rows = SiteSeason.objects.filter(organization_id=access.organization_id, site_id__in=mine)
    known = sorted(set(rows.values_list("season", flat=True)), reverse=True)
    return known or [clock.season_of(clock.now(), UTC_NAME)]


def board(access: Access, season: int | None = None) -> Board:
    seasons = seasons_known(access)
    season = seasons[0] if season is None else season
    overview = season_overview(access, season)
    views = {view.site.pk: view for view in overview.sites if view.site}
    drying = batches_drying(access)
    places = [batch.dryer.site_id for batch in drying]
    sites = [SiteRow(site, views.get(site.pk), places.count(site.pk)) for site in sites_visible(access)]
    return Board(season, seasons, overview, sorted(sites, key=_most_lost_first), drying)


@dataclass(frozen=True)
class HeldWaiting:
    """How many changes that devices brought wait for people, of either list."""

    refused: int = 0
    conflicts: int = 0

    @property
    def any(self) -> bool:
        return bool(self.refused or self.conflicts)


def held_waiting(access: Access) -> HeldWaiting:
    """None are shown to customers."""
    if access.role == Role.CUSTOMER:
        return HeldWaiting()
    open_ = ledger.kept(access.organization_id).filter(status__in=ledger.OPEN).order_by()
    counts = dict(open_.values_list("status").annotate(Count("pk")))
    return HeldWaiting(counts.get(ledger.Status.HELD, 0), counts.get(ledger.Status.CONFLICT, 0))


def _most_lost_first(row: SiteRow) -> tuple[float, str]:
    lost = row.view.figures["over_drying_total_usd"] if row.view else None
    return -(lost or 0.0), row.site.name


def sites_visible(access: Access) -> Sequence[Site]:
    return list(Site.objects.visible_to(access).select_related("customer").order_by("name", "id"))


def batches_drying(access: Access, site_id: UUID | None = None) -> list[Batch]:
    """Those whose heat has not been recorded as ended, newest first."""
    since = clock.now() - LONGEST_OPEN
    open_ = Batch.objects.visible_to(access).filter(drying_ended_at__isnull=True, started_at__gte=since)
    if site_id is not None:
        open_ = open_.filter(dryer__site_id=site_id)
    return list(open_.select_related("dryer__site", "lot__customer").order_by("-started_at", "-id")[:MOST_OPEN])


@dataclass(frozen=True)
class BatchFilter:
    """`lacking`: only those without all figures. `older`: what comes after this start and id in the list."""

    season: int
    site_id: UUID | None = None
    dryer_id: UUID | None = None
    crop: str = ""
    lacking: bool = False
    older: tuple[datetime, UUID] | None = None


@dataclass(frozen=True)
class BatchPage:
    batches: list[Batch]
    results: dict[UUID, BatchResult]
    has_more: bool
    # The one that is asked for.
    dryer: Dryer | None


def batch_page(access: Access, wanted: BatchFilter) -> BatchPage:
    rows = Batch.objects.visible_to(access).filter(season=wanted.season)
    dryer = get(access, Dryer, wanted.dryer_id) if wanted.dryer_id else None
    if dryer:
        rows = rows.filter(dryer=dryer)
    if wanted.site_id:
        rows = rows.filter(dryer__site=get(access, Site, wanted.site_id))
    if wanted.crop:
        rows = rows.filter(crop=wanted.crop)
    if wanted.lacking:
        incomplete = BatchResult.objects.filter(
            organization_id=access.organization_id, season=wanted.season, complete=False
        )
        rows = rows.filter(pk__in=incomplete.values("batch_id"))
    if wanted.older:
        at, batch_id = wanted.older
        rows = rows.filter(Q(started_at__lt=at) | Q(started_at=at, pk__gt=batch_id), started_at__lte=at)
    ordered = rows.select_related("dryer__site", "lot").order_by("-started_at", "pk")
    found = list(ordered[: BATCHES_A_PAGE + 1])
    shown = found[:BATCHES_A_PAGE]
    results = BatchResult.objects.in_bulk([batch.pk for batch in shown])
    return BatchPage(shown, results, len(found) > len(shown), dryer)


def batch_with_places(access: Access, batch_id: UUID) -> Batch:
    """With all that its page names."""
    found = Batch.objects.visible_to(access).filter(pk=batch_id)
    batch = found.select_related("dryer__site__customer", "dryer__tank", "lot__customer", "bin").first()
    if batch is None:
        raise NotFound()
    return batch


@dataclass(frozen=True)
class SeasonRows:
    """What the drawings of a site's season are made of: figures of its complete batches, NaN where unknown."""

    timezone: str
    started_at: list[datetime]
    # Row of a batch.
    place: dict[UUID, int]
    table: FloatArray
    # Whose fuel was read or is its share of what was, not merely what it should have taken.
    read_fuel: BoolArray

    def column(self, name: str) -> FloatArray:
        found: FloatArray = self.table[:, DRAWN.index(name)]
        return found


DRAWN = (
    "moisture_out_pct",
    "base_moisture_pct",
    "over_drying_total_usd",
    "over_drying_unsold_bu",
    "fuel_energy_j",
    "water_removed_kg",
    "expected_fuel_energy_j",
)


@dataclass(frozen=True)
class SiteSeasonPage:
    site: Site
    season: int
    seasons: list[int]
    view: SeasonView
    rows: SeasonRows
    dryers: list[Dryer]
    bins: list[Bin]
    tanks: list[Tank]

    @property
    def dryer_names(self) -> dict[str, str]:
        return {str(dryer.pk): dryer.name for dryer in self.dryers}


def site_page(access: Access, site_id: UUID, season: int | None) -> SiteSeasonPage:
    """Of the newest season with a figure, where none is asked for."""
    known = SiteSeason.objects.filter(organization_id=access.organization_id, site_id=site_id)
    seasons = sorted(known.values_list("season", flat=True), reverse=True)
    season = season or (seasons[0] if seasons else clock.season_of(clock.now(), UTC_NAME))
    view = site_season(access, site_id, season)
    site = view.site
    if site is None:
        raise NotFound()
    return SiteSeasonPage(
        site=site,
        season=season,
        seasons=seasons,
        view=view,
        rows=season_rows(access, site, season),
        dryers=list(Dryer.objects.visible_to(access).filter(site=site).order_by("name", "id")),
        bins=list(Bin.objects.visible_to(access).filter(site=site).order_by("name", "id")),
        tanks=list(Tank.objects.visible_to(access).filter(site=site).order_by("name", "id")),
    )


def season_rows(access: Access, site: Site, season: int) -> SeasonRows:
    """Of the batches that may be seen; in the order in which they began."""
    batches = Batch.objects.visible_to(access).filter(dryer__site=site, season=season)
    starts = dict(batches.values_list("pk", "started_at"))
    results = BatchResult.objects.filter(
        organization_id=access.organization_id, site_id=site.pk, season=season, complete=True
    )
    found = [row for row in results.values_list("batch_id", "fuel_basis", *DRAWN) if row[0] in starts]
    found.sort(key=lambda row: (starts[row[0]], row[0]))
    return SeasonRows(
        timezone=site.timezone,
        started_at=[starts[row[0]] for row in found],
        place={row[0]: i for i, row in enumerate(found)},
        table=np.array([row[2:] for row in found], dtype=float).reshape(len(found), len(DRAWN)),
        read_fuel=np.array([row[1] != BatchResult.Basis.ESTIMATED for row in found], dtype=bool),
    )


@dataclass(frozen=True)
class Outcome:
    """How dry a batch came out, points from its base; None where that is not known."""

    batch_id: UUID
    crop: str
    started_at: datetime
    moisture_pct: float | None
    away_pct: float | None
    u_pct: float | None


@dataclass(frozen=True)
class Outcomes:
    """Of a dryer's newest batches, newest first."""

    all: list[Outcome]

    @property
    def crops(self) -> list[str]:
        return sorted({each.crop for each in self.all})

    @property
    def usual_crop(self) -> str:
        return self.all[0].crop if self.all else Crop.CORN.value

    def of(self, crop: str) -> list[Outcome]:
        return [each for each in self.all if each.crop == crop]


def outcomes_of(access: Access, dryer_id: UUID) -> Outcomes:
    rows = Batch.objects.visible_to(access).filter(dryer_id=dryer_id).order_by("-started_at", "-pk")
    batches = list(rows.values_list("pk", "crop", "started_at")[:MOST_OUTCOMES])
    columns = ("moisture_out_pct", "base_moisture_pct", "moisture_out_pct_u")
    results = BatchResult.objects.filter(batch_id__in=[pk for pk, _, _ in batches], complete=True)
    known: dict[UUID, Any] = {row[0]: row[1:] for row in results.values_list("batch_id", *columns)}
    found = []
    for batch_id, crop, started_at in batches:
        out, base, u = known.get(batch_id, (None, None, None))
        found.append(Outcome(batch_id, crop, started_at, out, None if out is None else out - base, u))
    return Outcomes(found)


def contents_of(access: Access, batch_ids: Sequence[UUID]) -> list[tuple[Batch, BatchResult | None]]:
    """Batches of a bin with their results, oldest first."""
    rows = Batch.objects.visible_to(access).filter(pk__in=list(batch_ids))
    results = BatchResult.objects.in_bulk(list(batch_ids))
    ordered = rows.select_related("lot__customer", "dryer__site__customer").order_by("started_at", "pk")
    return [(batch, results.get(batch.pk)) for batch in ordered]


def tank_with_site(access: Access, tank_id: UUID) -> Tank:
    tank = Tank.objects.visible_to(access).filter(pk=tank_id).select_related("site__customer").first()
    if tank is None:
        raise NotFound()
    return tank
