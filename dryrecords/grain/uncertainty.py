"""Standard uncertainties: first-order propagation, and the defaults with their sources."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray, StrArray
from dryrecords.grain.crops import meter_tolerance_pct

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


@dataclass(frozen=True)
class DefaultUncertainty:
    """A standard uncertainty that is taken where the record has none of its own."""

    value: float
    unit: str
    source: str


def _half_width(limit: float) -> float:
    """Standard uncertainty of an error that may lie anywhere within plus or minus limit (JCGM 100 4.3.7)."""
    return limit / math.sqrt(3.0)


DEFAULT_UNCERTAINTIES = {
    "mass_scale": DefaultUncertainty(
        _half_width(0.002),
        "fraction of the mass",
        "vehicle scale, class III L maintenance tolerance 0.2 %, NIST Handbook 44 section 2.20, from memory",
    ),
    "mass_volume": DefaultUncertainty(
        0.03,
        "fraction of the mass",
        "common practice, no source; depth, test weight and packing together. Corn bins measured with a pack "
        "correction lay 1.6 to 1.9 % from scale mass in the mean (Bhadra, Turner, Casada et al.)",
    ),
    "mass_estimate": DefaultUncertainty(0.05, "fraction of the mass", "common practice, no source"),
    "tank_gauge": DefaultUncertainty(0.01, "fraction of the tank's capacity", "common practice, no source"),
    "liquid_meter": DefaultUncertainty(
        _half_width(0.01),
        "fraction of the volume",
        "LP gas meter, maintenance tolerance 1.0 %, NIST Handbook 44 section 3.32, from memory",
    ),
    "gas_meter": DefaultUncertainty(
        _half_width(0.02), "fraction of the energy", "common utility tolerance 2 %, from memory"
    ),
    "electricity_meter": DefaultUncertainty(
        _half_width(0.02), "fraction of the energy", "common utility tolerance 2 %, from memory"
    ),
    "fan_power": DefaultUncertainty(
        0.1, "fraction of the power", "rated power taken for drawn power; common practice, no source"
    ),
    "drying_time": DefaultUncertainty(300.0, "s", "times noted by hand; common practice, no source"),
    "moisture_single_sample": DefaultUncertainty(
        0.025 * 15.5,
        "points",
        "one meter test varies by 2.5 % at 15.5 % moisture, 881 corn samples (Hurburgh, Hazen & Bern 1985)",
    ),
}
SINGLE_SAMPLE_U_PCT = DEFAULT_UNCERTAINTIES["moisture_single_sample"].value


def meter_bias_u_pct(crop: StrArray, moisture_pct: FloatArray) -> FloatArray:
    """Standard uncertainty of the bias of a moisture meter of which only the legal tolerance is known.

    Parameters
    ----------
    crop : array of str, any shape
    moisture_pct : array that broadcasts with crop. [% wet basis]

    Returns
    -------
    array of the broadcast shape. [points]; NaN for a name not in CROPS

    Source      tolerance of crops.meter_tolerance_pct over sqrt(3), JCGM 100:2008 section 4.3.7
    Checked by  tests/reference/test_meters.py
    """
    return meter_tolerance_pct(crop, moisture_pct) / math.sqrt(3.0)
