"""Synthetic dryers with known factors are recovered within their intervals; a wild batch hardly matters."""

from dataclasses import replace

import numpy as np
import pytest

from dryrecords.grain.bed import BedScenario, run_bed
from dryrecords.grain.dryer_fit import PRIOR_SD, DryerFit, Observed, fit_dryer, sensor_temp_c

BATCHES = 12


def season(rng: np.random.Generator, batches: int) -> BedScenario:
    """Batches of a 0.6 m bed, dried for about as long as they need."""
    moisture_in = rng.uniform(19.0, 27.0, batches)
    return BedScenario(
        crop=np.full(batches, "corn"),
        moisture_in_pct=moisture_in,
        grain_temp_c=rng.uniform(2.0, 15.0, batches),
        plenum_temp_c=rng.uniform(60.0, 85.0, batches),
        ambient_temp_c=rng.uniform(-2.0, 15.0, batches),
        ambient_rh_pct=rng.uniform(50.0, 85.0, batches),
        bed_depth_m=0.6,
        airflow_m3_s_m2=0.30,
        sensor_height_m=0.45,
        stop_time_s=3600.0 * (0.6 + 0.25 * (moisture_in - 15.0)),
        bin_cooling_s=8 * 3600.0,
        bin_airflow_m3_s_m2=0.01,
    ).spread()


def observe(rng: np.random.Generator, rate: float, air: float, offset: float, batches: int = BATCHES) -> Observed:
    """What a dryer with these factors would have shown, with the noise of meters and sensors."""
    scenario = season(rng, batches)
    truth = run_bed(replace(scenario, drying_rate_factor=np.full(batches, rate), airflow_factor=np.full(batches, air)))
    fuel = truth.fuel_energy_j_m2 * rng.lognormal(0.0, 0.05, batches)
    fuel[::2] = np.nan
    return Observed(
        scenario=scenario,
        moisture_cooled_pct=truth.moisture_cooled_pct + rng.normal(0, 0.3, batches),
        moisture_u_pct=np.full(batches, 0.3),
        sensor_temp_c=sensor_temp_c(truth) + offset + rng.normal(0, 1.5, batches),
        fuel_j_m2=fuel,
        fuel_u_j_m2=0.05 * fuel,
    )


def errors(fit: DryerFit, rate: float, air: float, offset: float) -> np.ndarray:
    found = np.array([np.log(fit.drying_rate), np.log(fit.airflow), fit.sensor_offset_c])
    return (found - [np.log(rate), np.log(air), offset]) / np.sqrt(np.diag(fit.covariance))


@pytest.mark.parametrize(("rate", "air", "offset"), [(1.3, 0.85, 4.0), (0.75, 1.15, -5.0), (1.0, 1.0, 0.0)])
def test_known_factors_lie_within_three_standard_deviations(rate: float, air: float, offset: float) -> None:
    fit = fit_dryer(observe(np.random.default_rng(11), rate, air, offset))
    assert np.abs(errors(fit, rate, air, offset)).max() < 3.0
    assert (np.sqrt(np.diag(fit.covariance)) < 0.5 * PRIOR_SD).all()
    assert fit.rmse_pct < 0.7


def test_no_batches_leave_what_is_expected_of_any_dryer() -> None:
    fit = fit_dryer(observe(np.random.default_rng(1), 1.3, 1.0, 0.0, batches=0))
    assert (fit.drying_rate, fit.airflow, fit.sensor_offset_c) == (1.0, 1.0, 0.0)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(PRIOR_SD)
    assert np.isnan(fit.rmse_pct)


def test_wild_sample_hardly_moves_the_factors() -> None:
    observed = observe(np.random.default_rng(5), 1.2, 0.9, 0.0)
    moisture = observed.moisture_cooled_pct.copy()
    moisture[4] += 7.0
    clean, spoilt = fit_dryer(observed), fit_dryer(replace(observed, moisture_cooled_pct=moisture))
    assert spoilt.drying_rate == pytest.approx(clean.drying_rate, rel=0.1)
    assert spoilt.weights[4, 0] < 0.15


def test_batch_that_the_model_cannot_run_is_left_out_without_harm() -> None:
    observed = observe(np.random.default_rng(6), 1.1, 1.0, 0.0)
    plenum = np.array(observed.scenario.plenum_temp_c)
    plenum[3] = np.nan
    fit = fit_dryer(replace(observed, scenario=replace(observed.scenario, plenum_temp_c=plenum)))
    assert np.isfinite(fit.drying_rate)
    assert np.isnan(fit.residuals[3]).all()
