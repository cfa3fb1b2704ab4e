"""Every write that a figure depends on makes it stale, and nothing else; rebuilding gives the same bits."""

import itertools
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.test.utils import CaptureQueriesContext
from psycopg.errors import DeadlockDetected

from dryrecords.equipment import services as equipment
from dryrecords.harvest import services as harvest
from dryrecords.journal.models import StaleMark
from dryrecords.season import facts, selectors, services
from dryrecords.season.models import BatchResult, SiteSeason
from dryrecords.season.storing import save_results
from tests import factories as make
from tests.season.scene import GAL, Yard, at, result

pytestmark = [pytest.mark.django_db, pytest.mark.services]


@pytest.fixture
def yard() -> Yard:
    yard = Yard()
    yard.prices()
    return yard


@pytest.fixture
def batch(yard: Yard) -> Any:
    batch = yard.dried(25.0, 13.0)
    yard.gauge(-1, 80)
    yard.gauge(5, 50)
    result(batch)
    return batch


def is_fresh(yard: Yard, batch: Any) -> bool:
    return selectors.batch_result(yard.by, batch.pk).fresh


WRITES: dict[str, Callable[[Yard, Any], Any]] = {
    "batch corrected": lambda y, b: harvest.batches.correct(y.by, b.pk, {"wet_mass_kg": 20_000.0}),
    "sample added": lambda y, b: y.sample(b, "cooled", 14.0, after=17),
    "sample removed": lambda y, b: harvest.samples.remove(y.by, b.samples.last().pk),
    "fuel reading between": lambda y, b: y.gauge(4.5, 55),
    "delivery between": lambda y, b: make.fuel_delivery(y.by, y.tank, at=at(1), volume_m3=GAL(100)),
    "price": lambda y, b: make.price(
        y.by, kind="grain", crop="corn", unit_price_usd=Decimal("4.50"), effective_from=at(-24)
    ),
    "setting": lambda y, b: make.setting(y.by, handling_pct=1.0),
    "meter": lambda y, b: equipment.meters.correct(y.by, y.meter.pk, {"standard_uncertainty_pct": 0.1}),
    "lot": lambda y, b: harvest.lots.correct(y.by, y.lot.pk, {"base_moisture_pct": 15.5}),
    "tank": lambda y, b: equipment.tanks.correct(y.by, y.tank.pk, {"capacity_m3": GAL(500)}),
    "fans": lambda y, b: equipment.dryers.correct(y.by, y.dryer.pk, {"fans": []}),
    "power": lambda y, b: [make.power_reading(y.by, y.dryer, at=at(h), meter_kwh=1000.0 + h) for h in (-1, 5)],
    "site power": lambda y, b: [
        harvest.power_readings.create(y.by, {"site_id": y.site.pk, "at": at(h), "meter_kwh": 1000.0 + h})
        for h in (-1, 5)
    ],
}


@pytest.mark.parametrize("write", WRITES)
def test_write_makes_the_result_stale_and_work_makes_it_differ(write: str, yard: Yard, batch: Any) -> None:
    before = stored(batch)
    WRITES[write](yard, batch)
    assert not is_fresh(yard, batch)
    assert not selectors.site_season(yard.by, yard.site.pk, 2025).fresh
    result(batch)
    assert is_fresh(yard, batch)
    assert selectors.site_season(yard.by, yard.site.pk, 2025).fresh
    assert stored(batch) != before


@pytest.mark.parametrize("write", ["sample added", "price", "fuel reading between"])
@pytest.mark.parametrize("reads", range(1, 5))
def test_work_that_lands_between_two_reads_never_makes_old_figures_fresh(
    write: str, reads: int, yard: Yard, batch: Any
) -> None:
    WRITES[write](yard, batch)
    with working_off_after(reads):
        view = selectors.batch_result(yard.by, batch.pk)
    assert services.everything_fresh(yard.by.organization_id)
    assert not view.fresh or view.result.generation == BatchResult.objects.get().generation


@pytest.mark.parametrize("reads", range(1, 4))
def test_work_that_lands_between_two_reads_never_makes_old_sums_fresh(reads: int, yard: Yard, batch: Any) -> None:
    WRITES["sample added"](yard, batch)
    with working_off_after(reads):
        view = selectors.site_season(yard.by, yard.site.pk, 2025)
    assert services.everything_fresh(yard.by.organization_id)
    assert not view.fresh or view.parts == SiteSeason.objects.get().figures["parts"]


def working_off_after(reads: int) -> Any:
    """A worker that gets its turn right after so many statements."""
    counted = itertools.count(1)

    def execute_and_work(execute: Any, *statement: Any) -> Any:
        answer = execute(*statement)
        if next(counted) == reads:
            services.work_off()
        return answer

    return connection.execute_wrapper(execute_and_work)


def stored(batch: Any) -> dict[str, Any]:
    row = BatchResult.objects.filter(pk=batch.pk).values().get()
    return {name: value for name, value in row.items() if name not in {"generation", "computed_at"}}


def test_reading_and_unrelated_price_leave_the_result_alone(yard: Yard, batch: Any) -> None:
    make.reading(yard.by, batch)
    make.price(yard.by, kind="grain", crop="corn", effective_from=datetime(2026, 8, 1, tzinfo=UTC))
    services.work_off()
    assert StaleMark.objects.get(kind="batch", key=str(batch.pk)).wanted == BatchResult.objects.get().generation
    generation = BatchResult.objects.get().generation
    make.price(yard.by, kind="grain", crop="corn", effective_from=datetime(2026, 9, 1, tzinfo=UTC))
    services.work_off()
    assert BatchResult.objects.get().generation == generation


def test_batch_far_away_in_time_is_not_touched_by_a_tank_reading(yard: Yard, batch: Any) -> None:
    far = yard.dried(25.0, 15.0, start=500)
    yard.gauge(499, 80)
    yard.gauge(505, 60)
    result(far)
    generation = BatchResult.objects.get(pk=batch.pk).generation
    yard.gauge(504.5, 61)
    result(far)
    assert BatchResult.objects.get(pk=batch.pk).generation == generation


def test_open_work_at_another_site_leaves_figures_fresh(yard: Yard, batch: Any) -> None:
    elsewhere = make.site(yard.by, yard.customer, name="Far place")
    tank = make.tank(yard.by, elsewhere)
    yard.batch(dryer=make.dryer(yard.by, elsewhere, tank_id=tank.pk))
    make.fuel_reading(yard.by, tank)
    harvest.power_readings.create(yard.by, {"site_id": elsewhere.pk, "at": at(1), "meter_kwh": 1.0})
    assert is_fresh(yard, batch)
    assert selectors.site_season(yard.by, yard.site.pk, 2025).fresh
    assert not selectors.site_season(yard.by, elsewhere.pk, 2025).fresh


def test_dryer_elsewhere_on_the_same_tank_counts_as_a_neighbour(yard: Yard, batch: Any) -> None:
    elsewhere = make.dryer(yard.by, make.site(yard.by, yard.customer, name="Far place"), tank_id=yard.tank.pk)
    yard.batch(dryer=elsewhere)
    assert not is_fresh(yard, batch)
    assert not selectors.site_season(yard.by, yard.site.pk, 2025).fresh


def test_one_broken_batch_does_not_hold_up_its_neighbours(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    good, bad = yard.dried(25.0, 15.0), yard.dried(25.0, 14.0, start=24)
    load = facts._samples

    def breaks(ids: Any) -> Any:
        if bad.pk in ids:
            raise ZeroDivisionError("planted")
        return load(ids)

    monkeypatch.setattr(facts, "_samples", breaks)
    services.work_off()
    assert is_fresh(yard, good)
    view = selectors.batch_result(yard.by, bad.pk)
    assert (view.fresh, view.error) == (False, "ZeroDivisionError: planted")
    assert [failure[1] for failure in services.all_failures()] == [str(bad.pk)]
    monkeypatch.undo()
    StaleMark.objects.update(run_after=make.START)
    services.work_off()
    assert is_fresh(yard, bad)


def test_tie_that_the_database_broke_is_worked_off_again(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    batch, load, ties = yard.dried(25.0, 15.0), facts._samples, [1]

    def tied(ids: Any) -> Any:
        if ties.pop() if ties else 0:
            raise OperationalError("deadlock detected") from DeadlockDetected()
        return load(ids)

    monkeypatch.setattr(facts, "_samples", tied)
    services.work_off()
    assert ties == []
    assert is_fresh(yard, batch)
    assert services.all_failures() == []


def test_older_generation_never_overwrites_a_newer_one(yard: Yard, batch: Any) -> None:
    row = BatchResult.objects.filter(pk=batch.pk).values().get()
    save_results([row | {"generation": row["generation"] - 1, "wet_bu": 1.0}])
    assert BatchResult.objects.get(pk=batch.pk).wet_bu == row["wet_bu"]
    save_results([row | {"generation": row["generation"] + 1, "wet_bu": 1.0}])
    assert BatchResult.objects.get(pk=batch.pk).wet_bu == 1.0


def all_rows() -> list[Any]:
    results = BatchResult.objects.order_by("batch_id").values()
    seasons = SiteSeason.objects.order_by("site_id", "season").values()
    leave_out = {"generation", "computed_at", "id"}
    return [{k: v for k, v in row.items() if k not in leave_out} for row in [*results, *seasons]]


def test_rebuild_gives_the_same_bits(yard: Yard, batch: Any) -> None:
    """Once one by one in the order of posting, once all together."""
    for n in range(1, 25):
        result(yard.dried(20.0 + n / 7, 13.0 + n / 11, start=30 * n, wet_mass_kg=20_000.0 + 37.7 * n))
    before = all_rows()
    assert services.rebuild() == 25
    assert BatchResult.objects.count() == 0
    services.work_off()
    assert all_rows() == before


def test_season_that_loses_its_last_batch_is_gone(yard: Yard, batch: Any) -> None:
    assert SiteSeason.objects.count() == 1
    harvest.batches.remove(yard.by, batch.pk)
    services.work_off()
    assert SiteSeason.objects.count() == 0


def test_batch_that_changes_its_season_leaves_the_old_one(yard: Yard, batch: Any) -> None:
    harvest.batches.correct(yard.by, batch.pk, {"season": 2024})
    services.work_off()
    assert list(SiteSeason.objects.values_list("season", "batches")) == [(2024, 1)]


def test_work_on_many_batches_takes_as_many_queries_as_on_few(yard: Yard) -> None:
    counts = []
    for start, many in ((0, 3), (1000, 40)):
        for n in range(many):
            yard.dried(25.0, 14.0, start=start + 20 * n)
        with CaptureQueriesContext(connection) as seen:
            services.work_off()
        counts.append(len(seen))
    # The first turn also works off the prices and settings of a new yard.
    assert counts[1] <= counts[0]
