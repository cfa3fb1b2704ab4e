"""Invented tanks whose batches' true use is known: several dryers on each, read now and then, filled in between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import FloatArray, IntArray
from dryrecords.grain.demand import BATCH_U, DRYER_U
from dryrecords.grain.reconcile import UNEVEN, Demand, Drawn, Pieces

CAPACITY = 1000.0
GAUGE_U = 10.0


@dataclass(frozen=True)
class Season:
    """True use of each batch beside what is known of it; `tank` of each interval."""

    truth: FloatArray
    demand: Demand
    pieces: Pieces
    drawn: Drawn
    tank: IntArray


def season(seed: int, *, tanks: int = 4, intervals: int = 25, of_an_interval: int = 6, dryers: int = 3) -> Season:
    """Each interval has so many batches; the last of them runs on into the next interval in one case of three."""
    rng = np.random.default_rng(seed)
    m = tanks * intervals
    batches = m * of_an_interval
    interval = np.repeat(np.arange(m), of_an_interval)
    dryer = rng.integers(0, dryers, batches)
    expected = rng.uniform(20.0, 60.0, batches)
    last = np.arange(of_an_interval - 1, batches, of_an_interval)
    runs_on = last[(rng.random(m) < 0.35) & ((np.arange(m) + 1) % intervals != 0)]
    share = np.ones(batches)
    share[runs_on] = rng.uniform(0.2, 0.8, runs_on.size)
    piece_batch = np.concatenate((np.arange(batches), runs_on))
    piece_interval = np.concatenate((interval, interval[runs_on] + 1))
    piece_share = np.concatenate((share, 1.0 - share[runs_on]))
    order = np.lexsort((piece_batch, piece_interval))
    pieces = Pieces(piece_batch[order], piece_interval[order], dryer[piece_batch[order]], piece_share[order])
    # Beside its own error each batch has one of its dryer's in that interval.
    own = 1.0 + BATCH_U * rng.standard_normal(batches)
    of_dryer = DRYER_U * rng.standard_normal((m, dryers))
    f, d = pieces.share, expected[pieces.batch]
    uneven = UNEVEN * np.sqrt(f * (1.0 - f)) * rng.standard_normal(f.size)
    used = d * (f * own[pieces.batch] + f * of_dryer[pieces.interval, pieces.dryer] + uneven)
    reading = GAUGE_U * rng.standard_normal((tanks, intervals + 1))
    drawn = np.bincount(pieces.interval, used) + (reading[:, :-1] - reading[:, 1:]).ravel()
    beside = np.full((tanks, intervals), -(GAUGE_U**2))
    beside[:, -1] = 0.0
    return Season(
        np.bincount(pieces.batch, used),
        Demand(expected, BATCH_U * expected, DRYER_U * expected),
        pieces,
        Drawn(drawn, np.full(m, GAUGE_U * np.sqrt(2.0)), beside.ravel(), np.zeros(m)),
        np.repeat(np.arange(tanks), intervals),
    )
