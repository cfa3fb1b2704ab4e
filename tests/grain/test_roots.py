"""The root finder of many increasing functions: against SciPy, at the ends of the bracket, with odd input."""

import numpy as np
import pytest
from scipy.optimize import brentq

from dryrecords.grain.roots import increasing_root


@pytest.mark.filterwarnings("error")
def test_roots_are_those_of_brents_method():
    target = np.array([1e-6, 0.3, 5.0, 4e4])
    ours = increasing_root(lambda x: (np.expm1(x) + x**3 - target, np.exp(x) + 3.0 * x**2), 0.0, 20.0, 1e-12)
    theirs = [brentq(lambda x, t=t: np.expm1(x) + x**3 - t, 0.0, 20.0, xtol=1e-14) for t in target]
    assert ours == pytest.approx(np.array(theirs), rel=1e-10)


@pytest.mark.filterwarnings("error")
def test_newton_that_would_leave_the_bracket_is_halved():
    # the slope of arctan far out sends Newton's step beyond any bound
    target = np.linspace(-1.4, 1.4, 7)
    ours = increasing_root(lambda x: (np.arctan(x) - target, 1.0 / (1.0 + x * x)), -1e4, 2e4, 1e-10)
    assert ours == pytest.approx(np.tan(target), abs=1e-7)


@pytest.mark.filterwarnings("error")
def test_outside_the_bracket_the_end_is_answered_and_unknown_stays_unknown():
    target = np.array([-5.0, 0.5, 7.0, np.nan])
    ours = increasing_root(lambda x: (x - target, np.ones_like(x)), 0.0, 1.0, 1e-9)
    assert ours[:3] == pytest.approx([0.0, 0.5, 1.0], abs=1e-8)
    assert np.isnan(ours[3])


def test_shapes():
    assert increasing_root(lambda x: (x - 0.3, np.ones_like(x)), 0.0, 1.0, 1e-9).shape == ()
    assert increasing_root(lambda x: (x, np.ones_like(x)), np.zeros(0), 1.0, 1e-9).shape == (0,)
    assert increasing_root(lambda x: (x, np.ones_like(x)), np.zeros((2, 1)), np.ones(3), 1e-9).shape == (2, 3)
