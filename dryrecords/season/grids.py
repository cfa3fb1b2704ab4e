"""Many forecasts of one dryer as background work: asked once, computed in turns, with progress."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from time import monotonic
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import F

from dryrecords.core import clock
from dryrecords.core.errors import Conflict, DomainError, NotFound, invalid
from dryrecords.core.ids import new_id
from dryrecords.equipment.models import Dryer
from dryrecords.journal import kinds, nudge, stale
from dryrecords.journal.models import StaleMark
from dryrecords.journal.stale import Claim, Mark
from dryrecords.season.calibration import calibration_of, taught_by
from dryrecords.season.forecast import Taught, Wanted, forecast
from dryrecords.season.models import ForecastGrid
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import get

MOST_FORECASTS = 1000
# Grids of one organization that are not done yet.
MOST_WAITING = 20
# A turn ends after so many forecasts or so long: batches that come in meanwhile wait no longer.
AT_ONCE, TURN_S = 20, 2.0


def grid_ask(access: Access, dryer_id: UUID, wanted: Mapping[str, Any]) -> ForecastGrid:
    """Every combination of the values given as lists, in the order of the lists, the last one fastest."""
    dryer = get(access, Dryer, dryer_id)
    if _waiting(access.organization_id) >= MOST_WAITING:
        raise Conflict("Many grids are still being computed. Ask again when some are done.", code="too_many_waiting")
    lists = {name: value if isinstance(value, list) else [value] for name, value in wanted.items()}
    size = 1
    for name, values in lists.items():
        size *= len(values)
        if not values or size > MOST_FORECASTS:
            raise invalid(f"/{name}", "too_many", f"A grid holds 1 to {MOST_FORECASTS} forecasts.")
    combinations = [dict(zip(lists, values, strict=True)) for values in itertools.product(*lists.values())]
    with transaction.atomic():
        grid = ForecastGrid.objects.create(
            id=new_id(),
            organization_id=access.organization_id,
            dryer_id=dryer.pk,
            asked_at=clock.now(),
            wanted=combinations,
        )
        stale.raise_marks(access.organization_id, [Mark(kinds.FORECAST_GRID, str(grid.pk))])
        transaction.on_commit(nudge.nudge, robust=True)
    return grid


def grid_get(access: Access, grid_id: UUID) -> ForecastGrid:
    grid = ForecastGrid.objects.filter(pk=grid_id, organization_id=access.organization_id).first()
    if grid is None or not Dryer.objects.visible_to(access).filter(pk=grid.dryer_id).exists():
        raise NotFound()
    return grid


def _waiting(organization_id: UUID) -> int:
    return StaleMark.objects.filter(
        organization_id=organization_id, kind=kinds.FORECAST_GRID, wanted__gt=F("done")
    ).count()


def grid_error(grid: ForecastGrid) -> str:
    """What the last attempt at a turn failed with; empty if it did not."""
    mark = StaleMark.objects.filter(
        organization_id=grid.organization_id, kind=kinds.FORECAST_GRID, key=str(grid.pk)
    ).first()
    return mark.last_error if mark else ""


def compute_grids(claims: Sequence[Claim]) -> None:
    """A turn of each grid. What a killed worker had done in its turn is done again, and is the same."""
    for claim in claims:
        grid = ForecastGrid.objects.get(pk=claim.key, organization_id=claim.organization_id)
        answers = [*grid.answers, *_turn(grid)]
        with transaction.atomic():
            held = ForecastGrid.objects.select_for_update().get(pk=grid.pk)
            if len(held.answers) < len(answers):
                held.answers = answers
                held.save(update_fields=["answers"])
            stale.settle([claim])
            if len(held.answers) < len(held.wanted):
                stale.raise_marks(claim.organization_id, [Mark(kinds.FORECAST_GRID, claim.key)])


def _turn(grid: ForecastGrid) -> list[dict[str, Any]]:
    dryer = Dryer.objects.filter(pk=grid.dryer_id).select_related("site", "tank").get()
    taught: dict[str, Taught] = {}
    answers: list[dict[str, Any]] = []
    until = monotonic() + TURN_S
    for wanted in grid.wanted[len(grid.answers) :][:AT_ONCE]:
        crop = wanted["crop"]
        if crop not in taught:
            taught[crop] = taught_by(calibration_of(dryer.organization_id, dryer.pk, crop))
        answers.append(_answer(dryer, wanted, taught[crop]))
        if monotonic() > until:
            break
    return answers


def _answer(dryer: Dryer, wanted: dict[str, Any], taught: Taught) -> dict[str, Any]:
    try:
        made = forecast(dryer, Wanted(**wanted), taught)
    except DomainError as error:
        return {"figures": {}, "assumed": [], "cautions": [], "error": error.detail}
    return {"figures": made.figures, "assumed": made.assumed, "cautions": made.cautions, "error": ""}
