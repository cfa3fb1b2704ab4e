"""Accounts of tanks and meters through the database: sums close, findings are told, rebuilding gives the same bits."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from dryrecords.grain.demand import BATCH_U, DRYER_U
from dryrecords.harvest import services as harvest
from dryrecords.journal.models import StaleMark
from dryrecords.season import selectors, services
from dryrecords.season.account_views import account_view
from dryrecords.season.models import BatchResult, EnergyAccount, EnergyShare
from tests import factories as make
from tests.season.scene import GAL, Yard, at, codes, result

pytestmark = [pytest.mark.django_db, pytest.mark.services]


@pytest.fixture
def yard() -> Yard:
    return Yard()


@pytest.fixture
def column(yard: Yard) -> Any:
    """A second dryer on the same tank."""
    return make.dryer(yard.by, yard.site, tank_id=yard.tank.pk, name="Column")


def worked_off() -> None:
    services.work_off()
    assert services.all_failures() == []


def account(yard: Yard, kind: str = "tank", of: Any = None) -> Any:
    return account_view(yard.by, kind, (of or yard.tank).pk)


def closes(view: Any) -> None:
    """Every interval, and all of them together."""
    for row in [*view.figures["intervals"], view.totals]:
        parts = row["allocated"] + row["other"] + row["found"] + row["unallocated"]
        assert parts == pytest.approx(row["drawn"], rel=1e-12, abs=1e-12)


def test_two_dryers_on_a_tank_share_what_it_gave_by_what_they_dried(yard: Yard, column: Any) -> None:
    """300 gal between the readings; one batch gave off twice the water of the other."""
    one, other = yard.dried(25.0, 15.0), yard.dried(20.0, 15.0, dryer=column)
    yard.gauge(-1, 80)
    yard.gauge(5, 50)
    worked_off()
    rows = {row.batch_id: row for row in BatchResult.objects.all()}
    assert {row.fuel_basis for row in rows.values()} == {"allocated"}
    assert sum(row.fuel_volume_m3 for row in rows.values()) == pytest.approx(GAL(300), rel=1e-12)
    assert rows[one.pk].fuel_volume_m3 > 1.5 * rows[other.pk].fuel_volume_m3
    assert 0.05 < rows[other.pk].fuel_volume_m3_u / rows[other.pk].fuel_volume_m3 < 0.4
    view = account(yard)
    closes(view)
    assert (view.fresh, view.figures["findings"]) == (True, [])
    assert view.totals["allocated"] == pytest.approx(GAL(300))
    season = selectors.site_season(yard.by, yard.site.pk, 2025)
    assert season.figures["fuel_volume_m3"] == pytest.approx(GAL(300))
    assert (season.fuel_metered_batches, season.fuel_allocated_batches) == (0, 2)


def test_delivery_between_counts_and_temperature_too(yard: Yard, column: Any) -> None:
    """Factor 1.031 at 40 F (29 CFR 1910.110(b)(19)) of what stands in the tank; the ticket is corrected already."""
    yard.dried(25.0, 15.0)
    yard.dried(25.0, 15.0, dryer=column)
    yard.gauge(-1, 60, fuel_temp_c=(40 - 32) / 1.8)
    make.fuel_delivery(yard.by, yard.tank, at=at(2), volume_m3=GAL(200), temperature_corrected=True)
    yard.gauge(5, 40)
    worked_off()
    view = account(yard)
    closes(view)
    assert view.totals["drawn"] == pytest.approx(GAL(600 * 1.031 + 200 - 400))
    assert view.totals["delivered"] == pytest.approx(GAL(200))


def test_batch_that_runs_past_the_last_reading_stays_estimated_until_the_next(yard: Yard, column: Any) -> None:
    yard.dried(25.0, 15.0)
    late = yard.dried(25.0, 15.0, start=3, dryer=column)
    yard.gauge(-1, 80)
    yard.gauge(5, 50)
    assert result(late).fuel_basis == "estimated"
    yard.gauge(8, 40)
    assert result(late).fuel_basis == "allocated"
    closes(account(yard))


def test_unrecorded_delivery_is_told_and_not_spread(yard: Yard, column: Any) -> None:
    """Four days like one another; on the third 300 gal came that nobody wrote down."""
    level = 90.0
    for day in range(4):
        yard.dried(21.0, 15.0, start=24 * day)
        yard.dried(21.0, 15.0, start=24 * day, dryer=column)
        yard.gauge(24 * day - 1, level)
        level += -24.0 + (30.0 if day == 2 else 0.0)
    yard.gauge(95, level)
    worked_off()
    view = account(yard)
    closes(view)
    (finding,) = view.figures["findings"]
    assert finding["kind"] == "more_left_than_explained"
    assert finding["from"] == at(47).isoformat()
    assert finding["size"] == pytest.approx(-GAL(300), abs=3 * finding["size_u"])
    assert finding["beyond_u"] > 3
    third = list(BatchResult.objects.order_by("batch_id"))
    bases = {row.batch_id: row.fuel_basis for row in third}
    assert sorted(bases.values()) == ["allocated"] * 6 + ["estimated"] * 2
    told = [codes(row) for row in third if row.fuel_basis == "estimated"]
    assert told == [["fuel_account_finding"]] * 2
    make.fuel_delivery(yard.by, yard.tank, at=at(60), volume_m3=GAL(300))
    worked_off()
    assert account(yard).figures["findings"] == []
    assert {row.fuel_basis for row in BatchResult.objects.all()} == {"allocated"}


def test_mistyped_gauge_is_left_out(yard: Yard, column: Any) -> None:
    """42 written for 24 percent between two days: too little on the first, too much on the second."""
    for day in range(2):
        yard.dried(21.0, 15.0, start=24 * day)
        yard.dried(21.0, 15.0, start=24 * day, dryer=column)
    yard.gauge(-1, 48)
    yard.gauge(23, 42)
    yard.gauge(47, 4)
    worked_off()
    view = account(yard)
    closes(view)
    (finding,) = view.figures["findings"]
    assert (finding["kind"], finding["reading"]) == ("reading_doubtful", at(23).isoformat())
    assert finding["reading_off"] == pytest.approx(GAL(180), abs=3 * finding["size_u"])
    assert view.totals["found"] == pytest.approx(0.0, abs=1e-12)
    assert view.totals["allocated"] == pytest.approx(GAL(440))
    assert {row.fuel_basis for row in BatchResult.objects.all()} == {"allocated"}


def test_site_meter_is_shared_out_less_what_runs_all_the_time(yard: Yard, column: Any) -> None:
    """1 kW around the clock, seen while nothing dries; 180 kWh for two batches on top."""
    for hours, count in ((-20, 0.0), (-1, 19.0), (5, 205.0)):
        harvest.power_readings.create(yard.by, {"site_id": yard.site.pk, "at": at(hours), "meter_kwh": 1000.0 + count})
    one, other = yard.dried(25.0, 15.0), yard.dried(25.0, 15.0, dryer=column)
    worked_off()
    rows = BatchResult.objects.all()
    assert {row.electricity_basis for row in rows} == {"allocated"}
    view = account(yard, "site", yard.site)
    closes(view)
    assert view.totals["allocated"] == pytest.approx(sum(row.electricity_kwh for row in rows))
    assert view.figures["intervals"][0]["other"] == pytest.approx(19.0)
    assert result(one).electricity_kwh == pytest.approx(result(other).electricity_kwh)


def test_dryers_meter_that_is_read_once_a_day_is_shared_by_its_batches(yard: Yard) -> None:
    for hours, count in ((-1, 0.0), (30, 200.0)):
        make.power_reading(yard.by, yard.dryer, at=at(hours), meter_kwh=1000.0 + count)
    batches = [yard.dried(25.0, 15.0, start=start) for start in (0, 8, 16)]
    worked_off()
    assert sum(result(batch).electricity_kwh for batch in batches) == pytest.approx(200.0)


def test_gas_is_accounted_for_in_energy(yard: Yard) -> None:
    gas = make.tank(yard.by, yard.site, fuel="natural_gas", capacity_m3=None)
    dryers = [make.dryer(yard.by, yard.site, tank_id=gas.pk, name=name) for name in ("A", "B")]
    for dryer in dryers:
        yard.dried(25.0, 15.0, dryer=dryer)
    therm = 1e5 * 1055.05585262
    for hours, count in ((-1, 100), (5, 480)):
        make.fuel_reading(yard.by, gas, at=at(hours), gauge_pct=None, meter_j=count * therm)
    worked_off()
    assert [row.fuel_energy_j for row in BatchResult.objects.all()] == pytest.approx([190 * therm] * 2)
    assert account(yard, "tank", gas).figures["unit"] == "j"


def test_account_goes_from_june_to_june_and_begins_with_the_reading_before(yard: Yard, column: Any) -> None:
    for dryer in (yard.dryer, column):
        yard.dried(25.0, 15.0, dryer=dryer)
    make.fuel_reading(yard.by, yard.tank, at=datetime(2025, 5, 20, tzinfo=UTC), gauge_pct=90.0, fuel_temp_c=15.6)
    yard.gauge(5, 50)
    yard.gauge(24 * 300, 50)
    worked_off()
    assert [(a.season, len(a.figures["intervals"])) for a in EnergyAccount.objects.order_by("season")] == [
        (2025, 1),
        (2026, 1),
    ]


# Stale marks


def rows() -> list[Any]:
    leave_out = {"generation", "computed_at", "id"}
    of = [BatchResult.objects.order_by("pk"), EnergyAccount.objects.order_by("kind", "of_id", "season")]
    of.append(EnergyShare.objects.order_by("batch_id", "kind"))
    return [{k: v for k, v in row.items() if k not in leave_out} for each in of for row in each.values()]


def test_one_by_one_and_all_anew_give_the_same_bits(yard: Yard, column: Any) -> None:
    """Readings, batches, samples and corrections in any order, worked off after each; then everything thrown away."""
    random = np.random.default_rng(5)
    level, batches = 95.0, []
    yard.gauge(-1, level)
    for turn in range(12):
        dryer = (yard.dryer, column)[turn % 2]
        batches.append(yard.dried(20.0 + random.uniform(0, 5), 15.0, start=6 * turn, dryer=dryer))
        worked_off()
        if turn % 3 == 2:
            level -= random.uniform(10, 25)
            # Some while a batch dries.
            yard.gauge(6 * turn + (2 if turn % 2 else 5.5), level)
            worked_off()
    harvest.batches.correct(yard.by, batches[3].pk, {"wet_mass_kg": 21_000.0})
    harvest.batches.remove(yard.by, batches[7].pk)
    worked_off()
    before = rows()
    assert {row["fuel_basis"] for row in before if "fuel_basis" in row} >= {"allocated"}
    services.rebuild()
    assert not EnergyAccount.objects.exists()
    services.work_off()
    assert rows() == before


def test_work_comes_to_an_end_and_unchanged_batches_leave_accounts_alone(yard: Yard, column: Any) -> None:
    batches = [yard.dried(25.0, 15.0, dryer=dryer) for dryer in (yard.dryer, column)]
    yard.gauge(-1, 80)
    yard.gauge(5, 50)
    worked_off()
    wanted = StaleMark.objects.get(kind="account").wanted
    yard.prices()
    worked_off()
    assert StaleMark.objects.get(kind="account").wanted == wanted
    yard.sample(batches[0], "cooled", 14.0, after=17)
    services.work_off()
    assert StaleMark.objects.get(kind="account").wanted == wanted + 1
    assert all(selectors.batch_result(yard.by, batch.pk).fresh for batch in batches)


def test_open_account_keeps_the_neighbours_result_from_being_fresh(yard: Yard, column: Any) -> None:
    batches = [yard.dried(25.0, 15.0, dryer=dryer) for dryer in (yard.dryer, column)]
    yard.gauge(-1, 80)
    yard.gauge(5, 50)
    worked_off()
    StaleMark.objects.filter(kind="account").update(wanted=99)
    assert not selectors.batch_result(yard.by, batches[1].pk).fresh
    assert not selectors.site_season(yard.by, yard.site.pk, 2025).fresh
    assert not account(yard).fresh


def test_open_work_on_a_batch_keeps_those_that_share_with_it_from_being_fresh(yard: Yard, column: Any) -> None:
    batches = [yard.dried(25.0, 15.0, dryer=dryer) for dryer in (yard.dryer, column)]
    yard.gauge(-1, 80)
    yard.gauge(5, 50)
    alone = yard.dried(25.0, 15.0, start=48)
    worked_off()
    yard.sample(batches[0], "cooled", 14.0, after=17)
    assert not selectors.batch_result(yard.by, batches[1].pk).fresh
    assert selectors.batch_result(yard.by, alone.pk).fresh
    assert not account(yard).fresh
    worked_off()
    assert selectors.batch_result(yard.by, batches[1].pk).fresh
    assert account(yard).fresh


def test_tank_that_loses_its_readings_loses_its_account(yard: Yard, column: Any) -> None:
    batches = [yard.dried(25.0, 15.0, dryer=dryer) for dryer in (yard.dryer, column)]
    first, last = yard.gauge(-1, 80), yard.gauge(5, 50)
    worked_off()
    harvest.fuel_readings.remove(yard.by, last.pk)
    worked_off()
    assert not EnergyAccount.objects.exists()
    assert not EnergyShare.objects.exists()
    assert {result(batch).fuel_basis for batch in batches} == {"estimated"}
    assert first.pk


# A season whose batches' use is known


def test_known_season_is_found_again() -> None:
    """Three dryers on two tanks for thirty days, gauges read to 1 % each morning: no more findings than chance, every
    interval closes, and 95 of 100 batches lie where their uncertainty says (a few batches: 8 % either way)."""
    yard = Yard()
    random = np.random.default_rng(20)
    truth: dict[Any, float] = {}
    big = make.tank(yard.by, yard.site, name="Second", capacity_m3=GAL(1000))
    for tank in (yard.tank, big):
        dryers = [make.dryer(yard.by, yard.site, tank_id=tank.pk, name=f"{tank.name} {n}") for n in range(3)]
        for day in range(15):
            for number, dryer in enumerate(dryers):
                wet = 17.0 + random.uniform(0, 3)
                batch = yard.dried(wet, 15.0, start=24 * day + number, dryer=dryer, ambient_temp_c=8.0)
                truth[batch.pk] = 0.0
    worked_off()
    expected = dict(BatchResult.objects.values_list("batch_id", "expected_fuel_energy_j"))
    per_m3 = 91_333 * 1055.05585262 / GAL(1)
    for tank in (yard.tank, big):
        level = GAL(800)
        make.fuel_reading(yard.by, tank, at=at(-1), gauge_pct=80.0, fuel_temp_c=15.56)
        for day in range(15):
            used = 0.0
            for batch in tank_batches(tank, day):
                own = 1 + BATCH_U * random.standard_normal() + DRYER_U * random.standard_normal()
                truth[batch] = expected[batch] / per_m3 * max(own, 0.1)
                used += truth[batch]
            if level - used < GAL(300):
                make.fuel_delivery(yard.by, tank, at=at(24 * day + 9), volume_m3=GAL(400))
                level += GAL(400)
            level -= used
            pct = float(np.clip(100 * level / GAL(1000) + random.standard_normal(), 0, 100))
            make.fuel_reading(yard.by, tank, at=at(24 * day + 23), gauge_pct=pct, fuel_temp_c=15.56)
    worked_off()
    found = BatchResult.objects.filter(fuel_basis="allocated")
    assert found.count() >= 80
    inside = [abs(row.fuel_volume_m3 - truth[row.batch_id]) <= 1.96 * row.fuel_volume_m3_u for row in found]
    assert np.mean(inside) == pytest.approx(0.95, abs=0.08)
    for tank in (yard.tank, big):
        view = account(yard, "tank", tank)
        closes(view)
        # 29 hypotheses of 0.27 % each.
        assert len(view.figures["findings"]) <= 1


def tank_batches(tank: Any, day: int) -> list[Any]:
    from dryrecords.harvest.models import Batch

    begun = Batch.objects.filter(dryer__tank=tank, started_at__gte=at(24 * day), started_at__lt=at(24 * day + 20))
    return list(begun.order_by("pk").values_list("pk", flat=True))
