"""Many forecasts of one dryer as background work: asked once, computed in turns, with progress."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import transaction

from dryrecords.core import clock
from dryrecords.core.errors import DomainError, NotFound, invalid
from dryrecords.core.ids import new_id
from dryrecords.equipment.models import Dryer
from dryrecords.journal import kinds, nudge, stale
from dryrecords.journal.stale import Claim, Mark
from dryrecords.season.calibration import calibration_of, taught_by
from dryrecords.season.forecast import Wanted, forecast
from dryrecords.season.models import ForecastGrid
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import get

MOST_FORECASTS = 1000
# So many in a turn: batches that come in meanwhile wait about a second.
AT_ONCE = 20


def grid_ask(access: Access, dryer_id: UUID, wanted: Mapping[str, Any]) -> ForecastGrid:
    """Every combination of the values given as lists, in the order of the lists, the last one fastest."""
    dryer = get(access, Dryer, dryer_id)
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


def compute_grids(claims: Sequence[Claim]) -> None:
    """A turn of each grid. What a killed worker had done in its turn is done again, and is the same."""
    for claim in claims:
        grid = ForecastGrid.objects.get(pk=claim.key, organization_id=claim.organization_id)
        answers = [*grid.answers, *_turn(grid)]
        with transaction.atomic():
            ForecastGrid.objects.filter(pk=grid.pk).update(answers=answers)
            stale.settle([claim])
            if len(answers) < len(grid.wanted):
                stale.raise_marks(claim.organization_id, [Mark(kinds.FORECAST_GRID, claim.key)])


def _turn(grid: ForecastGrid) -> list[dict[str, Any]]:
    dryer = Dryer.objects.filter(pk=grid.dryer_id).select_related("site").get()
    done = len(grid.answers)
    return [_answer(dryer, wanted) for wanted in grid.wanted[done : done + AT_ONCE]]


def _answer(dryer: Dryer, wanted: dict[str, Any]) -> dict[str, Any]:
    try:
        taught = taught_by(calibration_of(dryer.organization_id, dryer.pk, wanted["crop"]))
        return {"figures": forecast(dryer, Wanted(**wanted), taught).figures, "error": ""}
    except DomainError as error:
        return {"figures": {}, "error": error.detail}
