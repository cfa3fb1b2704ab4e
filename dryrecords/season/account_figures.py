"""Figures of an account: what each interval drew, who used it, and what cannot be right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray
from dryrecords.grain.gross_errors import gross_errors
from dryrecords.grain.reconcile import UNEVEN, Allocation, Drawn, allocate
from dryrecords.season.burning import Burning
from dryrecords.season.models import BatchResult
from dryrecords.season.readings_chain import Chain

# So many intervals are looked at together for what cannot be right: the work grows with their third power.
TOGETHER = 200

METERED, ALLOCATED, ESTIMATED = (basis.value for basis in BatchResult.Basis)


@dataclass(frozen=True)
class Found:
    """A gross error: of the reading `reading`, or of what was drawn in `interval`; the other is -1.

    size : what the account says too much is gone (below 0: too little)
    """

    interval: int
    reading: int
    size: float
    size_u: float
    beyond_u: float


def account_figures(chain: Chain, burning: Burning) -> dict[str, Any]:
    found = _found(chain, burning)
    gross = np.zeros(chain.intervals)
    for each in found:
        for interval, sign in _touched(each):
            gross[interval] += sign * each.size
    shares = allocate(burning.demand, burning.pieces, _drawn(chain, chain.used - gross, found))
    return {
        "intervals": _intervals(chain, burning, shares, gross),
        "batches": _batches(burning, shares, found),
        "findings": [_finding(chain, burning, each) for each in found],
        "refused": [at.isoformat() for at in chain.refused],
    }


def _touched(each: Found) -> list[tuple[int, float]]:
    """Intervals and signs: a reading that is too high makes what went before too little, what came after too much."""
    if each.reading < 0:
        return [(each.interval, 1.0)]
    return [(each.reading - 1, -1.0), (each.reading, 1.0)]


def _found(chain: Chain, burning: Burning) -> list[Found]:
    found = []
    residuals, covariance = _residuals(chain, burning)
    for first in range(0, chain.intervals, TOGETHER):
        last = min(first + TOGETHER, chain.intervals)
        inside = slice(first, last)
        size = last - first
        readings = -np.diff(np.eye(size + 1), axis=0)[:, 1:-1]
        errors = gross_errors(residuals[inside], covariance[inside, inside], np.hstack((np.eye(size), readings)))
        for which, *figures in zip(
            errors.signature.tolist(),
            errors.size.tolist(),
            errors.size_u.tolist(),
            errors.beyond_u.tolist(),
            strict=True,
        ):
            is_interval = which < size
            reading = -1 if is_interval else first + which - size + 1
            found.append(Found(first + which if is_interval else -1, reading, *figures))
    return found


def _residuals(chain: Chain, burning: Burning) -> tuple[FloatArray, FloatArray]:
    """What each interval drew less what its batches were expected to take, and the covariance of that."""
    pieces, demand, m = burning.pieces, burning.demand, chain.intervals
    expected = demand.expected[pieces.batch] * pieces.share
    covariance = chain.covariance()
    uneven = (UNEVEN * demand.expected[pieces.batch]) ** 2 * pieces.share * (1.0 - pieces.share)
    variance = np.bincount(pieces.interval, uneven, minlength=m)
    of_dryer = np.zeros((m, int(pieces.dryer.max(initial=0)) + 1))
    np.add.at(of_dryer, (pieces.interval, pieces.dryer), demand.dryer_u[pieces.batch] * pieces.share)
    own = demand.own_u[pieces.batch] * pieces.share
    order = np.argsort(pieces.batch, kind="stable")
    # All pairs of pieces of one batch: those n places on in the order of batches.
    for on in range(order.size):
        one, other = order[: order.size - on], order[on:]
        same = pieces.batch[one] == pieces.batch[other]
        if not same.any():
            break
        one, other = one[same], other[same]
        np.add.at(covariance, (pieces.interval[one], pieces.interval[other]), own[one] * own[other])
        if on:
            np.add.at(covariance, (pieces.interval[other], pieces.interval[one]), own[one] * own[other])
    covariance += np.diag(variance + (of_dryer**2).sum(axis=1))
    return chain.used - np.bincount(pieces.interval, expected, minlength=m), covariance


def _drawn(chain: Chain, used: FloatArray, found: list[Found]) -> Drawn:
    """With what findings leave uncertain: an interval that cannot be right tells no more than was expected."""
    covariance = chain.covariance() - np.outer(chain.common_u, chain.common_u)
    own, beside = np.diag(covariance).copy(), np.append(np.diag(covariance, 1), 0.0)
    for each in found:
        if each.reading < 0:
            own[each.interval] = each.size_u**2
            beside[max(each.interval - 1, 0) : each.interval + 1] = 0.0
        else:
            own[each.reading - 1 : each.reading + 1] += each.size_u**2
            beside[each.reading - 1] -= each.size_u**2
    return Drawn(used, np.sqrt(own), beside, chain.common_u)


def _intervals(chain: Chain, burning: Burning, shares: Allocation, gross: FloatArray) -> list[dict[str, Any]]:
    pieces, batches = burning.pieces, len(burning.drawings)
    m = chain.intervals
    is_batch = pieces.batch < batches
    to_batches = np.bincount(pieces.interval[is_batch], shares.pieces[is_batch], minlength=m)
    other = np.bincount(pieces.interval[~is_batch], shares.pieces[~is_batch], minlength=m)
    expected = np.bincount(pieces.interval, burning.demand.expected[pieces.batch] * pieces.share, minlength=m)
    used_u = np.sqrt(np.diag(chain.covariance()))
    ends = np.searchsorted(pieces.interval, np.arange(m + 1))
    return [
        {
            "from": chain.at[k].isoformat(),
            "to": chain.at[k + 1].isoformat(),
            "drawn": float(chain.used[k]),
            "drawn_u": float(used_u[k]),
            "delivered": float(chain.delivered[k]),
            "expected": float(expected[k]),
            "allocated": float(to_batches[k]),
            "other": float(other[k]),
            "found": float(gross[k]),
            "unallocated": float(chain.used[k] - to_batches[k] - other[k] - gross[k]),
            "batches": [
                [burning.drawings[pieces.batch[i]].batch, float(pieces.share[i]), float(shares.pieces[i])]
                for i in range(ends[k], ends[k + 1])
                if is_batch[i]
            ],
        }
        for k in range(m)
    ]


def _batches(burning: Burning, shares: Allocation, found: list[Found]) -> list[dict[str, Any]]:
    """What each batch got of this tank or meter. Only one that ran wholly between readings got all of it here."""
    pieces = burning.pieces

    def inside(intervals: set[int]) -> BoolArray:
        of_batch = np.zeros(burning.demand.expected.size, dtype=bool)
        of_batch[pieces.batch[np.isin(pieces.interval, sorted(intervals))]] = True
        return of_batch

    in_guessed = inside({each.interval for each in found if each.reading < 0})
    in_corrected = inside({interval for each in found if each.reading >= 0 for interval, _ in _touched(each)})
    has_piece = inside(set(pieces.interval.tolist()))
    return [
        {
            "batch": each.batch,
            "expected": each.expected,
            "amount": float(shares.batches[i]),
            "amount_u": float(shares.batches_u[i]),
            "whole": bool(burning.whole[i]),
            "basis": ESTIMATED if in_guessed[i] else METERED if burning.alone[i] and not in_corrected[i] else ALLOCATED,
        }
        for i, each in enumerate(burning.drawings)
        if has_piece[i]
    ]


def _finding(chain: Chain, burning: Burning, each: Found) -> dict[str, Any]:
    first, last = (each.interval, each.interval + 1) if each.reading < 0 else (each.reading - 1, each.reading + 1)
    idle = not bool(np.isin(burning.pieces.interval, np.arange(first, last)).any())
    return {
        "kind": _kind(chain, each, idle),
        "from": chain.at[first].isoformat(),
        "to": chain.at[last].isoformat(),
        "reading": chain.at[each.reading].isoformat() if each.reading >= 0 else None,
        "size": each.size,
        "reading_off": (-each.size if chain.is_meter else each.size) if each.reading >= 0 else None,
        "size_u": each.size_u,
        "beyond_u": each.beyond_u,
        "idle": idle,
    }


def _kind(chain: Chain, each: Found, idle: bool) -> str:
    if each.reading >= 0:
        return "reading_doubtful"
    if each.size < 0.0:
        return "more_left_than_explained"
    delivered = float(chain.delivered[each.interval])
    if delivered > 0.0 and abs(each.size - delivered) < 3.0 * each.size_u:
        return "delivery_doubtful"
    return "use_while_idle" if idle else "more_used_than_explained"
