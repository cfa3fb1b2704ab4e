"""Array types and the few array helpers that the numeric core shares."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

# float64 as a rule; complex128 while a derivative is taken by the complex step
Array = NDArray[Any]
Values = Array | float
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
StrArray = NDArray[np.str_]


def at_least(x: Values, bound: Values) -> Array:
    """The larger of x and bound (any shapes that broadcast, same unit); NaN in x stays NaN.

    Compares real parts, so that a complex step passes through.
    """
    return np.where(np.asarray(x).real < np.asarray(bound).real, bound, x)


@np.errstate(all="ignore")
def ratio(numerator: Values, denominator: Values) -> Array:
    """Quotient of two values (any shapes that broadcast); NaN without a warning where the divisor is 0."""
    return np.asarray(numerator / np.where(np.equal(denominator, 0.0), np.nan, denominator))


def where_positive(condition: Values, x: Values) -> Array:
    """The value x where the real part of condition is above 0, else NaN (any shapes that broadcast)."""
    return np.where(np.asarray(condition).real > 0.0, x, np.nan)
