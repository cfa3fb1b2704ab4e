"""Comparisons against SciPy, by simulation of power and false findings, groups at once, odd input."""

import numpy as np
import pytest
from scipy import optimize, stats

from dryrecords.grain.comparison import (
    chance_of_showing,
    deming_line,
    equivalence,
    limits_of_agreement,
    moisture_band,
    paired_differences,
    smallest_detectable,
)

RANDOM = np.random.default_rng(19081986)
SIZES = [2, 3, 7, 40, 1500]
GROUP = np.repeat(np.arange(len(SIZES)), SIZES)
DIFFERENCE = RANDOM.normal(0.1, 0.4, GROUP.size)


def test_groups_are_scipys_one_by_one():
    ours = paired_differences(DIFFERENCE, GROUP, len(SIZES), 0.9)
    for place in range(len(SIZES)):
        theirs = stats.ttest_1samp(DIFFERENCE[place == GROUP], 0.0)
        interval = theirs.confidence_interval(0.9)
        assert (ours.t[place], ours.p[place]) == pytest.approx((theirs.statistic, theirs.pvalue), rel=1e-9)
        assert (ours.low[place], ours.high[place]) == pytest.approx(interval, rel=1e-9)


def test_equivalence_is_two_tests_of_scipy():
    of = paired_differences(DIFFERENCE, GROUP, len(SIZES))
    ours = equivalence(of, 0.2)
    for place in range(len(SIZES)):
        those = DIFFERENCE[place == GROUP]
        low = stats.ttest_1samp(those, -0.2, alternative="greater").pvalue
        high = stats.ttest_1samp(those, 0.2, alternative="less").pvalue
        assert ours.p[place] == pytest.approx(max(low, high), rel=1e-9)
        assert ours.equivalent[place] == (max(low, high) < 0.05)


def test_beyond_is_shown_only_by_the_whole_interval():
    difference = np.array([0.9, 1.0, 1.1, 1.0, 0.2, 1.9, 0.1, 1.8, 0.0, 0.1, -0.1, 0.0])
    ours = equivalence(paired_differences(difference, np.repeat([0, 1, 2], 4), 3), 0.8)
    assert (ours.beyond.tolist(), ours.equivalent.tolist()) == ([True, False, False], [False, False, True])


def test_bias_of_nothing_is_found_as_often_as_said():
    differences = RANDOM.normal(0.0, 0.4, (4000, 12))
    ours = paired_differences(differences.ravel(), np.repeat(np.arange(4000), 12), 4000)
    # 0.05 give or take three standard deviations of a share of 4,000
    assert np.mean(ours.p < 0.05) == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / 4000))
    assert np.mean((ours.low > 0) | (ours.high < 0)) == np.mean(ours.p < 0.05)


@pytest.mark.parametrize("pairs", [5, 10, 40, 400])
@pytest.mark.parametrize("power", [0.5, 0.8, 0.95])
def test_power_is_about_the_exact_one(pairs, power):
    bias = smallest_detectable(0.4, pairs, power=power)
    shift = bias * np.sqrt(pairs) / 0.4
    exact = stats.nct.sf(stats.t.ppf(0.975, pairs - 1), pairs - 1, shift)
    assert exact == pytest.approx(power, abs=0.06 if pairs == 5 else 0.025)
    assert chance_of_showing(bias, 0.4, pairs) == pytest.approx(power, abs=1e-9)


def test_limits_hold_most_differences():
    of = paired_differences(RANDOM.normal(0.3, 0.5, 20_000), np.zeros(20_000, dtype=int), 1)
    ours = limits_of_agreement(of)
    assert (ours.low[0], ours.high[0]) == pytest.approx((0.3 - 0.98, 0.3 + 0.98), abs=0.02)
    assert (ours.high_to - ours.high_from)[0] == pytest.approx(2 * 1.96 * np.sqrt(3 / 20_000) * 0.5, rel=0.02)


@pytest.mark.parametrize("variance_ratio", [0.2, 1.0, 19.0])
def test_line_is_the_likeliest(variance_ratio):
    true = RANDOM.uniform(12.0, 30.0, 60)
    x, y = true + RANDOM.normal(0.0, 0.1, 60), 0.7 + 0.95 * true + RANDOM.normal(0.0, 0.4, 60)
    ours = deming_line(x, y, variance_ratio, np.zeros(60, dtype=int), 1)

    def squares(slope):
        rest = y - y.mean() - slope * (x - x.mean())
        return np.sum(rest**2) / (variance_ratio + slope**2)

    theirs = optimize.minimize_scalar(squares, bounds=(0.5, 1.5), options={"xatol": 1e-10}).x
    assert ours.slope[0] == pytest.approx(theirs, rel=1e-6)
    assert ours.intercept[0] == pytest.approx(y.mean() - theirs * x.mean(), abs=1e-4)
    assert (ours.lowest_x[0], ours.highest_x[0]) == (x.min(), x.max())


def test_few_pairs_tell_nothing():
    ours = paired_differences(np.array([0.4, np.nan]), np.array([1, 2]), 3)
    assert ours.pairs.tolist() == [0, 1, 0]
    assert np.isnan(ours.mean[[0, 2]]).all()
    assert ours.mean[1] == 0.4
    for figure in (ours.sd, ours.low, ours.p, equivalence(ours, 0.5).p, limits_of_agreement(ours).low):
        assert np.isnan(figure).all()
    assert not equivalence(ours, 0.5).equivalent.any()
    assert np.isnan(smallest_detectable(0.4, np.array([0, 1]))).all()
    assert np.isnan(deming_line(np.array([1.0]), np.array([2.0]), 1.0, np.array([0]), 2).slope).all()


def test_equal_differences_tell_no_t():
    ours = paired_differences(np.full(5, 0.25), np.zeros(5, dtype=int), 1)
    assert (ours.mean[0], ours.sd[0], ours.low[0], ours.high[0]) == (0.25, 0.0, 0.25, 0.25)
    assert np.isnan(ours.p[0])
    assert equivalence(ours, 0.5).equivalent.tolist() == [True]


def test_bands_begin_at_their_edge():
    assert moisture_band(np.array([14.9, 15.0, 19.9, 20.0, 31.0]), np.array([15.0, 20.0])).tolist() == [0, 1, 1, 2, 2]
