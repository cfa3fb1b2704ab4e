"""The moving average against the worked example of the NIST/SEMATECH e-Handbook, 6.3.2.4, data from memory."""

from __future__ import annotations

import numpy as np
import pytest

from dryrecords.grain.drift import moving_average

MEASURED = "52.0 47.0 53.0 49.3 50.1 47.0 51.0 50.1 51.2 50.5 49.6 47.6 49.9 51.3 47.8 51.2 52.6 52.4 53.6 52.1"
AVERAGES = (
    "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 "
    "51.99"
)


def numbers(text: str) -> np.ndarray:
    return np.array(text.split(), dtype=float)


def test_the_handbooks_example() -> None:
    average, limit, beyond = moving_average(numbers(MEASURED), 50.0, 2.0539, weight=0.3)
    assert average == pytest.approx(numbers(AVERAGES), abs=0.011)
    # 50 + 3 x 0.4201 x 2.0539, the limit that it comes to.
    assert 50.0 + limit[-1] == pytest.approx(52.5884, abs=0.001)
    assert not beyond.any()


def test_false_alarms_and_a_drift_of_one_standard_deviation() -> None:
    """In control, weight 0.2 and 3 u: a mean run of about 560 (Lucas & Saccucci 1990, from memory); a shift of 1 u is
    found after about 10."""
    rng = np.random.default_rng(2)
    clean = [moving_average(rng.standard_normal(500), 0.0, 1.0)[2].any() for _ in range(60)]
    assert 0.3 < np.mean(clean) < 0.8
    shifted = [int(np.argmax(moving_average(1.0 + rng.standard_normal(200), 0.0, 1.0)[2])) + 1 for _ in range(200)]
    assert 7 < np.mean(shifted) < 14
