"""Learning a line: agrees with the closed form, recovers known dryers, shrugs off a wild sample."""

import numpy as np
import pytest

from dryrecords.grain.learning import NORMAL_SHARE, TAIL_DEGREES, learn_line

PRIOR = np.array([14.5, -0.08, 0.36])
PRIOR_COVARIANCE = np.diag([0.8, 0.03, 0.15]) ** 2


def dryer(rng: np.random.Generator, batches: int, truth: np.ndarray, scatter: float) -> tuple[np.ndarray, np.ndarray]:
    x = np.column_stack([np.ones(batches), rng.normal(0, 4, batches), rng.normal(0, 2, batches)])
    return x, x @ truth + rng.normal(0, scatter, batches)


def test_no_batches_leave_the_prior() -> None:
    learned = learn_line(
        np.empty((0, 3)), np.empty(0), np.empty(0), PRIOR, PRIOR_COVARIANCE, scatter=0.4, scatter_batches=4
    )
    assert learned.coefficients == pytest.approx(PRIOR)
    assert learned.covariance == pytest.approx(PRIOR_COVARIANCE)
    assert learned.scatter == pytest.approx(0.4)


def test_agrees_with_the_conjugate_normal_where_no_batch_is_wild() -> None:
    """Weights near 1 and a scatter held fixed by a strong expectation: the textbook normal posterior."""
    rng = np.random.default_rng(1)
    x, y = dryer(rng, 12, PRIOR + np.array([0.3, 0.01, -0.05]), 1e-3)
    learned = learn_line(x, y, np.full(12, 0.5), PRIOR, PRIOR_COVARIANCE, scatter=0.3, scatter_batches=1e9)
    variance = 0.5**2 + 0.3**2
    residual2 = (y - x @ learned.coefficients) ** 2
    weight = np.minimum(1, 5 / (4 + residual2 / variance))
    precision = np.linalg.inv(PRIOR_COVARIANCE) + (x.T * weight / variance) @ x
    expected = np.linalg.solve(precision, np.linalg.inv(PRIOR_COVARIANCE) @ PRIOR + (x.T * weight / variance) @ y)
    assert learned.coefficients == pytest.approx(expected, rel=1e-9)
    assert learned.covariance == pytest.approx(np.linalg.inv(precision), rel=1e-7)


def test_one_batch_helps_and_twenty_dominate() -> None:
    rng = np.random.default_rng(2)
    truth = PRIOR + np.array([-1.5, 0.0, 0.0])
    x, y = dryer(rng, 20, truth, 0.25)
    u = np.full(20, 0.3)
    distance = [
        abs(
            learn_line(x[:n], y[:n], u[:n], PRIOR, PRIOR_COVARIANCE, scatter=0.4, scatter_batches=4).coefficients[0]
            - truth[0]
        )
        for n in (0, 1, 20)
    ]
    assert distance[1] < 0.7 * distance[0]
    assert distance[2] < 0.15 * distance[0]


def test_truth_lies_within_two_standard_deviations_as_often_as_it_should() -> None:
    """200 invented dryers drawn from the prior: 95 % of the coefficients inside 1.96 sd, allow 4 %."""
    rng = np.random.default_rng(3)
    inside = []
    for _ in range(200):
        truth = PRIOR + rng.normal(size=3) * np.sqrt(np.diag(PRIOR_COVARIANCE))
        x, y = dryer(rng, 10, truth, 0.4)
        learned = learn_line(x, y, np.zeros(10), PRIOR, PRIOR_COVARIANCE, scatter=0.4, scatter_batches=6)
        inside.append(abs(learned.coefficients - truth) < 1.96 * np.sqrt(np.diag(learned.covariance)))
    assert np.mean(inside) == pytest.approx(0.95, abs=0.04)


def test_wild_sample_hardly_moves_the_line() -> None:
    rng = np.random.default_rng(4)
    x, y = dryer(rng, 12, PRIOR, 0.2)
    wild = y.copy()
    wild[3] += 6.0
    u = np.full(12, 0.25)
    clean, spoilt = (
        learn_line(x, each, u, PRIOR, PRIOR_COVARIANCE, scatter=0.4, scatter_batches=4) for each in (y, wild)
    )
    assert np.abs(clean.coefficients - spoilt.coefficients).max() < 0.25
    assert spoilt.weights[3] < 0.1
    assert spoilt.weights[np.arange(12) != 3].min() > 0.4


def test_left_out_error_is_that_of_learning_without_the_batch() -> None:
    rng = np.random.default_rng(5)
    x, y = dryer(rng, 8, PRIOR, 0.3)
    u = np.full(8, 0.25)
    learned = learn_line(x, y, u, PRIOR, PRIOR_COVARIANCE, scatter=0.4, scatter_batches=4)
    rest = np.arange(8) != 5
    without = learn_line(x[rest], y[rest], u[rest], PRIOR, PRIOR_COVARIANCE, scatter=0.4, scatter_batches=4)
    assert learned.left_out_error[5] == pytest.approx(y[5] - without.predict(x[5])[0], abs=1e-9)


def test_normal_share_is_the_integral_it_says() -> None:
    z = np.linspace(-9, 9, 200_001)
    density = np.exp(-0.5 * z**2) / np.sqrt(2 * np.pi)
    weight = np.minimum(1, (TAIL_DEGREES + 1) / (TAIL_DEGREES + z**2))
    assert (weight * z**2 * density).sum() * (z[1] - z[0]) == pytest.approx(NORMAL_SHARE, abs=1e-4)
