"""What the database holds about batches, samples and readings, attacked past the services."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from dryrecords.core.errors import Conflict, Invalid, VersionMismatch
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Batch, FuelReading, PowerReading, Price, Sample
from dryrecords.journal.models import Change, StaleMark
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.services]


@pytest.mark.parametrize(
    ("model", "values"),
    [
        (Batch, {"drying_ended_at": make.START - timedelta(hours=1)}),
        (Batch, {"cooling_ended_at": make.START + timedelta(hours=1)}),
        (Batch, {"emptied_at": make.START + timedelta(hours=1)}),
        (Batch, {"wet_mass_kg": 0}),
        (Batch, {"wet_mass_kg": -1}),
        (Batch, {"dry_mass_kg": -1}),
        (Batch, {"plenum_temp_c": 900}),
        (Batch, {"ambient_rh_pct": 101}),
        (Batch, {"refills": [{"at": "2025-10-06T13:00:00Z", "mass_kg": 0, "moisture_pct": 20}]}),
        (Batch, {"refills": [{"at": "2025-10-06T13:00:00Z", "mass_kg": 10, "moisture_pct": 61}]}),
        (Batch, {"refills": [{"at": "2025-10-06T13:00:00Z", "mass_kg": 10}]}),
        (Sample, {"moisture_pct": 60.1}),
        (Sample, {"moisture_pct": -0.1}),
        (Sample, {"tested_at": make.START - timedelta(hours=1)}),
        (Sample, {"batch_id": None}),
        (FuelReading, {"gauge_pct": 101}),
        (FuelReading, {"volume_m3": 1}),
        (PowerReading, {"dryer_id": None}),
        (Price, {"crop": "corn"}),
        (Price, {"unit_price_usd": -1}),
    ],
)
def test_database_refuses_impossible_values(model: Any, values: dict[str, Any]) -> None:
    make.farm()
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.update(**values)


def test_refusal_says_which_value_and_why() -> None:
    farm = make.farm()
    with pytest.raises(Invalid) as refused:
        harvest.batches.correct(farm.by, farm["batches"].pk, {"wet_mass_kg": -1.0})
    (error,) = refused.value.errors
    assert (error.pointer, error.code) == ("/wet_mass_kg", "out_of_range")
    assert "above zero" in error.detail


def test_season_follows_from_the_start_in_local_time_unless_given() -> None:
    farm = make.farm()
    winter = datetime(2026, 1, 10, tzinfo=UTC)
    ended = winter + timedelta(hours=3)
    derived = make.batch(farm.by, farm["dryers"], started_at=winter, drying_ended_at=ended)
    given = make.batch(farm.by, farm["dryers"], started_at=winter, drying_ended_at=ended, season=2026)
    assert (derived.season, given.season) == (2025, 2026)


def test_corrected_start_moves_a_derived_season_and_leaves_a_given_one() -> None:
    farm = make.farm()
    later = {"started_at": datetime(2026, 9, 1, tzinfo=UTC), "drying_ended_at": datetime(2026, 9, 2, tzinfo=UTC)}
    derived = harvest.batches.correct(farm.by, farm["batches"].pk, later)
    given = harvest.batches.correct(farm.by, make.batch(farm.by, farm["dryers"], season=2031).pk, later)
    assert (derived.season, given.season) == (2026, 2031)


def test_batch_keeps_to_the_crop_of_its_lot() -> None:
    farm = make.farm()
    soybeans = make.lot(farm.by, farm["customers"], crop="soybean")
    with pytest.raises(Invalid, match="The lot is of soybean"):
        make.batch(farm.by, farm["dryers"], lot_id=soybeans.pk)
    with pytest.raises(Invalid, match="The lot is of corn"):
        harvest.batches.correct(farm.by, farm["batches"].pk, {"crop": "wheat"})
    assert harvest.batches.correct(farm.by, farm["batches"].pk, {"crop": "soybean", "lot_id": soybeans.pk}).version == 2


def test_price_of_one_thing_and_moment_is_recorded_once() -> None:
    farm = make.farm()
    make.price(farm.by, unit_price_usd=Decimal("1.80"))
    with pytest.raises(Conflict, match="already has a row"):
        make.price(farm.by, unit_price_usd=Decimal("9.99"))
    harvest.prices.remove(farm.by, Price.objects.get(site=None).pk)
    assert make.price(farm.by, unit_price_usd=Decimal("9.99")).pk


def test_reading_is_of_the_kind_of_its_tanks_fuel() -> None:
    farm = make.farm()
    gas = make.tank(farm.by, farm["sites"], fuel="natural_gas")
    with pytest.raises(Invalid, match="needs meter_therm"):
        make.fuel_reading(farm.by, gas)
    with pytest.raises(Invalid, match="needs gauge_pct"):
        make.fuel_reading(farm.by, farm["tanks"], gauge_pct=None, meter_j=1e9)
    reading = make.fuel_reading(farm.by, gas, gauge_pct=None, meter_j=1e9)
    with pytest.raises(Invalid):
        harvest.fuel_readings.correct(farm.by, reading.pk, {"tank_id": farm["tanks"].pk})


def test_correction_of_an_older_version_is_refused() -> None:
    farm = make.farm()
    batch = farm["batches"]
    harvest.batches.correct(farm.by, batch.pk, {"note": "first"}, version=1)
    with pytest.raises(VersionMismatch):
        harvest.batches.correct(farm.by, batch.pk, {"note": "second"}, version=1)


def test_correction_that_changes_nothing_leaves_no_trace() -> None:
    farm = make.farm()
    before = Change.objects.count()
    assert harvest.batches.correct(farm.by, farm["batches"].pk, {"wet_mass_kg": 25_000.0}).version == 1
    assert Change.objects.count() == before


def test_id_is_taken_once() -> None:
    farm = make.farm()
    with pytest.raises(Conflict):
        make.batch(farm.by, farm["dryers"], id=farm["batches"].pk)


def test_failed_write_leaves_neither_trail_nor_mark() -> None:
    farm = make.farm()
    changes, marks = Change.objects.count(), list(StaleMark.objects.values_list("key", "wanted"))
    with pytest.raises(Invalid):
        make.batch(farm.by, farm["dryers"], wet_mass_kg=-1.0)
    assert Change.objects.count() == changes
    assert list(StaleMark.objects.values_list("key", "wanted")) == marks


def test_many_batches_cost_as_many_statements_as_one(django_assert_max_num_queries: Any) -> None:
    farm = make.farm()
    rows = [
        {
            "dryer_id": farm["dryers"].pk,
            "crop": "corn",
            "started_at": make.START + timedelta(days=n),
            "mass_basis": "scale",
            "wet_mass_kg": 1000.0,
        }
        for n in range(200)
    ]
    with django_assert_max_num_queries(8):
        harvest.batches.create_many(farm.by, rows)
    assert Batch.objects.count() == 201
