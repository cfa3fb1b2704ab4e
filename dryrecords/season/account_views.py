"""Reads of what a tank or an electricity meter gave: of batches only those that the caller may see."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import connection

from dryrecords.core import clock
from dryrecords.equipment.models import Dryer, Tank
from dryrecords.harvest.models import Batch
from dryrecords.journal import kinds
from dryrecords.journal.models import StaleMark
from dryrecords.season.account_keys import DRYER, SITE, TANK, Key
from dryrecords.season.affected import EVERYWHERE
from dryrecords.season.models import EnergyAccount
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Site
from dryrecords.tenancy.writes import get

SUMS = ("drawn", "delivered", "expected", "allocated", "other", "found", "unallocated")
ACCOUNT_ASSUMED = [
    "Expected fuel: heat of water and grain over what the air leaves of it; 11 % a batch and 22 % a dryer and "
    "interval, from Iowa State extension's ranges of farm dryers.",
    "A batch that was read in the middle used its fuel evenly, give or take.",
]
_MODELS: dict[str, Any] = {TANK: Tank, DRYER: Dryer, SITE: Site}


class BatchName(NamedTuple):
    """What a batch is called by: when it began, and where."""

    started_at: datetime
    dryer: str


@dataclass(frozen=True)
class AccountView:
    """`account` is None until it was made for the first time, or where there are not two readings.

    figures : as season.account_figures makes them, without the ids of batches that the caller may not see
    names : of its batches that the caller may see, by id; only where they are asked for
    totals : sums over the intervals by name of SUMS; drawn = allocated + other + found + unallocated
    """

    of: Any
    season: int
    account: EnergyAccount | None
    figures: dict[str, Any]
    names: dict[str, BatchName]
    totals: dict[str, float]
    fresh: bool
    error: str


def account_view(access: Access, kind: str, of_id: UUID, season: int | None = None) -> AccountView:
    """Of a tank, of a dryer's or of a site's electricity meter; of the newest season where none is asked for."""
    of = get(access, _MODELS[kind], of_id)
    return account_of(access, kind, of, season or newest_of(account_seasons(access, kind, of_id)))


def account_of(access: Access, kind: str, of: Any, year: int, *, with_names: bool = False) -> AccountView:
    """Of what the caller has been let see already."""
    # Marks before the row: work that lands in between makes the row newer than what was said of it, never older.
    waiting = _work_waits(access.organization_id, kind, of.pk)
    mark = StaleMark.objects.filter(
        organization_id=access.organization_id, kind=kinds.ACCOUNT, key=Key(kind, of.pk, year).mark.key
    ).first()
    account = _accounts(access, kind, of.pk).filter(season=year).first()
    figures = account.figures if account else {}
    is_narrow = access.customer_id is not None
    names = _names(access, figures) if with_names or is_narrow else {}
    figures = _as_seen(figures, names) if figures and is_narrow else figures
    rows = figures.get("intervals", [])
    return AccountView(
        of=of,
        season=year,
        account=account,
        figures=figures,
        names=names,
        totals={name: sum(row[name] for row in rows) for name in SUMS},
        fresh=not waiting and not (mark and mark.wanted > mark.done),
        error=mark.last_error if mark else "",
    )


def _accounts(access: Access, kind: str, of_id: UUID) -> Any:
    return EnergyAccount.objects.filter(organization_id=access.organization_id, kind=kind, of_id=of_id)


def account_seasons(access: Access, kind: str, of_id: UUID) -> list[int]:
    """Newest first."""
    return list(_accounts(access, kind, of_id).order_by("-season").values_list("season", flat=True))


def newest_of(seasons: list[int]) -> int:
    """The present one where there is no account yet."""
    return seasons[0] if seasons else clock.season_of(clock.now(), "UTC")


def _work_waits(organization_id: UUID, kind: str, of_id: UUID) -> bool:
    """May open work change a reading's interval or what a batch here was expected to take?"""
    of = "id" if kind == DRYER else f"{kind}_id"
    with connection.cursor() as cursor:
        cursor.execute(
            f"""
            SELECT EXISTS (
                SELECT 1 FROM journal_stalemark m WHERE m.organization_id = %(organization)s AND m.wanted > m.done
                    AND (m.kind = ANY(%(everywhere)s) OR m.key = %(key)s
                        OR (m.kind = 'dryer' AND m.key IN (
                            SELECT d.id::text FROM equipment_dryer d WHERE d.{of} = %(of)s))
                        OR (m.kind = 'batch' AND m.key IN (
                            SELECT b.id::text FROM harvest_batch b JOIN equipment_dryer d ON d.id = b.dryer_id
                            WHERE d.{of} = %(of)s))))
            """,
            {"organization": organization_id, "everywhere": list(EVERYWHERE), "key": str(of_id), "of": of_id},
        )
        return bool(cursor.fetchone()[0])


def _names(access: Access, figures: dict[str, Any]) -> dict[str, BatchName]:
    told = [each["batch"] for each in figures.get("batches", [])]
    rows = Batch.objects.visible_to(access).filter(pk__in=told).values_list("pk", "started_at", "dryer__name")
    return {str(pk): BatchName(started_at, dryer) for pk, started_at, dryer in rows}


def _as_seen(figures: dict[str, Any], seen: Container[str]) -> dict[str, Any]:
    """Sums are the tank's own and shown as they are; a single batch is named only to who may see it."""
    intervals = [
        row | {"batches": [[batch if batch in seen else None, *rest] for batch, *rest in row["batches"]]}
        for row in figures["intervals"]
    ]
    return figures | {
        "intervals": intervals,
        "batches": [each for each in figures["batches"] if each["batch"] in seen],
    }
