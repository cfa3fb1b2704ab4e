"""Reconciled uses against closed forms, SciPy's constrained least squares, and tanks whose batches' use is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear, minimize

from dryrecords.grain.reconcile import UNEVEN, Allocation, Demand, Drawn, Pieces, allocate
from tests.grain import tanks


def known(values: list[float]) -> np.ndarray:
    return np.array(values, dtype=float)


def drawn(amount: list[float], reading_u: float) -> Drawn:
    """Consecutive intervals of one tank."""
    beside = np.full(len(amount), -(reading_u**2))
    beside[-1] = 0.0
    return Drawn(known(amount), np.full(len(amount), reading_u * np.sqrt(2.0)), beside, np.zeros(len(amount)))


def one_interval(expected: list[float], own_u: list[float], amount: float, reading_u: float = 10.0) -> Allocation:
    n = len(expected)
    demand = Demand(known(expected), known(own_u), np.zeros(n))
    pieces = Pieces(np.arange(n), np.zeros(n, dtype=int), np.arange(n), np.ones(n))
    return allocate(demand, pieces, drawn([amount], reading_u))


def test_two_batches_share_what_is_missing_by_their_variances() -> None:
    """x = d + u^2 / sum u^2 (D - sum d): the adjustment of one balance, by hand."""
    found = one_interval([100.0, 60.0], [20.0, 10.0], 190.0)
    assert found.batches == pytest.approx([124.0, 66.0])
    # Variance 400 x 100 / 500 between the two, and the share 0.8 (0.2) of the drawdown's variance of 200.
    assert found.batches_u**2 == pytest.approx([80.0 + 0.64 * 200.0, 80.0 + 0.04 * 200.0])


def test_one_batch_has_the_whole_drawdown_and_its_uncertainty() -> None:
    found = one_interval([100.0], [25.0], 140.0)
    assert found.batches == pytest.approx([140.0])
    assert found.batches_u == pytest.approx([10.0 * np.sqrt(2.0)])


def test_batch_over_two_intervals_is_not_charged_for_the_reading_between() -> None:
    """Read in the middle of one batch: what the gauge got wrong there adds to one half and is missing in the other."""
    demand = Demand(known([100.0]), known([25.0]), known([0.0]))
    pieces = Pieces(np.zeros(2, dtype=int), np.arange(2), np.zeros(2, dtype=int), known([0.5, 0.5]))
    found = allocate(demand, pieces, drawn([70.0, 50.0], 10.0))
    assert found.batches == pytest.approx([120.0])
    assert found.batches_u == pytest.approx([10.0 * np.sqrt(2.0)])


def test_a_dryers_own_error_goes_to_its_batches_together() -> None:
    """Two batches of one dryer move as one block of variance (2 u)^2 against a batch of another of u^2."""
    demand = Demand(known([50.0] * 3), known([0.0] * 3), known([10.0] * 3))
    pieces = Pieces(np.arange(3), np.zeros(3, dtype=int), known([0, 0, 1]).astype(int), np.ones(3))
    found = allocate(demand, pieces, drawn([200.0], 0.0))
    assert found.batches == pytest.approx([70.0, 70.0, 60.0], rel=1e-6)


def test_nothing_falls_below_zero_and_what_is_left_is_said() -> None:
    found = one_interval([10.0, 200.0], [1.0, 60.0], 8.0)
    assert found.batches == pytest.approx([8.0, 0.0])
    risen = one_interval([10.0, 200.0], [1.0, 60.0], -5.0)
    assert risen.batches == pytest.approx([0.0, 0.0])
    assert risen.unallocated == pytest.approx([-5.0])
    idle = allocate(
        Demand(np.zeros(0), np.zeros(0), np.zeros(0)),
        Pieces(*(np.zeros(0, dtype=int) for _ in range(3)), np.zeros(0)),
        drawn([3.0, 4.0], 1.0),
    )
    assert idle.unallocated == pytest.approx([3.0, 4.0])


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0.1, 100.0), min_size=1, max_size=6),
    st.lists(st.floats(0.05, 1.0), min_size=6, max_size=6),
    st.floats(0.01, 500.0),
)
def test_bounded_split_is_scipys(expected: list[float], relative: list[float], amount: float) -> None:
    """Independent batches of one interval: lsq_linear with the balance as a row of great weight."""
    u = np.array(relative[: len(expected)]) * np.array(expected)
    found = one_interval(expected, u.tolist(), amount)
    heavy = 1e6 / u.min()
    rows = np.vstack((np.diag(1.0 / u), np.full(len(expected), heavy)))
    peer = lsq_linear(rows, np.append(np.array(expected) / u, heavy * amount), bounds=(0.0, np.inf), tol=1e-14)
    assert found.batches == pytest.approx(peer.x, abs=2e-3 * max(*expected, amount))
    assert found.batches.sum() == pytest.approx(amount)


def test_linked_intervals_are_slsqps() -> None:
    """Three intervals linked by batches that run on, one of them hardly drew: SLSQP on the same function."""
    demand = Demand(known([60.0, 40.0, 80.0, 30.0]), known([9.0, 4.0, 9.0, 3.0]), known([12.0, 8.0, 16.0, 6.0]))
    batch, interval = np.array([0, 1, 1, 2, 2, 3]), np.array([0, 0, 1, 1, 2, 2])
    dryer, share = np.array([0, 1, 1, 0, 0, 1]), known([1.0, 0.4, 0.6, 0.5, 0.5, 1.0])
    amounts = [90.0, 4.0, 70.0]
    found = allocate(demand, Pieces(batch, interval, dryer, share), drawn(amounts, 5.0))
    d = demand.expected[batch] * share
    v = np.zeros((6, 6))
    for i in range(6):
        v[i, i] += (UNEVEN * demand.expected[batch[i]]) ** 2 * share[i] * (1.0 - share[i])
        for j in range(6):
            if batch[i] == batch[j]:
                v[i, j] += demand.own_u[batch[i]] ** 2 * share[i] * share[j]
            if (dryer[i], interval[i]) == (dryer[j], interval[j]):
                v[i, j] += demand.dryer_u[batch[i]] * share[i] * demand.dryer_u[batch[j]] * share[j]
    inverse = np.linalg.inv(v)
    balances = [{"type": "eq", "fun": lambda x, k=k: x[interval == k].sum() - amounts[k]} for k in range(3)]
    peer = minimize(
        lambda x: (x - d) @ inverse @ (x - d),
        np.full(6, 20.0),
        jac=lambda x: 2.0 * inverse @ (x - d),
        bounds=[(0.0, None)] * 6,
        constraints=balances,
        method="SLSQP",
        options={"ftol": 1e-13, "maxiter": 500},
    )
    assert peer.success
    assert found.pieces == pytest.approx(peer.x, abs=1e-3)
    assert found.pieces.min() == 0.0


def test_balance_is_exact_and_truth_lies_in_its_interval_as_often_as_it_should() -> None:
    """95 % +- 3 % of 12,000 batches on tanks whose gauge is read to 1 % of its capacity."""
    inside = []
    for seed in range(20):
        made = tanks.season(seed)
        found = allocate(made.demand, made.pieces, made.drawn)
        sums = np.bincount(made.pieces.interval, found.pieces) + found.unallocated
        assert sums == pytest.approx(made.drawn.amount, rel=1e-12)
        assert np.abs(found.unallocated[made.drawn.amount > 0.0]).max() < 1e-9 * tanks.CAPACITY
        assert found.pieces.min() >= 0.0
        inside.append(np.abs(found.batches - made.truth) <= 1.96 * found.batches_u)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.03)


def test_reconciling_brings_batches_closer_to_the_truth_than_what_was_expected_of_them() -> None:
    made = tanks.season(3)
    found = allocate(made.demand, made.pieces, made.drawn)
    before = np.sqrt(np.mean((made.demand.expected - made.truth) ** 2))
    assert np.sqrt(np.mean((found.batches - made.truth) ** 2)) < 0.85 * before


def test_company_changes_no_bit() -> None:
    """A tank alone and among others: the same."""
    made = tanks.season(7, tanks=3)
    whole = allocate(made.demand, made.pieces, made.drawn)
    chosen = made.tank == 1
    first = int(np.flatnonzero(chosen)[0])
    mine = chosen[made.pieces.interval]
    batches, number = np.unique(made.pieces.batch[mine], return_inverse=True)
    alone = allocate(
        Demand(*(x[batches] for x in (made.demand.expected, made.demand.own_u, made.demand.dryer_u))),
        Pieces(number, made.pieces.interval[mine] - first, made.pieces.dryer[mine], made.pieces.share[mine]),
        Drawn(
            *(x[chosen] for x in (made.drawn.amount, made.drawn.own_u, made.drawn.next_covariance, made.drawn.common_u))
        ),
    )
    assert (alone.batches == whole.batches[batches]).all()
    assert (alone.batches_u == whole.batches_u[batches]).all()
