"""The moisture to aim at: drying too far loses water that could be sold, too little costs a discount."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import FloatArray

# Points of the mean over a normal spread, from -4 to 4 standard deviations.
POINTS = 201
SEARCH_BELOW_PCT, SEARCH_ABOVE_PCT, SEARCH_STEP_PCT = 5.0, 3.0, 0.01

Loss = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Target:
    """The moisture of least expected loss, and what it and other aims cost. Money in the unit of the losses."""

    moisture_pct: float
    expected_loss: float
    # What aiming at the base itself would cost.
    expected_loss_at_base: float
    # Of the expected loss at the target.
    expected_over_drying: float
    expected_discount: float


def over_drying_loss(moisture_pct: FloatArray, base_moisture_pct: float, price: float) -> FloatArray:
    """Money lost for each bushel at base moisture that is delivered drier. [money of price per base bushel]

    Equation    price (1 - (100 - base) / (100 - M)) for M below base, 0 above
    Source      weight-bushel arithmetic; R. Nielsen (Purdue) and University of Nebraska print its values
    Checked by  tests/grain/test_target.py
    """
    short = 1.0 - (100.0 - base_moisture_pct) / (100.0 - moisture_pct)
    return price * np.maximum(short, 0.0)


def least_loss_target(
    base_moisture_pct: float, spread_pct: float, price: float, discount: Loss, highest_pct: float
) -> Target:
    """Aim of least expected loss when what comes out is normal about the aim.

    Parameters
    ----------
    base_moisture_pct : market base. [% wet basis]
    spread_pct : standard deviation of the outcome about the aim. [points], above 0
    price : of a bushel at base. [money per bushel]
    discount : money taken off a bushel at each moisture, array to array of the same shape, 0 at and below the base
    highest_pct : aims above this are not considered: storage. [% wet basis]

    Returns
    -------
    Target

    Equation    expected loss = integral of loss(m) N(m; aim, spread), by quadrature on a fixed grid of aims
    Checked by  tests/grain/test_target.py against simulation and the critical ratio of a two-sided linear loss
    """
    aims = np.arange(base_moisture_pct - SEARCH_BELOW_PCT, base_moisture_pct + SEARCH_ABOVE_PCT, SEARCH_STEP_PCT)
    aims = aims[aims <= max(highest_pct, aims[0])]
    dry = _expected(lambda m: over_drying_loss(m, base_moisture_pct, price), aims, spread_pct)
    wet = _expected(discount, aims, spread_pct)
    best = int(np.argmin(dry + wet))
    at_base = np.array([base_moisture_pct])
    base_loss = _expected(lambda m: over_drying_loss(m, base_moisture_pct, price) + discount(m), at_base, spread_pct)
    return Target(
        float(aims[best]), float(dry[best] + wet[best]), float(base_loss[0]), float(dry[best]), float(wet[best])
    )


def _expected(loss: Loss, aims: FloatArray, spread_pct: float) -> FloatArray:
    """Mean of a loss over a normal spread about each aim, by equal steps: the loss has kinks."""
    step = 8.0 / (POINTS - 1)
    z = np.arange(-4.0, 4.0 + step / 2, step)
    weight = np.exp(-0.5 * z**2)
    weight = weight / weight.sum()
    return np.asarray(loss(aims[:, None] + spread_pct * z) @ weight)
