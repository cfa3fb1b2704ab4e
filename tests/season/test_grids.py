"""Grids of forecasts: computed in turns, restarted without harm, each the same as one asked alone."""

from __future__ import annotations

from typing import Any

import pytest

from dryrecords.core.errors import Conflict, Invalid, NotFound
from dryrecords.journal import kinds, stale
from dryrecords.journal.models import StaleMark
from dryrecords.season import grids, services
from dryrecords.season.forecast import Taught, Wanted, forecast
from dryrecords.season.grids import compute_grids, grid_ask, grid_error, grid_get
from dryrecords.season.models import ForecastGrid
from tests import factories as make
from tests.season.scene import Yard
from tests.season.synthetic import batch_dryer

pytestmark = [pytest.mark.django_db, pytest.mark.services]
ASKED = {
    "crop": "corn",
    "moisture_in_pct": [20.0, 24.0, 28.0],
    "target_moisture_pct": 15.0,
    "plenum_temp_c": [60.0, 80.0],
    "ambient_temp_c": 10.0,
    "ambient_rh_pct": 65.0,
}


def asked(monkeypatch: pytest.MonkeyPatch, at_once: int = 4, **changes: Any) -> ForecastGrid:
    monkeypatch.setattr(grids, "AT_ONCE", at_once)
    monkeypatch.setattr(grids, "TURN_S", 1e9)
    yard = Yard()
    return grid_ask(yard.by, batch_dryer(yard).pk, ASKED | changes)


def again(grid: ForecastGrid) -> ForecastGrid:
    return ForecastGrid.objects.get(pk=grid.pk)


def test_every_combination_in_the_order_of_the_lists(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = asked(monkeypatch)
    pairs = [(each["moisture_in_pct"], each["plenum_temp_c"]) for each in grid.wanted]
    assert pairs == [(m, p) for m in (20.0, 24.0, 28.0) for p in (60.0, 80.0)]
    services.work_off()
    done = again(grid)
    assert len(done.answers) == 6
    dryer = make.Dryer.objects.select_related("site").get(pk=grid.dryer_id)
    for wanted, answer in zip(done.wanted, done.answers, strict=True):
        assert answer["figures"] == forecast(dryer, Wanted(**wanted), Taught()).figures


def test_killed_in_the_middle_it_goes_on_where_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = asked(monkeypatch)
    first = stale.claim([kinds.FORECAST_GRID], 1)
    compute_grids(first)
    assert len(again(grid).answers) == 4
    # A worker takes the next turn and is killed before it saves anything: its claim runs out.
    killed = stale.claim([kinds.FORECAST_GRID], 1)
    assert killed
    assert stale.claim([kinds.FORECAST_GRID], 1) == []
    StaleMark.objects.update(run_after=stale.DAWN)
    services.work_off()
    done = again(grid)
    assert len(done.answers) == 6
    # The killed one was only slow: it saves what is saved already, and nothing is said twice.
    compute_grids(killed)
    assert again(grid).answers == done.answers
    services.work_off()
    assert again(grid).answers == done.answers
    assert not stale.open_marks(grid.organization_id, [kinds.FORECAST_GRID])


def test_the_same_turn_twice_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = asked(monkeypatch, at_once=6)
    claims = stale.claim([kinds.FORECAST_GRID], 1)
    compute_grids(claims)
    once = again(grid).answers
    compute_grids(claims)
    assert again(grid).answers == once
    assert len(once) == 6


def test_a_slow_worker_takes_nothing_back(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = asked(monkeypatch, at_once=2)
    claims = stale.claim([kinds.FORECAST_GRID], 1)
    real = grids._turn

    def overtaken(of: ForecastGrid) -> Any:
        turn = real(of)
        monkeypatch.setattr(grids, "_turn", real)
        StaleMark.objects.update(run_after=stale.DAWN)
        services.work_off()
        assert len(again(grid).answers) == 6
        return turn

    monkeypatch.setattr(grids, "_turn", overtaken)
    compute_grids(claims)
    assert len(again(grid).answers) == 6


def test_a_long_turn_ends_early(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = asked(monkeypatch, at_once=6)
    monkeypatch.setattr(grids, "TURN_S", 0.0)
    compute_grids(stale.claim([kinds.FORECAST_GRID], 1))
    assert len(again(grid).answers) == 1
    services.work_off()
    assert len(again(grid).answers) == 6


def test_one_that_cannot_be_answered_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = asked(monkeypatch, target_moisture_pct=[15.0, 21.0])
    services.work_off()
    errors = [answer["error"] for answer in again(grid).answers]
    assert sum(bool(error) for error in errors) == 2
    assert all("below" in error for error in errors if error)


def test_a_failure_is_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = asked(monkeypatch)

    def fails(of: ForecastGrid) -> Any:
        raise RuntimeError("no such thing")

    monkeypatch.setattr(grids, "_turn", fails)
    services.work_off()
    assert "no such thing" in grid_error(again(grid))


def test_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(Invalid) as refused:
        asked(monkeypatch, ambient_temp_c=[float(t) for t in range(200)])
    assert refused.value.errors[0].code == "too_many"
    monkeypatch.setattr(grids, "MOST_WAITING", 1)
    asked(monkeypatch)
    with pytest.raises(Conflict):
        asked(monkeypatch)


def test_a_grid_is_seen_by_who_sees_its_dryer(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = asked(monkeypatch)
    yard = Yard("Another Invented Drying")
    neighbour = make.customer(make.access(make.organization()), name="Neighbour")
    for other in (yard.by, make.access(make.organization(), "customer", neighbour)):
        with pytest.raises(NotFound):
            grid_get(other, grid.pk)
