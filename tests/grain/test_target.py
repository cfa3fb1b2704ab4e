"""The aim of least expected loss: against simulation, the critical ratio, and printed losses."""

from statistics import NormalDist

import numpy as np
import pytest

from dryrecords.grain.target import least_loss_target, over_drying_loss


def two_percent_a_point(moisture_pct: np.ndarray) -> np.ndarray:
    """Price discount of 2.0 % a point above 15 at $4 (form and rate: Iowa State extension example, 2019)."""
    return 4.0 * 0.02 * np.maximum(moisture_pct - 15.0, 0.0)


def test_printed_losses() -> None:
    """Soybean at 8 to 12 %, base 13: 5.43, 4.4, 3.3, 2.25, 1.14 % (University of Nebraska CropWatch)."""
    lost = over_drying_loss(np.array([8.0, 9, 10, 11, 12, 13, 14]), 13.0, 100.0)
    assert lost == pytest.approx([5.43, 4.4, 3.3, 2.25, 1.14, 0, 0], abs=0.04)


def test_critical_ratio_of_a_two_sided_linear_loss() -> None:
    """Newsvendor: the base lies at the quantile (loss a point below) / (sum of both), the losses being linear."""
    target = least_loss_target(15.0, 0.8, 4.0, two_percent_a_point, 20.0)
    # A point below the base loses between 1/86 and 1/85 of the price: nearly straight.
    below, above = 1 / 85.5, 0.02
    quantile = NormalDist().inv_cdf(below / (below + above))
    assert target.moisture_pct == pytest.approx(15.0 + 0.8 * quantile, abs=0.03)


def test_expected_loss_agrees_with_simulation() -> None:
    rng = np.random.default_rng(7)
    target = least_loss_target(15.0, 1.1, 4.0, two_percent_a_point, 20.0)
    for aim, expected in ((target.moisture_pct, target.expected_loss), (15.0, target.expected_loss_at_base)):
        drawn = rng.normal(aim, 1.1, 400_000)
        simulated = over_drying_loss(drawn, 15.0, 4.0) + two_percent_a_point(drawn)
        assert expected == pytest.approx(simulated.mean(), rel=0.01)
    assert target.expected_over_drying + target.expected_discount == pytest.approx(target.expected_loss)


def test_surer_dryer_may_aim_closer_to_the_base() -> None:
    aims = [least_loss_target(15.0, spread, 4.0, two_percent_a_point, 20.0) for spread in (0.2, 0.6, 1.2)]
    assert aims[0].moisture_pct > aims[1].moisture_pct > aims[2].moisture_pct
    assert aims[0].expected_loss < aims[1].expected_loss < aims[2].expected_loss


def test_steep_discount_pushes_the_aim_down_and_none_lifts_it_to_the_limit() -> None:
    steep = least_loss_target(15.0, 0.5, 4.0, lambda m: 10 * two_percent_a_point(m), 20.0)
    free = least_loss_target(15.0, 0.5, 4.0, np.zeros_like, 15.5)
    assert steep.moisture_pct < 14.6
    assert free.moisture_pct == pytest.approx(15.5, abs=0.02)
