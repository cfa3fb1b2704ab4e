"""Sharing out what tanks gave to a season of 10,000 batches, against a plain loop of SciPy's bounded least squares.

Both get the same numbers and find the same shares of the batches that ran within one interval; SciPy's finds no
uncertainties, and takes those that ran on into the next interval as two.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.optimize import lsq_linear

from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.reconcile import UNEVEN, allocate
from tests.benchmarks.measure import Outcome, in_turns
from tests.grain.tanks import Season, season

TANKS, INTERVALS, OF_AN_INTERVAL = 8, 208, 6
ROUNDS = 3
# The balance as one more row, of so much more weight than any other.
HEAVY = 1e4


def run(directory: Path) -> Iterator[Outcome]:
    made = season(11, tanks=TANKS, intervals=INTERVALS, of_an_interval=OF_AN_INTERVAL)
    batches = made.demand.expected.size
    ours = allocate(made.demand, made.pieces, made.drawn)
    within = np.bincount(made.pieces.batch)[made.pieces.batch] == 1
    linked = np.bincount(made.pieces.interval, ~within) > 0
    alone = ~linked[made.pieces.interval] & (made.drawn.amount > 0)[made.pieces.interval]
    assert np.allclose(ours.pieces[alone], by_scipy(made)[alone], rtol=1e-3, atol=0.05)
    times = in_turns(
        ROUNDS,
        {"ours": lambda: allocate(made.demand, made.pieces, made.drawn), "scipy": lambda: by_scipy(made)},
    )
    yield Outcome(
        f"allocate {batches}",
        times["ours"].best_ms,
        times["scipy"].best_ms,
        "ms",
        f"lsq_linear for each of {made.drawn.amount.size} intervals, best of {ROUNDS} rounds",
        {"us_per_batch": 1000 * times["ours"].best_ms / batches},
    )


def by_scipy(made: Season) -> FloatArray:
    pieces, demand = made.pieces, made.demand
    found = np.zeros(pieces.batch.size)
    ends = np.searchsorted(pieces.interval, np.arange(made.drawn.amount.size + 1))
    for k in range(made.drawn.amount.size):
        inside = slice(ends[k], ends[k + 1])
        batch, dryer, share = pieces.batch[inside], pieces.dryer[inside], pieces.share[inside]
        d, own, common = (x[batch] * share for x in (demand.expected, demand.own_u, demand.dryer_u))
        uneven = (UNEVEN * demand.expected[batch]) ** 2 * share * (1.0 - share)
        covariance = np.diag(own**2 + uneven) + np.outer(common, common) * (dryer[:, None] == dryer)
        half = np.linalg.inv(np.linalg.cholesky(covariance))
        rows = np.vstack((half, np.full(d.size, HEAVY)))
        right = np.append(half @ d, HEAVY * max(made.drawn.amount[k], 0.0))
        found[inside] = lsq_linear(rows, right, bounds=(0.0, np.inf)).x
    return found
