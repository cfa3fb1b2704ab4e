"""First-order propagation against exact cases and Monte Carlo."""

import numpy as np
import pytest

from dryrecords.grain.uncertainty import propagate

DRAWS = 400_000


def _curved(x):
    return {
        "product": x["a"] * x["b"],
        "curve": np.exp(-0.1 * x["a"]) / (1.0 + x["b"] ** 2),
        "difference": x["a"] - x["b"],
        "untouched": x["exact"] * 2.0,
    }


def test_correlated_inputs_agree_with_monte_carlo():
    means, u = np.array([5.0, 2.0]), np.array([0.05, 0.03])
    covariance = 0.8 * u[0] * u[1]
    matrix = np.array([[u[0] ** 2, covariance], [covariance, u[1] ** 2]])
    a, b = np.random.default_rng(7).multivariate_normal(means, matrix, DRAWS).T
    drawn = _curved({"a": a, "b": b, "exact": np.ones(1)})
    inputs = {"a": means[:1], "b": means[1:], "exact": np.ones(1)}
    values, ours = propagate(_curved, inputs, {"a": u[:1], "b": u[1:]}, {("a", "b"): np.array([covariance])})
    for name in ("product", "curve", "difference"):
        assert ours[name] == pytest.approx(drawn[name].std(), rel=0.02), name
        assert values[name] == pytest.approx(drawn[name].mean(), rel=0.02), name
    assert ours["untouched"].tolist() == [0.0]


def test_fully_correlated_inputs_cancel():
    u = np.array([0.7])
    inputs = {"a": np.array([25.0]), "b": np.array([15.0]), "exact": np.ones(1)}
    _, ours = propagate(_curved, inputs, {"a": u, "b": u}, {("a", "b"): u**2})
    assert ours["difference"] == pytest.approx([0.0], abs=1e-7)


def test_rounding_of_a_full_correlation_does_not_make_the_uncertainty_unknown():
    # 0.9^2 + (-3 x 0.3)^2 - 2 x 3 x 0.9 x 0.3 is 0, but -2e-16 in floating point
    u_a = 9 * 0.1
    u_b = u_a / 3
    assert u_a**2 + (-3 * u_b) ** 2 + 2 * -3 * (u_a * u_b) < 0.0
    inputs = {"a": np.array([25.0]), "b": np.array([15.0])}
    covariance = np.array([u_a * u_b])
    _, ours = propagate(
        lambda x: {"y": x["a"] - 3.0 * x["b"]},
        inputs,
        {"a": np.array([u_a]), "b": np.array([u_b])},
        {("a", "b"): covariance},
    )
    assert ours["y"] == pytest.approx([0.0], abs=1e-7)


def test_unknown_uncertainty_reaches_only_what_depends_on_it():
    inputs = {"a": np.array([5.0, np.nan]), "b": np.array([2.0, 2.0])}
    values, ours = propagate(
        lambda x: {"a_only": x["a"] * 2.0, "b_only": x["b"] * 2.0},
        inputs,
        {"a": np.array([0.1, 0.1]), "b": np.array([np.nan, 0.1])},
        {},
    )
    assert ours["a_only"] == pytest.approx([0.2, np.nan], nan_ok=True)
    assert ours["b_only"] == pytest.approx([np.nan, 0.2], nan_ok=True)
    assert np.isnan(values["a_only"]).tolist() == [False, True]


@pytest.mark.parametrize("shape", [(0,), (1,), (5,)])
def test_shapes_come_back(shape):
    inputs = {"a": np.full(shape, 5.0), "b": np.full(shape, 2.0), "exact": np.ones(shape)}
    values, ours = propagate(_curved, inputs, {"a": np.full(shape, 0.1)}, {})
    for name in values:
        assert values[name].shape == ours[name].shape == shape
