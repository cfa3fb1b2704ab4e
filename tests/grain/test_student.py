"""Student's t against SciPy and exact values: tails, quantiles, many degrees at once, odd input."""

import math

import numpy as np
import pytest
from scipy import stats

from dryrecords.grain.student import student_tail, student_value

DEGREES = np.array([1.0, 1.5, 2.0, 3.0, 9.0, 16.0, 50.0, 500.0, 1e4, 1e6])


def test_tails_are_scipys():
    t = np.array([-30.0, -5.0, -1.0, -1e-9, 0.0, 1e-9, 0.3, 1.0, 2.0, 4.0, 10.0, 50.0])[:, None]
    theirs = stats.t.sf(t, DEGREES)
    # what lies below 1e-250 nobody asks for
    assert student_tail(t, DEGREES) == pytest.approx(theirs, rel=2e-9, abs=1e-250)


def test_one_degree_is_exact():
    # Cauchy's distribution: arctan(1/t)/pi
    assert student_tail(1000.0, 1.0) == pytest.approx(math.atan(1e-3) / math.pi, rel=1e-13)


@pytest.mark.parametrize("probability", [0.5, 0.6, 0.9, 0.95, 0.975, 0.995, 0.9995])
def test_quantiles_are_scipys(probability):
    degrees = np.array([1.0, 2.0, 3.0, 9.0, 16.0, 100.0, 1000.0, 1001.0, 5000.0, 1e7, np.inf])
    theirs = stats.t.ppf(probability, degrees)
    assert student_value(probability, degrees) == pytest.approx(theirs, rel=5e-11, abs=1e-12)


def test_table_of_every_textbook():
    # 95 % two-sided: 12.706, 4.303, 2.262, 1.960
    assert student_value(0.975, np.array([1.0, 2.0, 9.0, np.inf])).round(3).tolist() == [12.706, 4.303, 2.262, 1.960]


def test_odd_input():
    assert np.isnan(student_tail(np.array([np.nan, 1.0, 1.0]), np.array([5.0, 0.0, np.nan]))).all()
    assert np.isnan(student_value(0.9, np.array([np.nan, 0.5]))).all()
    assert student_tail(np.empty((0,)), 3.0).shape == (0,)
    for probability in (0.4, 1.0):
        with pytest.raises(ValueError, match="probability"):
            student_value(probability, 3.0)
