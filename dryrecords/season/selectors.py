"""Reads of derived figures, each saying whether it is fresh."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection

from dryrecords.harvest.models import Batch
from dryrecords.journal import kinds, stale
from dryrecords.journal.models import StaleMark
from dryrecords.season import aggregate
from dryrecords.season.affected import (
    DRYERS_WITH_OPEN_ACCOUNTS,
    DRYERS_WITH_OPEN_MARKS,
    EVERYWHERE,
    LOCAL,
    dryers_touched_by_open_marks,
    touched_by_open_marks,
)
from dryrecords.season.models import BatchResult, SiteSeason
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Customer, Site
from dryrecords.tenancy.writes import get


@dataclass(frozen=True)
class BatchResultView:
    """`result` is None until the batch has been computed for the first time."""

    batch: Batch
    result: BatchResult | None
    fresh: bool
    error: str


@dataclass(frozen=True)
class SeasonView:
    """A season of one site, or of all sites together when `site` is None.

    Figures are those of the complete batches, in SI, by name of grain.figures.
    """

    site: Site | None
    season: int
    batches: int
    complete_batches: int
    # Of the complete ones, those whose fuel was metered; that of the others is an estimate.
    fuel_metered_batches: int
    # And those that have their share of what a tank gave to several.
    fuel_allocated_batches: int
    figures: dict[str, float | None]
    by_dryer: dict[str, dict[str, Any]]
    by_crop: dict[str, dict[str, Any]]
    best: list[str]
    worst: list[str]
    fresh: bool
    computed_at: datetime | None
    # What adds up across sites.
    parts: aggregate.Parts

    @property
    def fuel_estimated_batches(self) -> int:
        """Of the complete ones, the rest of those that have a figure of fuel."""
        known = int(self.parts.get("fuel_energy_j known", 0))
        return known - self.fuel_metered_batches - self.fuel_allocated_batches

    @property
    def gas_batches(self) -> int:
        """Of the complete ones, those whose fuel is known as heat and has no volume of a liquid."""
        return int(self.parts.get("fuel_energy_j known", 0) - self.parts.get("fuel_volume_m3 known", 0))


@dataclass(frozen=True)
class SeasonOverview:
    total: SeasonView
    sites: list[SeasonView]


def batch_result(access: Access, batch_id: UUID) -> BatchResultView:
    return result_of(access, get(access, Batch, batch_id))


def result_of(access: Access, batch: Batch) -> BatchResultView:
    """Of a batch that was found visible before."""
    # Wide marks, then the batch's own, then its result: work that lands between two reads goes the same way, so what
    # is read later is never older than what was found settled before.
    touched = touched_by_open_marks(access.organization_id, batch.dryer_id, batch.pk)
    mark = StaleMark.objects.filter(organization_id=access.organization_id, kind=kinds.BATCH, key=str(batch.pk)).first()
    result = BatchResult.objects.filter(batch_id=batch.pk, organization_id=access.organization_id).first()
    settled = result is not None and mark is not None and mark.wanted == mark.done
    return BatchResultView(batch, result, settled and not touched, mark.last_error if mark else "")


def batch_results(access: Access, batches: Sequence[Batch]) -> list[BatchResultView]:
    """The same of many batches, in a number of queries that does not grow with them, read in the same order."""
    touched = dryers_touched_by_open_marks(access.organization_id)
    ids = {str(batch.pk): batch.pk for batch in batches}
    marks = {
        ids[mark.key]: mark
        for mark in StaleMark.objects.filter(organization_id=access.organization_id, kind=kinds.BATCH, key__in=ids)
    }
    held = BatchResult.objects.filter(organization_id=access.organization_id, batch_id__in=ids.values())
    results = {result.batch_id: result for result in held}
    views = []
    for batch in batches:
        mark, result = marks.get(batch.pk), results.get(batch.pk)
        settled = result is not None and mark is not None and mark.wanted == mark.done
        quiet = touched is not None and batch.dryer_id not in touched
        views.append(BatchResultView(batch, result, settled and quiet, mark.last_error if mark else ""))
    return views


def site_season(access: Access, site_id: UUID, season: int) -> SeasonView:
    site = get(access, Site, site_id)
    return _site_views(access, [site], season)[0]


def season_overview(access: Access, season: int, customer_id: UUID | None = None) -> SeasonOverview:
    sites = Site.objects.visible_to(access).order_by("name", "id")
    if customer_id is not None:
        get(access, Customer, customer_id)
        sites = sites.filter(customer_id=customer_id)
    views = _site_views(access, list(sites), season)
    with_batches = [view for view in views if view.batches]
    parts = aggregate.added([view.parts for view in with_batches])
    total = SeasonView(
        site=None,
        season=season,
        batches=sum(view.batches for view in views),
        complete_batches=sum(view.complete_batches for view in views),
        fuel_metered_batches=sum(view.fuel_metered_batches for view in views),
        fuel_allocated_batches=sum(view.fuel_allocated_batches for view in views),
        figures=aggregate.figures(parts),
        by_dryer={},
        by_crop={},
        best=[],
        worst=[],
        fresh=all(view.fresh for view in views),
        computed_at=max((view.computed_at for view in views if view.computed_at), default=None),
        parts=parts,
    )
    return SeasonOverview(total, with_batches)


def _site_views(access: Access, sites: Sequence[Site], season: int) -> list[SeasonView]:
    organization_id = access.organization_id
    # Before the rows, for the reason given above.
    all_stale = stale.open_marks(organization_id, EVERYWHERE)
    stale_sites = set() if all_stale else _sites_with_open_work(organization_id, season)
    rows = {
        row.site_id: row
        for row in SiteSeason.objects.filter(
            organization_id=organization_id, season=season, site_id__in=[site.pk for site in sites]
        )
    }
    return [_view(site, season, rows.get(site.pk), not all_stale and site.pk not in stale_sites) for site in sites]


def _sites_with_open_work(organization_id: UUID, season: int) -> set[UUID]:
    """Sites whose season waits to be summed, or one of whose batches waits to be computed or may have to."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"""
            SELECT split_part(key, ':', 1)::uuid FROM journal_stalemark
            WHERE organization_id = %(organization)s AND kind = %(site_season)s AND wanted > done
                AND split_part(key, ':', 2) = %(season)s::text
            UNION
            SELECT n.site_id FROM journal_stalemark m
            JOIN harvest_batch b ON b.id = m.key::uuid JOIN equipment_dryer d ON d.id = b.dryer_id
            -- What is drawn from a tank is shared by dryers that may stand at another site.
            JOIN equipment_dryer n ON n.id = d.id OR n.tank_id = d.tank_id
            WHERE m.organization_id = %(organization)s AND m.kind = %(batch)s AND m.wanted > m.done
                AND b.season = %(season)s
            UNION
            SELECT d.site_id FROM {DRYERS_WITH_OPEN_MARKS}
            UNION
            SELECT d.site_id FROM {DRYERS_WITH_OPEN_ACCOUNTS}
            """,
            {
                "organization": organization_id,
                "site_season": kinds.SITE_SEASON,
                "batch": kinds.BATCH,
                "season": season,
                "local": list(LOCAL),
            },
        )
        return {row[0] for row in cursor.fetchall()}


def _view(site: Site, season: int, row: SiteSeason | None, fresh: bool) -> SeasonView:
    held = row.figures if row else {}
    parts = held.get("parts", {})
    return SeasonView(
        site=site,
        season=season,
        batches=row.batches if row else 0,
        complete_batches=row.complete_batches if row else 0,
        fuel_metered_batches=held.get("fuel_metered", 0),
        fuel_allocated_batches=held.get("fuel_allocated", 0),
        figures=aggregate.figures(parts),
        by_dryer=held.get("by_dryer", {}),
        by_crop=held.get("by_crop", {}),
        best=held.get("best", []),
        worst=held.get("worst", []),
        fresh=fresh,
        computed_at=row.computed_at if row else None,
        parts=parts,
    )
