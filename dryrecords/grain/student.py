"""Student's t: how probable a value is, and which value has a probability, for many degrees of freedom at once."""

from statistics import NormalDist

import numpy as np

from dryrecords.grain.arrays import FloatArray, Values
from dryrecords.grain.roots import increasing_root

_TERMS = 10_000
_TINY = 1e-300
# Above so many degrees of freedom the expansion about the normal is right to 1e-10 for all that is asked here.
_EXPANDED_ABOVE = 1000.0
_FAR = 1e6


def student_tail(t: Values, degrees: Values) -> FloatArray:
    """Probability that Student's t lies above a value.

    Parameters
    ----------
    t, degrees : arrays that broadcast. [-]; degrees of freedom 1 to 1e8

    Returns
    -------
    float64 array of the broadcast shape. [-]; NaN where an argument is NaN or the degrees are below 1

    Equation    half of I_x(degrees/2, 1/2) at x = degrees/(degrees + t^2) for t >= 0
    Source      Abramowitz & Stegun 1964 eq. 26.7.1; the beta function's continued fraction NIST DLMF 8.17.22,
                from memory
    Checked by  tests/grain/test_student.py against SciPy
    """
    t, degrees = (np.asarray(each, dtype=float) for each in np.broadcast_arrays(t, degrees))
    known = (degrees >= 1.0) & ~np.isnan(t)
    nu, square = np.where(known, degrees, 1.0), np.where(known, t, 0.0) ** 2
    tail = 0.5 * _beta_share(0.5 * nu, np.full_like(nu, 0.5), nu / (nu + square), square / (nu + square))
    return np.where(known, np.where(t < 0.0, 1.0 - tail, tail), np.nan)


def student_value(probability: float, degrees: Values) -> FloatArray:
    """Value below which Student's t lies with a probability.

    Parameters
    ----------
    probability : 0.5 to 1, without 1. [-]
    degrees : array of any shape. [-]; degrees of freedom 1 to infinity

    Returns
    -------
    float64 array of the shape of degrees. [-]; NaN where the degrees are NaN or below 1

    Raises      ValueError for a probability outside the range
    Source      inverse of student_tail; above 1000 degrees Abramowitz & Stegun 1964 eq. 26.7.5, from memory
    Checked by  tests/grain/test_student.py against SciPy
    """
    if not 0.5 <= probability < 1.0:
        raise ValueError("probability must be from 0.5 to below 1")
    degrees = np.asarray(degrees, dtype=float)
    near = np.where((degrees >= 1.0) & (degrees <= _EXPANDED_ABOVE), degrees, np.nan)
    far = np.where(degrees > _EXPANDED_ABOVE, degrees, np.nan)
    return np.where(np.isnan(far), _by_root(probability, near), _expanded(probability, far))


def _by_root(probability: float, degrees: FloatArray) -> FloatArray:
    # of the logarithm, which tails of every weight make nearly straight; argument z = asinh(t)
    missing = np.log(max(1.0 - probability, _TINY))

    def below(z: FloatArray) -> tuple[FloatArray, FloatArray]:
        t = np.sinh(z)
        tail = student_tail(t, degrees)
        slope = _density(t, degrees) * np.cosh(z) / tail
        return missing - np.log(tail), slope

    return np.sinh(increasing_root(below, 0.0, np.where(np.isnan(degrees), np.nan, np.arcsinh(_FAR)), 1e-13))


@np.errstate(all="ignore")
def _expanded(probability: float, degrees: FloatArray) -> FloatArray:
    z = NormalDist().inv_cdf(probability)
    return (
        z
        + (z**3 + z) / (4.0 * degrees)
        + (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / (96.0 * degrees**2)
        + (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / (384.0 * degrees**3)
    )


def _density(t: FloatArray, degrees: FloatArray) -> FloatArray:
    scale = _log_gamma(0.5 * (degrees + 1.0)) - _log_gamma(0.5 * degrees) - 0.5 * np.log(degrees * np.pi)
    return np.asarray(np.exp(scale - 0.5 * (degrees + 1.0) * np.log1p(t * t / degrees)))


def _log_gamma(x: FloatArray) -> FloatArray:
    """Logarithm of the gamma function for x >= 0.5 [-]: Stirling's series ten above (NIST DLMF 5.11.1 and 5.5.1)."""
    shifted = x + 10.0
    steps = np.sum(np.log(x[..., None] + np.arange(10.0)), axis=-1)
    series = 1.0 / (12.0 * shifted) - 1.0 / (360.0 * shifted**3) + 1.0 / (1260.0 * shifted**5)
    series += 1.0 / (1188.0 * shifted**9) - 1.0 / (1680.0 * shifted**7)
    return np.asarray((shifted - 0.5) * np.log(shifted) - shifted + 0.5 * np.log(2.0 * np.pi) + series - steps)


def _beta_share(a: FloatArray, b: FloatArray, x: FloatArray, rest: FloatArray) -> FloatArray:
    """Regularized incomplete beta function I_x(a, b), any shape; rest is 1 - x without its cancellation."""
    other = x > (a + 1.0) / (a + b + 2.0)
    a, b = np.where(other, b, a), np.where(other, a, b)
    x, rest = np.where(other, rest, x), np.where(other, x, rest)
    with np.errstate(divide="ignore"):
        logs = a * np.log(x) + b * np.log(rest) + _log_gamma(a + b) - _log_gamma(a) - _log_gamma(b)
    share = np.exp(logs) / a * _fraction(a, b, x)
    return np.where(other, 1.0 - share, share)


def _fraction(a: FloatArray, b: FloatArray, x: FloatArray) -> FloatArray:
    """1/(1 + d1/(1 + d2/(1 + ...))) of NIST DLMF 8.17.22, by Lentz's method."""
    c = np.ones_like(x)
    value = d = 1.0 / _not_zero(1.0 - (a + b) * x / (a + 1.0))
    for m in range(1, _TERMS):
        for step in (
            m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0)),
        ):
            d = 1.0 / _not_zero(1.0 + step * d)
            c = _not_zero(1.0 + step / c)
            value = value * c * d
        if np.all(np.abs(c * d - 1.0) < 1e-15):
            break
    return value


def _not_zero(x: FloatArray) -> FloatArray:
    return np.where(np.abs(x) < _TINY, _TINY, x)
