"""Rounded quotients of integers against Python's integers of any length."""

from decimal import ROUND_DOWN, ROUND_HALF_EVEN, ROUND_HALF_UP, ROUND_UP, Decimal, localcontext

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryrecords.settlement.whole import round_product, round_quotient, round_signed

MODES = {"half_up": ROUND_HALF_UP, "half_even": ROUND_HALF_EVEN, "up": ROUND_UP, "down": ROUND_DOWN}


def expected(numerator, divisor, mode):
    with localcontext() as context:
        context.prec = 80
        return int((Decimal(numerator) / divisor).quantize(Decimal(1), rounding=MODES[mode]))


# Small divisors meet exact halves; large ones the bounds.
divisors = st.one_of(st.integers(1, 12), st.integers(1, 2**40))


@given(st.integers(0, 2**61), divisors, st.sampled_from(sorted(MODES)))
def test_quotient(numerator, divisor, mode):
    assert round_quotient(np.array([numerator]), divisor, mode)[0] == expected(numerator, divisor, mode)


@given(st.integers(-(2**61), 2**61), divisors, st.sampled_from(sorted(MODES)))
def test_quotient_of_either_sign(numerator, divisor, mode):
    assert round_signed(np.array([numerator, 1]), divisor, mode)[0] == expected(numerator, divisor, mode)


@given(st.integers(0, 2**40), st.integers(0, 2**40), st.integers(2**20, 2**40), st.sampled_from(sorted(MODES)))
def test_product_in_two_limbs(count, rate, divisor, mode):
    # 2**40 beside it makes the product too large for 64 bits, whatever was drawn
    counts, rates = np.array([count, 2**40]), np.array([rate, 2**40])
    assert round_product(counts, rates, divisor, mode)[0] == expected(count * rate, divisor, mode)


@pytest.mark.parametrize("mode", sorted(MODES))
@pytest.mark.parametrize("count", [3 * 10**10, 3 * 10**10 - 1, 10**10 + 50_000_000, 2**20, 2**20 - 1, 1])
@pytest.mark.parametrize("rate", [11 * 10**10, 10**9, 10**9 + 1, 1])
def test_product_at_the_bounds_of_a_settlement(count, rate, mode):
    counts, rates = np.array([count, 3 * 10**10]), np.array([rate, 11 * 10**10])
    for divisor in (10**8, 25 * 10**8, 10**10):
        assert round_product(counts, rates, divisor, mode)[0] == expected(count * rate, divisor, mode)


@given(st.integers(0, 10**9), st.integers(0, 10**9), divisors, st.sampled_from(sorted(MODES)))
def test_product_that_fits(count, rate, divisor, mode):
    assert round_product(np.array([count]), np.array([rate]), divisor, mode)[0] == expected(count * rate, divisor, mode)
