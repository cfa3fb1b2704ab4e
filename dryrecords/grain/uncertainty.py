"""Standard uncertainties: first-order propagation, and the defaults with their sources."""

from collections.abc import Callable, Mapping

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray

STEP = 1e-30  # imaginary step; small enough that its square vanishes beside any figure

Figures = dict[str, Array]


@np.errstate(all="ignore")
def propagate(
    function: Callable[[dict[str, Array]], Figures],
    inputs: Mapping[str, Array],
    standard_uncertainties: Mapping[str, FloatArray],
    covariances: Mapping[tuple[str, str], FloatArray],
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Values of a function and their standard uncertainties, to first order, for many cases at once.

    Parameters
    ----------
    function : maps the named inputs to named outputs
        Must work elementwise over the last axis, be analytic in the uncertain inputs, and compare by `.real`:
        its derivatives are taken by the complex step.
    inputs : name -> array, shape (n,) for uncertain inputs
    standard_uncertainties : name -> array of shape (n,), unit of the input
        Inputs not named here are exact. NaN where unknown: outputs that depend on it get NaN.
    covariances : pair of uncertain names -> array of shape (n,), product of both units

    Returns
    -------
    values, uncertainties : dicts, name of the output -> float64 array of shape (n,)

    Raises      whatever function raises.
    Equation    u^2(y) = sum (dy/dx_i)^2 u^2(x_i) + 2 sum (dy/dx_i)(dy/dx_j) u(x_i, x_j)
    Source      JCGM 100:2008 eq. 10 and 13
    Checked by  tests/grain/test_propagate.py against Monte Carlo
    """
    names = list(standard_uncertainties)
    stepped = dict(inputs)
    for row, name in enumerate(names):
        steps = np.zeros((len(names), 1))
        steps[row] = STEP
        stepped[name] = inputs[name] + 1j * steps
    values = {name: np.asarray(y, dtype=float) for name, y in function(dict(inputs)).items()}
    uncertainties = {}
    for name, y in function(stepped).items():
        slopes = np.broadcast_to(y.imag / STEP, (len(names), *values[name].shape))
        variance = _variance(dict(zip(names, slopes, strict=True)), standard_uncertainties, covariances)
        known = np.isfinite(values[name]) & np.isfinite(variance)
        uncertainties[name] = np.where(known, np.sqrt(variance), np.nan)
    return values, uncertainties


def _variance(
    slopes: Mapping[str, FloatArray],
    standard_uncertainties: Mapping[str, FloatArray],
    covariances: Mapping[tuple[str, str], FloatArray],
) -> FloatArray:
    """Variance of one output; an input that does not matter (slope 0) adds nothing even if it is unknown."""
    variance = np.zeros(())
    for name, u in standard_uncertainties.items():
        variance = variance + np.where(slopes[name] == 0.0, 0.0, (slopes[name] * u) ** 2)
    for (one, other), covariance in covariances.items():
        product = slopes[one] * slopes[other]
        variance = variance + np.where(product == 0.0, 0.0, 2.0 * product * covariance)
    # rounding can push the variance of fully correlated inputs below zero
    return np.where(variance < 0.0, 0.0, variance)
