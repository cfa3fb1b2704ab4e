"""Fits the bed model to a dryer's own batches: how fast it dries, how much air it moves, where its sensor stands."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray
from dryrecords.grain.bed import BedRun, BedScenario, run_bed
from dryrecords.grain.learning import TAIL_DEGREES

# What is expected of a dryer before its first batch: standard deviations of the logarithms of both factors, and of
# the sensor against the model's air at its height. Common practice, no source.
PRIOR_SD = np.array([0.30, 0.25, 6.0])
# How far batches of one dryer lie from the best model of it, beside the uncertainty of what was measured: moisture
# [points], sensor [K], fuel [share]. Common practice, no source.
MODEL_SCATTER = np.array([0.5, 4.0, 0.15])
ITERATIONS = 5
STEP = 0.02
# Farthest from the prior: beyond it the model no longer means this dryer.
FARTHEST = np.array([1.2, 1.2, 30.0])


@dataclass(frozen=True, kw_only=True)
class Observed:
    """What n batches showed, shape (n,) each; NaN where nothing was measured."""

    scenario: BedScenario  # spread out, with stop_time_s the time that burner ran
    moisture_cooled_pct: FloatArray  # [% wet basis]
    moisture_u_pct: FloatArray  # [points]; of it, that of the moisture in included
    sensor_temp_c: FloatArray  # at the stop, of batches stopped by it [deg C]
    fuel_j_m2: FloatArray  # metered, gross [J/m2]
    fuel_u_j_m2: FloatArray  # [J/m2]


@dataclass(frozen=True)
class DryerFit:
    """Factors on the model's drying rate and airflow, and what the sensor shows beyond the model's air [K]."""

    drying_rate: float
    airflow: float
    sensor_offset_c: float
    # Of (ln drying rate, ln airflow, sensor offset), shape (3, 3).
    covariance: FloatArray
    # (n, 3): observed minus model with these factors: moisture [points], sensor [K], ln fuel. NaN where not observed.
    residuals: FloatArray
    weights: FloatArray  # (n, 3): 1 for what fits, towards 0 for what is wild

    @property
    def rmse_pct(self) -> float:
        """Root mean square of the moisture residuals. [points]; NaN without any"""
        known = self.residuals[:, 0][~np.isnan(self.residuals[:, 0])]
        return float(np.sqrt(np.mean(known**2))) if known.size else float("nan")


def fit_dryer(observed: Observed) -> DryerFit:
    """Factors of least weighted distance from what the batches showed and from what is expected of any dryer.

    Parameters
    ----------
    observed : n batches, n may be 0

    Returns
    -------
    DryerFit

    Equation    Gauss-Newton on sum (residual / sd)^2 weighted as in `learning`, plus (theta / PRIOR_SD)^2; covariance
                is the inverse of the matrix of that sum at its least
    Source      Bard, Nonlinear Parameter Estimation (1974), chapter 5; from memory
    Known gap   moisture tells rate and air little apart; metered fuel, which is air times heat, and the sensor do
    Checked by  tests/grain/test_dryer_fit.py: synthetic dryers with known factors
    """
    count = observed.moisture_cooled_pct.size
    theta = np.zeros(3)
    prior = np.diag(1.0 / PRIOR_SD**2)
    sd = _standard_deviations(observed)
    residuals, weights = np.full((count, 3), np.nan), np.ones((count, 3))
    precision = prior
    for _ in range(ITERATIONS if count else 0):
        residuals, slopes = _linearised(observed, theta)
        weights = np.minimum(1.0, (TAIL_DEGREES + 1.0) / (TAIL_DEGREES + (residuals / sd) ** 2))
        gain = np.where(np.isnan(residuals), 0.0, weights / sd**2)
        precision = prior + np.einsum("nkp,nk,nkq->pq", slopes, gain, slopes)
        pull = np.einsum("nkp,nk,nk->p", slopes, gain, np.nan_to_num(residuals)) - prior @ theta
        theta = np.clip(theta + np.linalg.solve(precision, pull), -FARTHEST, FARTHEST)
    rate, air = np.exp(theta[:2])
    covariance = np.asarray(np.linalg.inv(precision), dtype=float)
    return DryerFit(float(rate), float(air), float(theta[2]), covariance, residuals, weights)


def _standard_deviations(observed: Observed) -> FloatArray:
    """(n, 3): what was measured badly, and what the model cannot know of one batch."""
    measured = [
        observed.moisture_u_pct,
        np.zeros_like(observed.sensor_temp_c),
        observed.fuel_u_j_m2 / observed.fuel_j_m2,
    ]
    return np.stack([np.hypot(np.nan_to_num(u), s) for u, s in zip(measured, MODEL_SCATTER, strict=True)], axis=1)


def _linearised(observed: Observed, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Residuals (n, 3) at theta and slopes (n, 3, 3) of the model there, all batches and both steps in one run."""
    steps = [(0.0, 0.0), (STEP, 0.0), (0.0, STEP)]
    runs = run_bed(stacked([with_factors(observed.scenario, theta[0] + rate, theta[1] + air) for rate, air in steps]))
    here, faster, airier = np.split(_modelled(runs), 3)
    slopes = np.zeros((*here.shape, 3))
    slopes[:, :, 0] = np.nan_to_num((faster - here) / STEP)
    slopes[:, :, 1] = np.nan_to_num((airier - here) / STEP)
    slopes[:, 1, 2] = 1.0
    shown = np.stack(
        [observed.moisture_cooled_pct, observed.sensor_temp_c - theta[2], np.log(observed.fuel_j_m2)], axis=1
    )
    return shown - here, slopes


def _modelled(runs: BedRun) -> FloatArray:
    """(n, 3): cooled moisture, sensor at the stop, logarithm of fuel."""
    return np.stack([runs.moisture_cooled_pct, sensor_temp_c(runs), np.log(runs.fuel_energy_j_m2)], axis=1)


def sensor_temp_c(runs: BedRun) -> FloatArray:
    """What the grain sensor shows at the stop; the air that leaves the bed where no height of it is known. [deg C]"""
    return np.where(np.isnan(runs.sensor_temp_at_stop_c), runs.exhaust_temp_at_stop_c, runs.sensor_temp_at_stop_c)


def with_factors(scenario: BedScenario, log_rate: float, log_air: float) -> BedScenario:
    """The same batches in a dryer with these logarithms of its factors."""
    return replace(scenario, drying_rate_factor=np.exp(log_rate), airflow_factor=np.exp(log_air)).spread()


def stacked(scenarios: list[BedScenario]) -> BedScenario:
    """Scenarios that are spread out, one after the other."""
    columns: dict[str, Array] = {
        each.name: np.concatenate([getattr(scenario, each.name) for scenario in scenarios])
        for each in fields(BedScenario)
    }
    return BedScenario(**columns)
