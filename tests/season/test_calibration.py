"""What a dryer's batches teach: known factors come back, reasons are said, and a rebuild gives the same."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from dryrecords.grain.dryer_fit import PRIOR_SD
from dryrecords.harvest import services as harvest
from dryrecords.journal.models import StaleMark
from dryrecords.season import services
from dryrecords.season.calibration import taught_by
from dryrecords.season.forecast import Wanted, forecast
from dryrecords.season.learned import compute_calibrations
from dryrecords.season.models import DryerCalibration
from tests import factories as make
from tests.season.scene import F, Yard
from tests.season.synthetic import Truth, batch_dryer, learn, record, season_of

pytestmark = [pytest.mark.django_db, pytest.mark.services]
NEXT = Wanted("corn", 23.0, 14.0, F(160), 8.0, 65.0)


@pytest.mark.parametrize("truth", [Truth(1.25, 0.9, 4.0), Truth(0.8, 1.1, -5.0), Truth()])
def test_known_factors_come_back_within_their_intervals(truth: Truth) -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    season_of(yard, dryer, truth, 14)
    taught = taught_by(learn(dryer))
    found = np.array([taught.log_drying_rate, taught.log_airflow, taught.cutoff_offset_c])
    sd = np.sqrt(np.diag(taught.covariance))
    assert taught.batches == 14
    assert np.abs((found - truth.logs) / sd).max() < 3.0
    assert (sd < 0.8 * PRIOR_SD).all()
    # The meter's noise is all that is left.
    assert taught.rmse_pct is not None
    assert taught.rmse_pct < 0.5


def test_uncertainty_shrinks_with_batches() -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    told = [forecast(dryer, NEXT, taught_by(None)).figures]
    made = 0
    for count in (1, 4, 12):
        season = season_of(yard, batch_dryer(yard, name=f"Dryer {count}"), Truth(1.2, 0.95, 3.0), count)
        made += len(season)
        told.append(forecast(dryer, NEXT, taught_by(learn(season[0].dryer))).figures)
    for name in ("drying_s_u", "moisture_cooled_pct_u", "cutoff_temp_c_u"):
        shrinking = [figures[name] for figures in told]
        assert shrinking == sorted(shrinking, reverse=True), name
        # One batch already helps, and twelve leave less than half.
        assert shrinking[1] < 0.9 * shrinking[0], name
        assert shrinking[3] < 0.5 * shrinking[0], name


def test_the_relation_foretells_a_batch_it_has_not_seen_better_than_the_last_one_does() -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    truth = Truth(1.2, 0.95, 3.0)
    season_of(yard, dryer, truth, 16)
    relation = learn(dryer).figures["relation"]
    assert relation["left_out_rmse_pct"] < 0.6 * relation["same_as_last_rmse_pct"]
    # Of all batches but one, the error of each is that of the meter and of a line through what is curved.
    assert relation["left_out_rmse_pct"] < 0.6
    # Wetter grain comes out wetter at the same cut-off: 0.36 point a point in the bed model of a 160 F batch.
    assert 0.2 < relation["coefficients"][2] < 0.7
    run = truth.dry(dryer, NEXT, 52.0)
    about = np.array([52.0, NEXT.moisture_in_pct, NEXT.ambient_temp_c]) - relation["centre"]
    foretold = np.array(relation["coefficients"]) @ np.concatenate([[1.0], about])
    assert foretold == pytest.approx(float(run.moisture_cooled_pct[0]), abs=0.6)


def test_the_prior_of_the_relation_knows_the_sensor() -> None:
    """What the fitted model expects at the centre lies near what came out there, however far off the sensor is."""
    yard = Yard()
    for number, offset in enumerate((8.0, -8.0)):
        dryer = batch_dryer(yard, name=f"Off by {offset}")
        season_of(yard, dryer, Truth(offset_c=offset), 5, seed=number)
        figures = learn(dryer).figures
        assert figures["cutoff_offset_c"] * offset > 0
        assert figures["relation"]["prior"][0] == pytest.approx(figures["relation"]["coefficients"][0], abs=0.5)


def test_an_old_reading_does_not_tell_where_the_sensor_stood_at_the_stop() -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    batch = record(yard, dryer, 0, NEXT, 52.0, 7200.0, 14.2, stop_reason="operator", cutoff_temp_c=None)
    make.reading(yard.by, batch, at=batch.started_at + timedelta(minutes=100), grain_temp_c=45.0)
    assert learn(dryer).figures["relation"] is None


def test_it_runs_in_the_background_after_a_while() -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    season_of(yard, dryer, Truth(), 2)
    services.work_off()
    mark = StaleMark.objects.get(kind="calibration", key=f"{dryer.pk}:corn")
    assert not DryerCalibration.objects.exists()
    assert (mark.wanted, mark.done) == (1, 0)
    waits = (mark.run_after - mark.raised_at).total_seconds()
    assert waits == pytest.approx(services.CALIBRATE_AFTER_S, abs=1)
    assert learn(dryer).batches == 2


def test_a_rebuild_gives_the_same_to_the_last_bit() -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    batches = season_of(yard, dryer, Truth(1.1, 1.0, 2.0), 6)
    harvest.batches.correct(yard.by, batches[2].pk, {"note": "looked at again"})
    before = learn(dryer)
    services.rebuild()
    assert not DryerCalibration.objects.exists()
    after = learn(dryer)
    assert after.figures == before.figures
    assert after.generation > before.generation


def test_an_older_worker_does_not_overwrite_a_newer_one() -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    season_of(yard, dryer, Truth(), 2)
    newer = learn(dryer)
    mark = StaleMark.objects.get(kind="calibration")
    from dryrecords.journal.stale import Claim

    older = Claim(mark.pk, mark.organization_id, mark.kind, mark.key, mark.wanted - 1, mark.since, mark.until)
    compute_calibrations([older])
    assert DryerCalibration.objects.get().computed_at == newer.computed_at


def reasons(dryer: Any) -> dict[str, str]:
    return {row["batch"]: row["reason"] for row in learn(dryer).figures["left_out"]}


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"stop_reason": "fault"}, "fault"),
        ({"ambient_temp_c": None}, "not recorded"),
        ({"plenum_temp_c": None}, "not recorded"),
        ({"plenum_temp_c": 9.0}, "not heated"),
        ({"drying_ended_at": None, "cooling_ended_at": None}, "drying_ended_at"),
        ({"drying_ended_at": make.START + timedelta(hours=60)}, "48 h"),
        ({"stop_reason": "operator"}, "not for the cut-off relation"),
        ({"wet_mass_kg": 900.0}, "ft deep"),
        ({"refills": [{"at": "2025-10-06T13:00:00+00:00", "mass_kg": 100.0, "moisture_pct": 60.0}]}, ""),
    ],
)
def test_what_is_left_out_is_said(values: dict[str, Any], words: str) -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    batch = record(yard, dryer, 0, NEXT, 52.0, 9000.0, 14.2, **values)
    if words:
        assert words in reasons(dryer)[str(batch.pk)]
    else:
        assert reasons(dryer) == {}


def test_samples_that_mislead_are_said() -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    hot = yard.batch(dryer=dryer, **KNOWN)
    yard.sample(hot, "wet", 22.0)
    yard.sample(hot, "hot", 15.0, after=4)
    wetter = yard.dried(14.0, 15.0, start=48, dryer=dryer, **KNOWN)
    late = yard.batch(96, dryer=dryer, **KNOWN)
    yard.sample(late, "wet", 22.0)
    yard.sample(late, "cooled", 14.0, after=100)
    twice = [yard.dried(22.0, 14.0, start=hours, dryer=dryer, **KNOWN) for hours in (200, 201)]
    told = reasons(dryer)
    assert "hot samples" in told[str(hot.pk)]
    assert "no drier" in told[str(wetter.pk)]
    assert "late" in told[str(late.pk)]
    assert all("overlap" in told[str(batch.pk)] for batch in twice)
    assert learn(dryer).batches == 0


KNOWN = {"plenum_temp_c": 71.0, "ambient_temp_c": 8.0, "wet_mass_kg": 15_000.0}


def test_readings_tell_the_plenum_and_where_the_sensor_stood() -> None:
    """A batch that the operator stopped teaches as much as one its sensor stopped, if somebody wrote it down."""
    yard = Yard()
    dryer = batch_dryer(yard)
    batch = record(yard, dryer, 0, NEXT, 52.0, 7200.0, 14.2, stop_reason="operator", cutoff_temp_c=None)
    for minutes, sensor in ((20, 20.0), (60, 35.0), (100, 45.0), (118, 50.5), (150, 20.0)):
        make.reading(
            yard.by,
            batch,
            at=batch.started_at + timedelta(minutes=minutes),
            plenum_temp_c=68.0 + minutes / 100,
            grain_temp_c=sensor,
        )
    figures = learn(dryer).figures
    assert figures["relation"]["centre"][0] == 50.5
    assert figures["typical"]["plenum_temp_c"] == pytest.approx(68.0 + np.mean([20, 60, 100, 118]) / 100)


def test_a_refill_is_taken_apart_from_the_first_charge() -> None:
    """The result's moisture in is the mean of both; the bed was filled with the first alone."""
    yard = Yard()
    dryer = batch_dryer(yard)
    refills = [{"at": "2025-10-06T13:30:00+00:00", "mass_kg": 1_500.0, "moisture_pct": 20.0}]
    record(yard, dryer, 0, NEXT, 52.0, 9000.0, 14.2, refills=refills)
    typical = learn(dryer).figures
    assert typical["typical"]["bed_depth_m"] == pytest.approx(0.5, rel=1e-6)
    assert typical["relation"]["centre"][1] == pytest.approx(23.0, abs=1e-9)


def test_a_wild_batch_is_named_and_hardly_pulls() -> None:
    yard = Yard()
    clean, spoilt = batch_dryer(yard), batch_dryer(yard, name="Other")
    season_of(yard, clean, Truth(1.2, 1.0, 2.0), 9)
    season_of(yard, spoilt, Truth(1.2, 1.0, 2.0), 9)
    wild = record(yard, spoilt, 9, NEXT, 52.0, 7000.0, 20.5)
    without, with_it = learn(clean).figures, learn(spoilt).figures
    assert with_it["wild"] == [str(wild.pk)]
    assert without["wild"] == []
    assert with_it["drying_rate"] == pytest.approx(without["drying_rate"], rel=0.1)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"type": "continuous_flow"}, "the grain moves"),
        ({"fans": []}, "no drying fan"),
        ({"diameter_m": None, "bed_area_m2": None}, "neither a diameter"),
    ],
)
def test_a_dryer_that_cannot_be_modelled_still_shows_how_its_batches_came_out(
    values: dict[str, Any], words: str
) -> None:
    yard = Yard()
    dryer = batch_dryer(yard, **values)
    for number, cooled in enumerate((14.0, 14.6, 13.8)):
        record(yard, dryer, number, NEXT, 52.0, 9000.0, cooled)
    held = learn(dryer)
    assert held.batches == 0
    assert len(held.figures["left_out"]) == 3
    assert all(words in row["reason"] for row in held.figures["left_out"])
    assert held.figures["outcomes"]["sd_pct"] == pytest.approx(np.std([14.0, 14.6, 13.8], ddof=1))
    assert held.figures["outcomes"]["same_as_last_rmse_pct"] == pytest.approx(np.sqrt((0.36 + 0.64) / 2))
    assert [row["moisture_cooled_pct"] for row in held.figures["last"]] == [14.0, 14.6, 13.8]


def test_a_batch_that_is_removed_is_forgotten() -> None:
    yard = Yard()
    dryer = batch_dryer(yard)
    batches = season_of(yard, dryer, Truth(), 2)
    assert learn(dryer).batches == 2
    harvest.batches.remove(yard.by, batches[0].pk)
    assert learn(dryer).batches == 1
