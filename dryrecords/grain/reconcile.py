"""Who used what was drawn between two readings: expected uses reconciled with what the readings show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray, IntArray

# How unevenly a burner burns: a part f of a batch's time has used f of its fuel, give or take this times
# sqrt(f (1 - f)). Common practice, no source.
UNEVEN = 0.1
# Of the largest expected use in a component: less than any reading shows, and enough to divide by.
FLOOR = 1e-6
BLOCK_TURNS = 10


@dataclass(frozen=True)
class Demand:
    """What b batches are expected to use, in any one unit; shape (b,).

    own_u is the standard uncertainty of each batch by itself, dryer_u what all batches of one dryer in one interval
    share.
    """

    expected: FloatArray
    own_u: FloatArray
    dryer_u: FloatArray


@dataclass(frozen=True)
class Pieces:
    """n pieces of batches, each inside one interval between two readings; shape (n,), ordered by interval."""

    batch: IntArray
    interval: IntArray
    dryer: IntArray
    # Of the batch's time: a batch may be read in the middle.
    share: FloatArray


@dataclass(frozen=True)
class Drawn:
    """What m intervals drew, unit of the demand; shape (m,). Consecutive ones share a reading, so their errors do too.

    own_u : standard uncertainty of each, whatever it shares with its neighbours included
    next_covariance : with the following interval, 0 where that is of another tank
    common_u : standard uncertainty of an error that a meter makes throughout, apart from own_u
    """

    amount: FloatArray
    own_u: FloatArray
    next_covariance: FloatArray
    common_u: FloatArray


@dataclass(frozen=True)
class Allocation:
    """pieces : (n,) use of each piece, not below 0; batches, batches_u : (b,); unallocated : (m,) what is left of each
    interval: all of one that has no piece, and a drawdown below 0."""

    pieces: FloatArray
    batches: FloatArray
    batches_u: FloatArray
    unallocated: FloatArray


def allocate(demand: Demand, pieces: Pieces, drawn: Drawn) -> Allocation:
    """Use of each batch: the expected uses, moved as little as they can be so that each interval's sum is its drawdown.

    Parameters
    ----------
    demand : of b batches; finite and not below 0
    pieces : n pieces of them; several tanks may stand one after another
    drawn : m intervals

    Returns
    -------
    Allocation. The sum of an interval's pieces is its drawdown to the last few bits. Intervals that no batch links are
    independent of each other, to the last bit.

    Equation    x = d + V A' (A V A')^-1 (D - A d); of the errors  V - G A V + G U G',  G = V A' (A V A')^-1
                with U the covariance of the drawdowns. Where an x is below 0: min (x - d)' V^-1 (x - d), A x = D,
                x >= 0, by an active set: all that violate change sides at once, later one at a time.
    Source      Kuehn & Davidson 1961 (Chem. Eng. Progress 57:44); Narasimhan & Jordache, Data Reconciliation and Gross
                Error Detection, 2000, ch. 3 (both from memory); JCGM 102:2011 for U; the active set: Judice & Pires
                1994 (Computers Ops Res. 21:587), from memory
    Known gap   uncertainties are those without the bound at 0: too wide for a piece that stands there.
    Checked by  tests/grain/test_reconcile.py, against closed forms, SciPy and a synthetic season
    """
    n, b, m = pieces.batch.size, demand.expected.size, drawn.amount.size
    used, variance = np.zeros(n), np.zeros(b)
    for rows, columns in _components(pieces, m):
        x, same_batch = _component_block(demand, pieces, drawn, rows, columns)
        inside = rows >= 0
        used[rows[inside]] = x[inside]
        variance += np.bincount(pieces.batch[rows[inside]], same_batch[inside], minlength=b)
    return Allocation(
        used,
        np.asarray(np.bincount(pieces.batch, used, minlength=b), dtype=float),
        np.sqrt(np.maximum(variance, 0.0)),
        drawn.amount - np.bincount(pieces.interval, used, minlength=m),
    )


def _components(pieces: Pieces, intervals: int) -> list[tuple[IntArray, IntArray]]:
    """Pieces and intervals that hang together, blocks of components of one padded size.

    Returns pairs of (c, n) piece numbers and (c, m) interval numbers, -1 where padded.
    """
    linked = np.zeros(intervals + 1, dtype=np.int64)
    first = np.full(int(pieces.batch.max(initial=-1)) + 1, intervals, dtype=np.int64)
    last = np.zeros_like(first)
    np.minimum.at(first, pieces.batch, pieces.interval)
    np.maximum.at(last, pieces.batch, pieces.interval)
    spans = first < last
    np.add.at(linked, first[spans] + 1, 1)
    np.add.at(linked, last[spans] + 1, -1)
    # An interval begins a component unless a batch runs on into it.
    component = np.cumsum(np.cumsum(linked)[:intervals] == 0) - 1
    of_piece = component[pieces.interval]
    counts = np.bincount(of_piece, minlength=int(component[-1]) + 1 if intervals else 0)
    widths = np.bincount(component, minlength=counts.size)
    wanted = np.flatnonzero(counts)
    sizes = np.stack((_padded(counts[wanted]), _padded(widths[wanted])), axis=1)
    blocks = []
    for size in np.unique(sizes, axis=0):
        chosen = wanted[(sizes == size).all(axis=1)]
        blocks.append((_numbers(of_piece, chosen, int(size[0])), _numbers(component, chosen, int(size[1]))))
    return blocks


def _padded(counts: IntArray) -> IntArray:
    """The next power of two: few sizes, and each component always in the same one."""
    return np.asarray(2 ** np.ceil(np.log2(counts)).astype(np.int64))


def _numbers(component: IntArray, chosen: IntArray, width: int) -> IntArray:
    """Where each chosen component's members stand, shape (chosen, width). Members of one stand side by side."""
    first = np.searchsorted(component, chosen)
    count = np.searchsorted(component, chosen, side="right") - first
    at = np.arange(width)
    return np.where(at < count[:, None], first[:, None] + at, -1)


def _component_block(
    demand: Demand, pieces: Pieces, drawn: Drawn, rows: IntArray, columns: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Use of each piece, and its part in the variance of its batch, shapes (c, n)."""
    inside, real = rows >= 0, columns >= 0
    batch, share = pieces.batch[rows], np.where(inside, pieces.share[rows], 0.0)
    expected = np.where(inside, demand.expected[batch] * share, 0.0)
    scale = np.maximum(expected.max(axis=1), FLOOR)[:, None]
    v, same = _demand_covariance(demand, pieces, rows, share, scale)
    a = ((pieces.interval[rows][:, None, :] == columns[:, :, None]) & inside[:, None, :] & real[:, :, None]).astype(
        float
    )
    total = np.where(real, np.maximum(drawn.amount[columns], 0.0), 0.0)
    pad = np.eye(columns.shape[1]) * ~real[:, None, :] * scale[:, :, None] ** 2
    va = v @ a.transpose(0, 2, 1)
    gain = np.linalg.solve(a @ va + pad, va.transpose(0, 2, 1)).transpose(0, 2, 1)
    x = expected + (gain @ (total - (a @ expected[..., None])[..., 0])[..., None])[..., 0]
    errors = v - gain @ va.transpose(0, 2, 1) + gain @ _drawn_covariance(drawn, columns) @ gain.transpose(0, 2, 1)
    return _not_below_zero(x, expected, v, a, total, inside), (errors * same).sum(axis=2)


def _demand_covariance(
    demand: Demand, pieces: Pieces, rows: IntArray, share: FloatArray, scale: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Covariance of the pieces' expected uses, and which pieces are of one batch, shapes (c, n, n)."""
    inside = rows >= 0
    batch, dryer = pieces.batch[rows], pieces.dryer[rows]
    both = inside[:, :, None] & inside[:, None, :]
    same_batch = (batch[:, :, None] == batch[:, None, :]) & both
    interval = pieces.interval[rows]
    together = (dryer[:, :, None] == dryer[:, None, :]) & (interval[:, :, None] == interval[:, None, :]) & both
    own = np.maximum(demand.own_u[batch], FLOOR * scale) * share
    of_dryer = demand.dryer_u[batch] * share
    uneven = UNEVEN * demand.expected[batch] * np.sqrt(np.maximum(share * (1.0 - share), 0.0))
    diagonal = np.where(inside, uneven**2, scale**2)
    covariance = (
        own[:, :, None] * own[:, None, :] * same_batch
        + of_dryer[:, :, None] * of_dryer[:, None, :] * together
        + diagonal[:, :, None] * np.eye(rows.shape[1])
    )
    return covariance, same_batch


def _drawn_covariance(drawn: Drawn, columns: IntArray) -> FloatArray:
    real = columns >= 0
    own, common = (np.where(real, x[columns], 0.0) for x in (drawn.own_u, drawn.common_u))
    beside = np.where(real[:, 1:], drawn.next_covariance[columns[:, :-1]], 0.0)
    covariance = common[:, :, None] * common[:, None, :] + (own**2)[:, :, None] * np.eye(columns.shape[1])
    at = np.arange(columns.shape[1] - 1)
    covariance[:, at, at + 1] += beside
    covariance[:, at + 1, at] += beside
    return covariance


def _not_below_zero(
    x: FloatArray, expected: FloatArray, v: FloatArray, a: FloatArray, total: FloatArray, inside: BoolArray
) -> FloatArray:
    """The same least squares with no use below 0, for those components that have one. Shapes (c, n)."""
    # Where nothing was drawn nobody used anything.
    drew = inside & ((a.transpose(0, 2, 1) @ total[..., None])[..., 0] > 0.0)
    x = np.where(drew, x, 0.0)
    for one in np.flatnonzero((x < 0.0).any(axis=1) | (inside & ~drew).any(axis=1)):
        kept = np.flatnonzero(drew[one])
        if kept.size:
            rows = np.flatnonzero(a[one][:, kept].any(axis=1))
            inverse = np.linalg.inv(v[one][np.ix_(kept, kept)])
            x[one, kept] = _active_set(expected[one, kept], inverse, a[one][np.ix_(rows, kept)], total[one, rows])
    return x


def _active_set(expected: FloatArray, inverse: FloatArray, a: FloatArray, total: FloatArray) -> FloatArray:
    """Minimum of (x - d)' V^-1 (x - d) with A x = D > 0, x >= 0, of one component."""
    n, m = expected.size, total.size
    free = np.ones(n, dtype=bool)
    tolerance = 1e-12 * max(float(expected.max()), float(total.max()))
    for turn in range(BLOCK_TURNS + 2 ** min(n, 16)):
        system = np.zeros((n + m, n + m))
        system[:n, :n] = np.where(free[:, None] & free, inverse, 0.0) + np.diag(~free)
        system[:n, n:], system[n:, :n] = -(a * free).T, a * free
        solved = np.linalg.solve(system, np.concatenate((np.where(free, inverse @ expected, 0.0), total)))
        x, multiplier = np.where(free, solved[:n], 0.0), solved[n:]
        pull = inverse @ (x - expected) - a.T @ multiplier
        wrong = np.where(free, x < -tolerance, pull < -1e-12 * np.abs(inverse).max() * tolerance)
        if not wrong.any():
            break
        if turn < BLOCK_TURNS:
            free ^= wrong
        else:
            free[np.flatnonzero(wrong)[0]] ^= True
    x = np.maximum(x, 0.0)
    sums = a @ x
    return np.asarray(x * (a.T @ (total / np.where(sums > 0.0, sums, 1.0))))
