"""Array types shared by the numeric core."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Array", "ArrayLike", "BoolArray", "FloatArray", "IntArray", "StrArray", "lower_bounded"]

# float64 as a rule; complex128 while a derivative is taken by the complex step
Array = NDArray[np.inexact[Any]]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
StrArray = NDArray[np.str_]


def lower_bounded(x: Array, bound: ArrayLike) -> Array:
    """The larger of x and bound, compared by real part so that a complex step passes through; NaN stays NaN.

    Parameters
    ----------
    x : array, any shape
    bound : float or array that broadcasts with x, same unit as x
    """
    return np.where(x.real < np.real(bound), bound, x)
