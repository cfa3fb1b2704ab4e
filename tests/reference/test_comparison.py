"""Comparisons of two ways of measuring against published data and results; the data are from memory."""

import numpy as np
import pytest

from dryrecords.grain.comparison import (
    deming_line,
    equivalence,
    limits_of_agreement,
    paired_differences,
)

# Student 1908, Biometrika 6:1: hours of sleep gained with either of two drugs, ten patients
SLEEP_A = np.array([0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0])
SLEEP_B = np.array([1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4])
# Bland & Altman 1986, Lancet 1:307: peak expiratory flow by two meters, 17 people [l/min]
FLOW_A = np.array([494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427.0])
FLOW_B = np.array([512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451.0])
# Pearson 1901, Philosophical Magazine 2:559: ten points with errors both ways
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])


def _one_group(difference, **more):
    return paired_differences(difference, np.zeros(difference.size, dtype=int), 1, **more)


def test_students_sleep():
    ours = _one_group(SLEEP_B - SLEEP_A)
    # as every textbook since prints it: 1.58, t 4.0621 on 9 degrees, p 0.002833, interval 0.7001 to 2.4599
    assert ours.mean == pytest.approx([1.58])
    assert ours.sd == pytest.approx([1.2300], abs=5e-5)
    assert (ours.degrees, ours.pairs) == ([9.0], [10])
    assert ours.t == pytest.approx([4.0621], abs=5e-5)
    assert ours.p == pytest.approx([0.002833], abs=5e-7)
    assert (ours.low, ours.high) == (pytest.approx([0.7001], abs=5e-5), pytest.approx([2.4599], abs=5e-5))


def test_peak_flow_meters():
    of = _one_group(FLOW_A - FLOW_B)
    ours = limits_of_agreement(of, multiple=2.0)
    # printed: -2.1, 38.8; -79.7 and 75.5, the latter from the rounded 38.8 (exactly 75.41); 16.3; -22.0 to 17.8
    assert of.mean == pytest.approx([-2.1], abs=0.05)
    assert of.sd == pytest.approx([38.8], abs=0.05)
    assert (of.low, of.high) == (pytest.approx([-22.0], abs=0.06), pytest.approx([17.8], abs=0.05))
    assert (ours.low, ours.high) == (pytest.approx([-79.65], abs=0.005), pytest.approx([75.41], abs=0.005))
    assert ours.standard_error == pytest.approx([16.3], abs=0.05)
    # the paper's intervals of the limits: -114.3 to -45.1 and 40.9 to 110.1, from rounded figures
    assert (ours.low_from, ours.low_to) == (pytest.approx([-114.3], abs=0.2), pytest.approx([-45.1], abs=0.2))
    assert (ours.high_from, ours.high_to) == (pytest.approx([40.9], abs=0.2), pytest.approx([110.1], abs=0.2))


def test_pearsons_points():
    ours = deming_line(PEARSON_X, PEARSON_Y, 1.0, np.zeros(10, dtype=int), 1)
    # orthogonal line as widely published: slope -0.5456, intercept 5.7840
    assert ours.slope == pytest.approx([-0.545561], abs=5e-7)
    assert ours.intercept == pytest.approx([5.784044], abs=5e-7)


def test_errors_of_y_alone_make_it_least_squares():
    # the same points, ordinary least squares: -0.539577, 5.761185
    ours = deming_line(PEARSON_X, PEARSON_Y, 1e9, np.zeros(10, dtype=int), 1)
    assert ours.slope == pytest.approx([-0.539577], abs=5e-7)
    assert ours.intercept == pytest.approx([5.761185], abs=5e-6)


def test_two_one_sided_tests():
    # computed by hand from the textbook's formulas: mean 0.10, sd 0.182574, margin 0.5
    of = _one_group(np.array([0.2, -0.1, 0.3, 0.0, 0.1, 0.4, -0.2, 0.2, 0.1, 0.0]))
    ours = equivalence(of, 0.5)
    assert of.sd == pytest.approx([0.182574], abs=5e-7)
    assert (ours.t_low, ours.t_high) == (pytest.approx([10.392], abs=5e-4), pytest.approx([-6.928], abs=5e-4))
    assert ours.p == pytest.approx([3.42e-5], abs=5e-8)
    assert (ours.low, ours.high) == (pytest.approx([-0.0058], abs=5e-5), pytest.approx([0.2058], abs=5e-5))
    assert ours.equivalent.tolist() == [True]
