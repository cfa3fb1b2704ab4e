"""Reads of the pages that no part below has a use for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Q

from dryrecords.core import clock
from dryrecords.core.errors import NotFound
from dryrecords.equipment.models import Dryer
from dryrecords.harvest.models import Batch
from dryrecords.season.models import BatchResult, SiteSeason
from dryrecords.season.selectors import SeasonOverview, SeasonView, season_overview
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Site
from dryrecords.tenancy.writes import get

# A bin that dries where it stores takes weeks; a batch that is open for longer was never ended in the records.
LONGEST_OPEN = timedelta(days=60)
MOST_OPEN = 200
UTC_NAME = "UTC"
BATCHES_A_PAGE = 50


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
