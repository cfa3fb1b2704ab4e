"""Which batches drew on a tank or a meter between which readings, and what each was expected to take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray, IntArray
from dryrecords.grain.demand import BATCH_U, DRYER_U
from dryrecords.grain.reconcile import Demand, Pieces
from dryrecords.season.readings_chain import Chain

# Of what is expected from running time alone, because nothing of the grain is known. Common practice, no source.
BY_TIME_U = 0.5
# Of electricity, what a dryer's batches share: the fan under another load than its rating. Common practice, no source.
DRYER_POWER_U = 0.1
# Of what a site's other consumers take, hour by hour. Common practice, no source.
OTHER_USE_U = 0.3
# Less idle time than this tells nothing about other consumers.
LEAST_IDLE_S = 4 * 3600.0


@dataclass(frozen=True)
class Drawing:
    """A batch that drew: from, to (None while it runs), and what it was expected to take (None where not known)."""

    batch: str
    dryer: str
    begun: datetime
    ended: datetime | None
    expected: float | None
    expected_u: float


@dataclass(frozen=True)
class Burning:
    """Pieces of batches in the intervals of a chain. Batches beyond `drawings` are other consumers, one an interval."""

    drawings: list[Drawing]
    demand: Demand
    pieces: Pieces
    # Between readings with the whole of its time.
    whole: BoolArray
    # The only batch in each of its intervals.
    alone: BoolArray


def burning(chain: Chain, drawings: Sequence[Drawing], *, electric: bool, others: bool) -> tuple[Chain, Burning]:
    """The chain without readings that split a lone batch, and who drew in its intervals."""
    every = list(drawings)
    batch, interval, _ = _overlaps(chain, every)
    lone = _lone(batch, interval, chain.intervals)
    inner = np.flatnonzero((lone[:-1] == lone[1:]) & (lone[:-1] >= 0)) + 1
    chain = chain.without(inner.tolist()) if inner.size else chain
    batch, interval, share = _overlaps(chain, every)
    lone = _lone(batch, interval, chain.intervals)
    in_company = np.zeros(len(every), dtype=bool)
    in_company[batch[lone[interval] < 0]] = True
    expected, own_u = _expected(chain, every)
    dryer_u = (DRYER_POWER_U if electric else DRYER_U) * expected
    own_u = np.hypot(own_u, 0.0 if electric else BATCH_U * expected)
    dryers = {name: number for number, name in enumerate(sorted({each.dryer for each in every}))}
    dryer = np.array([dryers[every[i].dryer] for i in batch], dtype=np.int64)
    if others and (rate := _idle_rate(chain, interval)) > 0.0:
        seconds = _seconds(chain)
        m = chain.intervals
        batch = np.concatenate((batch, len(every) + np.arange(m)))
        interval, share = np.concatenate((interval, np.arange(m))), np.concatenate((share, np.ones(m)))
        dryer = np.concatenate((dryer, len(dryers) + np.arange(m)))
        expected, own_u = (
            np.concatenate((expected, rate * seconds)),
            np.concatenate((own_u, OTHER_USE_U * rate * seconds)),
        )
        dryer_u = np.concatenate((dryer_u, np.zeros(m)))
        in_company[:] = True
    order = np.lexsort((batch, interval))
    pieces = Pieces(batch[order], interval[order], dryer[order], share[order])
    whole = np.array([_is_whole(chain, each) for each in every], dtype=bool)
    return chain, Burning(every, Demand(expected, own_u, dryer_u), pieces, whole, ~in_company)


def _seconds(chain: Chain) -> FloatArray:
    return np.diff([at.timestamp() for at in chain.at])


def _is_whole(chain: Chain, each: Drawing) -> bool:
    return each.ended is not None and chain.at[0] <= each.begun and each.ended <= chain.at[-1]


def _until(chain: Chain, each: Drawing) -> float:
    """The end, as far as it is known; of one that still runs, the next reading."""
    if each.ended is not None:
        return max(each.ended, each.begun).timestamp()
    return next((at for at in chain.at if at > each.begun), each.begun).timestamp()


def _overlaps(chain: Chain, drawings: list[Drawing]) -> tuple[IntArray, IntArray, FloatArray]:
    """Batch, interval and share of its time, of every batch in every interval that it ran in."""
    at = np.array([moment.timestamp() for moment in chain.at])
    begun = np.array([each.begun.timestamp() for each in drawings])
    ended = np.array([_until(chain, each) for each in drawings])
    # One that took no time stands where it began.
    length = np.maximum(ended - begun, 1.0)
    first = np.clip(np.searchsorted(at, begun, side="right") - 1, 0, chain.intervals)
    last = np.clip(np.searchsorted(at, begun + length, side="left") - 1, -1, chain.intervals - 1)
    count = np.maximum(last - first + 1, 0)
    batch = np.repeat(np.arange(len(drawings)), count)
    interval = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[batch]
    end, start = np.minimum(at[interval + 1], (begun + length)[batch]), np.maximum(at[interval], begun[batch])
    share = (end - start) / length[batch]
    ran = share > 0.0
    return batch[ran], interval[ran], share[ran]


def _lone(batch: IntArray, interval: IntArray, intervals: int) -> IntArray:
    """The batch of each interval that has just one; else -1."""
    count = np.bincount(interval, minlength=intervals)
    found = np.full(intervals, -1, dtype=np.int64)
    found[interval] = batch
    return np.where(count == 1, found, -1)


def _expected(chain: Chain, drawings: list[Drawing]) -> tuple[FloatArray, FloatArray]:
    """What each was expected to take, and how sure that is from its grain. Where nothing is known of the grain: as much
    an hour as others of its dryer, else of the tank, else as all that went out in all the time."""
    seconds = np.array([max(_until(chain, each) - each.begun.timestamp(), 60.0) for each in drawings])
    known = np.array([np.nan if each.expected is None else each.expected for each in drawings])
    u = np.array([each.expected_u for each in drawings])
    dryer = np.array([each.dryer for each in drawings])
    rates = known / seconds
    for i in np.flatnonzero(np.isnan(known)):
        of_dryer = rates[(dryer == dryer[i]) & ~np.isnan(rates)]
        of_all = rates[~np.isnan(rates)]
        if of_dryer.size or of_all.size:
            rate = float(np.median(of_dryer if of_dryer.size else of_all))
        else:
            rate = max(float(chain.used.sum()), 0.0) / float(seconds.sum())
        known[i], u[i] = rate * seconds[i], BY_TIME_U * rate * seconds[i]
    return known, u


def _idle_rate(chain: Chain, interval: IntArray) -> float:
    """What goes out a second while no dryer runs."""
    idle = np.bincount(interval, minlength=chain.intervals) == 0
    seconds = float(_seconds(chain)[idle].sum())
    return max(float(chain.used[idle].sum()) / seconds, 0.0) if seconds >= LEAST_IDLE_S else 0.0
