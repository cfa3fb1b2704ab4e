"""Mistyped readings and unrecorded deliveries: found where they were planted, elsewhere no more than chance has it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from dryrecords.grain.gross_errors import BEYOND_U, gross_errors

INTERVALS = 40
GAUGE_U, DEMAND_U = 10.0, 40.0


def covariance() -> np.ndarray:
    readings = np.diff(np.eye(INTERVALS + 1), axis=0) * -1.0
    return GAUGE_U**2 * readings @ readings.T + DEMAND_U**2 * np.eye(INTERVALS)


def signatures() -> np.ndarray:
    """First each interval by itself, then each reading between two."""
    readings = np.diff(np.eye(INTERVALS + 1), axis=0) * -1.0
    return np.hstack((np.eye(INTERVALS), readings[:, 1:-1]))


def noise(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    reading = GAUGE_U * rng.standard_normal(INTERVALS + 1)
    return reading[:-1] - reading[1:] + DEMAND_U * rng.standard_normal(INTERVALS)


def test_one_residual_by_hand() -> None:
    """Two intervals without correlation, 100 off where the standard uncertainty is 20: five of them."""
    found = gross_errors(np.array([100.0, 3.0]), np.diag([400.0, 400.0]), np.eye(2))
    assert (found.signature.tolist(), found.size.tolist()) == ([0], [100.0])
    assert (found.size_u[0], found.beyond_u[0]) == pytest.approx((20.0, 5.0))


def test_what_was_planted_is_found_as_what_it_is() -> None:
    right = 0
    for seed in range(40):
        residuals = noise(seed)
        # 400 gal that came and were not written down; a reading whose digits were turned, 270 gal too high.
        residuals[10] -= 400.0
        residuals += 270.0 * signatures()[:, INTERVALS + 24]
        found = gross_errors(residuals, covariance(), signatures())
        named = dict(zip(found.signature.tolist(), zip(found.size, found.size_u, strict=True), strict=True))
        assert {10, INTERVALS + 24} <= set(named)
        right += all(
            abs(size - planted) < 3.0 * u
            for planted, (size, u) in ((-400.0, named[10]), (270.0, named[INTERVALS + 24]))
        )
    assert right >= 38


def test_clean_readings_give_no_more_findings_than_chance() -> None:
    """Each of 79 hypotheses passes 3 u by chance in 0.27 % of seasons; together at most 0.21 a season (Bonferroni)."""
    found = [gross_errors(noise(seed), covariance(), signatures()).signature.size for seed in range(200)]
    by_chance = math.erfc(BEYOND_U / math.sqrt(2.0)) * signatures().shape[1]
    assert np.mean(found) <= by_chance + 3.0 * math.sqrt(by_chance / 200)
    assert sum(found) > 0


def test_nothing_to_look_at() -> None:
    assert gross_errors(np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0))).size.size == 0
