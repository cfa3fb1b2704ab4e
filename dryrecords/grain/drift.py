"""Slow changes in a series of figures: an exponentially weighted moving average and its control limits."""

from __future__ import annotations

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray, Values

# 0.2 to 0.3 is usual (Hunter, as quoted in the handbook below); the smaller one for drifts that take many batches.
WEIGHT = 0.2
LIMIT_U = 3.0


def moving_average(
    x: FloatArray, centre: float, standard_deviation: Values, weight: float = WEIGHT, limit_u: float = LIMIT_U
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Exponentially weighted moving average of a series, how far it may lie from the centre, and where it does not.

    Parameters
    ----------
    x : (n,) the series; any unit
    centre : what it is while nothing changes. [same unit]
    standard_deviation : of each member, (n,) or one for all. [same unit]
    weight : of the newest member, above 0 up to 1. [-]
    limit_u : [-]

    Returns
    -------
    average : (n,) [same unit]
    limit : (n,) distance from the centre. [same unit]
    beyond : (n,) bool

    Equation    E_t = w x_t + (1 - w) E_(t-1), E_0 = centre; its variance w^2 sum (1 - w)^(2 (t - i)) s_i^2, which for
                one s comes to w / (2 - w) s^2; limit = limit_u sqrt(variance)
    Source      NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4
    Checked by  tests/reference/test_drift.py against its worked example
    """
    deviation = np.broadcast_to(standard_deviation, x.shape)
    average, variance = np.empty(x.size), np.empty(x.size)
    last, last_variance = centre, 0.0
    for i in range(x.size):
        last = weight * float(x[i]) + (1.0 - weight) * last
        last_variance = weight**2 * float(deviation[i]) ** 2 + (1.0 - weight) ** 2 * last_variance
        average[i], variance[i] = last, last_variance
    limit = limit_u * np.sqrt(variance)
    return average, limit, np.abs(average - centre) > limit
