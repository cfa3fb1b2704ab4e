"""Root of many increasing functions at once."""

from collections.abc import Callable

import numpy as np

from dryrecords.grain.arrays import FloatArray, Values

_STEPS = 60  # bisection alone brings 100 K below 1e-15 K


@np.errstate(all="ignore")
def increasing_root(
    value_and_slope: Callable[[FloatArray], tuple[FloatArray, FloatArray]],
    low: Values,
    high: Values,
    tolerance: float,
) -> FloatArray:
    """Where each of many increasing functions is 0, by Newton's steps kept inside a bracket that shrinks.

    Parameters
    ----------
    value_and_slope : function of an array of the broadcast shape of low and high; answers two arrays of that shape
    low, high : arrays that broadcast; the root lies between. [unit of the argument]
    tolerance : largest step left undone. [same unit]

    Returns
    -------
    array of the broadcast shape. [same unit]; NaN where the function is, an end where the root lies outside

    Checked by  tests/grain/test_roots.py
    """
    low, high = (np.array(each, dtype=float) for each in np.broadcast_arrays(low, high))
    x = 0.5 * (low + high)
    for _ in range(_STEPS):
        value, slope = value_and_slope(x)
        low, high = np.where(value < 0.0, x, low), np.where(value > 0.0, x, high)
        newton = x - value / slope
        inside = (newton >= low) & (newton <= high)
        following = np.where(inside, newton, 0.5 * (low + high))
        following = np.where(np.isnan(value), np.nan, following)
        settled = np.abs(following - x) <= tolerance
        x = following
        if np.all(settled | np.isnan(x)):
            break
    return x
