"""Quotients of 64-bit integers rounded exactly as terms.Rounding rounds decimals, without leaving the 64 bits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Integers = NDArray[np.int64]

_LIMB = 1 << 20
# Below this a product, doubled and with a divisor added, is below 2**63.
_FITS = 1 << 61


def round_quotient(numerator: Integers, divisor: int | Integers, mode: str) -> Integers:
    """numerator / divisor to a whole number.

    Parameters
    ----------
    numerator : integers, any shape, 0 or above and below 2**62 - divisor / 2
    divisor : integers that broadcast with it, above 0 and below 2**61
    mode : "half_up", "half_even", "up" or "down"

    Returns
    -------
    integers of the broadcast shape

    Checked by  tests/settlement/test_whole.py
    """
    if mode == "down":
        return np.asarray(numerator // divisor)
    if mode == "up":
        return np.asarray((numerator + (divisor - 1)) // divisor)
    doubled = 2 * numerator + divisor
    whole = np.asarray(doubled // (2 * divisor))
    if mode == "half_even":
        # An exact half went up; where that made it odd, down was even.
        whole -= (whole * (2 * divisor) == doubled) & (whole & 1 == 1)
    return whole


def round_signed(numerator: Integers, divisor: int | Integers, mode: str) -> Integers:
    """The same for numerators of either sign: their size is rounded, so that up goes away from zero."""
    if numerator.min(initial=0) >= 0:
        return round_quotient(numerator, divisor, mode)
    return np.asarray(np.sign(numerator) * round_quotient(np.abs(numerator), divisor, mode))


def round_product(count: Integers, rate: Integers, divisor: int, mode: str) -> Integers:
    """count x rate / divisor to a whole number, although the product may be far beyond 64 bits.

    Long division in two limbs of 20 bits: the upper limb of the count first, and its remainder with the lower one.

    Parameters
    ----------
    count : integers, any shape, 0 to 2**40
    rate : integers that broadcast with it, 0 to 2**40
    divisor : 1 to 2**40; the quotient has to fit

    Returns
    -------
    integers of the broadcast shape

    Checked by  tests/settlement/test_whole.py: at the bounds, against integers of any length
    """
    if int(count.max(initial=0)) * int(rate.max(initial=0)) + divisor < _FITS:
        return round_quotient(count * rate, divisor, mode)
    upper = (count >> 20) * rate
    whole = upper // divisor
    rest = (upper - whole * divisor) * _LIMB + (count & (_LIMB - 1)) * rate
    # The limb's size is even, so whether a half goes to an even number is seen in the lower quotient alone.
    return np.asarray(whole * _LIMB + round_quotient(rest, divisor, mode))
