"""Whatever rules say by the moisture alone, worked out in integers once for each moisture and looked up by load."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from dryrecords.settlement import bounds
from dryrecords.settlement.terms import Band, DryingCharge, Rounding, Rules, Shrink
from dryrecords.settlement.whole import Integers, round_quotient, round_signed

_ALL_PCT = bounds.SHRINK_PCT.fixed(Decimal(100))


@dataclass(frozen=True)
class ByMoisture:
    """Arrays over used moistures, one `step` apart from `first` x step on; units as in fixed_point.py."""

    first: int
    step: int
    mode: str
    used: Integers  # [1/1000 %]
    shrink_pct: Integers  # [1e-6 %]
    discount_usd_bu: Integers  # of the steps in dollars, not rounded [1e-6 USD]
    discount_pct: Integers  # of the price, not rounded [1e-4 %]
    drying_usd_bu: Integers  # [1e-6 USD]
    rejected: NDArray[np.bool_]

    def places(self, moisture: Integers) -> Integers:
        """Where in the arrays each measured moisture [1/1000 %] is found."""
        return round_quotient(moisture, self.step, self.mode) - self.first


def by_moisture(rules: Rules, lowest: int, highest: int) -> ByMoisture:
    """For all measured moistures between two. [1/1000 % wet basis]"""
    rounding = rules.moisture_rounding or Rounding(bounds.MOISTURE_PCT.smallest)
    step = bounds.MOISTURE_PCT.fixed(rounding.step)
    first, last = (int(round_quotient(np.asarray(end), step, rounding.mode)) for end in (lowest, highest))
    used = np.arange(first, last + 1, dtype=np.int64) * step
    nothing = np.zeros_like(used)
    reject = rules.reject_above_pct
    rejected = np.zeros(used.shape, np.bool_) if reject is None else used > bounds.MOISTURE_PCT.fixed(reject)
    bought = ~rejected
    charge = rules.drying_charge
    return ByMoisture(
        first=first,
        step=step,
        mode=rounding.mode,
        used=used,
        shrink_pct=_shrink_pct(rules.shrink, rules.rounding.shrink_pct, used) * bought if rules.shrink else nothing,
        discount_usd_bu=_begun(rules.discount, used, "per_step_usd_bu", bounds.STEP_USD_BU) * bought,
        discount_pct=_begun(rules.discount, used, "per_step_pct_of_price", bounds.STEP_PCT_OF_PRICE) * bought,
        drying_usd_bu=_drying_usd_bu(charge, rules.rounding.usd_bu, used) * bought if charge else nothing,
        rejected=rejected,
    )


def _shrink_pct(shrink: Shrink, rounding: Rounding, used: Integers) -> Integers:
    points = used - bounds.BASE_PCT.fixed(shrink.base_moisture_pct)
    # Handling is in 1e-4 %, points are in 1e-3: their product with the factor is in 1e-7 %.
    handling = bounds.HANDLING_PCT.fixed(shrink.handling_pct) * (points > 0)
    step = bounds.SHRINK_PCT.fixed(rounding.step)
    if shrink.method == "factor":
        factor = bounds.FACTOR_PCT.fixed(shrink.factor_pct_per_point)
        whole = round_signed(factor * points + 1_000 * handling, 10 * step, rounding.mode)
    else:
        left = bounds.BASE_PCT.fixed(Decimal(100) - shrink.base_moisture_pct)
        whole = round_signed(_ALL_PCT * points + 100 * handling * left, left * step, rounding.mode)
    pct = np.minimum(whole * step, _ALL_PCT)
    return np.asarray(pct if shrink.below_base == "credit" else pct * (points > 0))


def _drying_usd_bu(charge: DryingCharge, rounding: Rounding, used: Integers) -> Integers:
    points = used - bounds.BASE_PCT.fixed(charge.base_moisture_pct)
    begun = _begun(charge.bands, used, "per_step_usd_bu", bounds.STEP_USD_BU)
    rate = bounds.STEP_USD_BU.fixed(charge.per_point_usd_bu)
    least = bounds.MINIMUM_USD_BU.fixed(charge.minimum_usd_bu)
    # A rate in 1e-6 times points in 1e-3 is in 1e-9 dollars.
    owed = np.maximum(rate * points + 1_000 * begun, 1_000 * least) * (points > 0)
    step = bounds.USD_BU.fixed(rounding.step)
    return round_quotient(owed, 1_000 * step, rounding.mode) * step


def _begun(bands: tuple[Band, ...], used: Integers, name: str, bound: bounds.Bound) -> Integers:
    """What all steps begun add up to, in units of the bound."""
    total = np.zeros_like(used)
    for band in bands:
        above = bounds.MOISTURE_PCT.fixed(band.above_pct)
        width = None if band.up_to_pct is None else bounds.MOISTURE_PCT.fixed(band.up_to_pct) - above
        step = bounds.STEP_PCT.fixed(band.step_pct)
        total += bound.fixed(getattr(band, name)) * round_quotient(np.clip(used - above, 0, width), step, "up")
    return total
