"""Two moisture meters over a season, or one against a buyer's tickets: which tests pair, what they show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NamedTuple
from uuid import UUID

import numpy as np
from django.db.models import Avg, Q, QuerySet

from dryrecords.core.clock import FIRST_MONTH_OF_A_SEASON
from dryrecords.core.errors import invalid
from dryrecords.equipment.models import Meter
from dryrecords.grain.arrays import FloatArray, IntArray
from dryrecords.grain.comparison import deming_line, moisture_band, paired_differences
from dryrecords.grain.crops import meter_tolerance_pct
from dryrecords.harvest.models import Batch, Sample, Ticket
from dryrecords.settlement.audit_moistures import ALL, ALPHA, BAND_NAMES, BANDS_PCT, statistics
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import get

WITHIN_MIN = 60
# So many tests of one meter are looked at; more would not change what is shown.
MOST_TESTS = 100_000
PAIRING = (
    "Tests of the same batch, bin or ticket at the same stage, at most {within} minutes apart; each is the nearest of "
    "the other, and counts once."
)
PAIRING_WITH_TICKETS = "The ticket's moisture and the mean of the meter's tests of that delivery."


@dataclass(frozen=True)
class Pairs:
    """Readings of the same grain; arrays of shape (n,), percent wet basis."""

    one: FloatArray
    other: FloatArray
    crop: np.ndarray[Any, Any]


def compare_meters(
    access: Access,
    *,
    season: int,
    one: UUID,
    other: UUID,
    crop: str = "",
    within_min: int = WITHIN_MIN,
    variance_ratio: float = 1.0,
) -> dict[str, Any]:
    """One meter less the other, over the samples of a harvest year that both tested."""
    if one == other:
        raise invalid("/other", "same_meter", "A meter is not compared with itself.")
    meters = [get(access, Meter, each) for each in (one, other)]
    tests, others = (_tests(access, season, crop, meter) for meter in meters)
    pairs = _nearest(tests, others, within_min * 60)
    told = _report(pairs, variance_ratio)
    return told | {"pairing": PAIRING.format(within=within_min), "one": meters[0].name, "other": meters[1].name}


def compare_with_buyer(
    access: Access, *, season: int, one: UUID, buyer: str, crop: str = "", variance_ratio: float = 1.0
) -> dict[str, Any]:
    """The meter's tests of deliveries less what the buyer's tickets state."""
    meter = get(access, Meter, one)
    tickets = Ticket.objects.visible_to(access).filter(Ticket.of_season(season), buyer=buyer)
    samples = Sample.objects.visible_to(access).filter(meter=meter, ticket__in=_of_crop(tickets, crop))
    rows = (
        samples.exclude(stage=Sample.Stage.HOT)
        .order_by("ticket_id")
        .values_list("ticket__crop", "ticket__moisture_pct")
        .annotate(mean=Avg("moisture_pct"))
        .values_list("ticket__crop", "ticket__moisture_pct", "mean", "ticket_id")[:MOST_TESTS]
    )
    crops, stated, own, _ = zip(*rows, strict=True) if rows else ((), (), (), ())
    pairs = Pairs(np.array(own, dtype=float), np.array(stated, dtype=float), np.array(crops, dtype=str))
    return _report(pairs, variance_ratio) | {"pairing": PAIRING_WITH_TICKETS, "one": meter.name, "other": buyer}


class _Test(NamedTuple):
    grain: tuple[Any, ...]
    taken_at: datetime
    moisture_pct: float
    crop: str


_TEST = ("batch_id", "bin_id", "ticket_id", "stage", "taken_at", "moisture_pct", "batch__crop", "ticket__crop")


def _tests(access: Access, season: int, crop: str, meter: Meter) -> list[_Test]:
    batches = Batch.objects.visible_to(access).filter(season=season)
    tickets = Ticket.objects.visible_to(access).filter(Ticket.of_season(season))
    of = Q(batch__in=_of_crop(batches, crop)) | Q(ticket__in=_of_crop(tickets, crop))
    if not crop:
        # What stands in a bin has no crop of its own, and the season in which it was tested.
        begins, ends = (datetime(year, FIRST_MONTH_OF_A_SEASON, 1, tzinfo=UTC) for year in (season, season + 1))
        of |= Q(bin__isnull=False, taken_at__gte=begins, taken_at__lt=ends)
    rows = Sample.objects.visible_to(access).filter(of, meter=meter).exclude(stage=Sample.Stage.HOT)
    found = rows.order_by("taken_at", "pk").values_list(*_TEST)[:MOST_TESTS]
    return [
        _Test((batch, bin_, ticket, stage), at, moisture, of_batch or of_ticket or "")
        for batch, bin_, ticket, stage, at, moisture, of_batch, of_ticket in found
    ]


def _of_crop(rows: QuerySet[Any], crop: str) -> QuerySet[Any]:
    return rows.filter(crop=crop) if crop else rows


def _nearest(one: Sequence[_Test], other: Sequence[_Test], within_s: float) -> Pairs:
    """Tests that are each other's nearest in time among those of the same grain."""
    if not (one and other):
        empty = np.zeros(0)
        return Pairs(empty, empty, np.zeros(0, dtype=str))
    grain = {key: place for place, key in enumerate(sorted({test.grain for test in (*one, *other)}, key=str))}
    first, second = (_placed(rows, grain) for rows in (one, other))
    there, back = _closest(first, second, within_s), _closest(second, first, within_s)
    mutual = (there >= 0) & (back[np.maximum(there, 0)] == np.arange(len(there)))
    mine = np.flatnonzero(mutual)
    moistures = [np.array([test.moisture_pct for test in tests]) for tests in (one, other)]
    crops = np.array([test.crop for test in one], dtype=str)
    return Pairs(moistures[0][mine], moistures[1][there[mine]], crops[mine])


def _placed(tests: Sequence[_Test], grain: dict[Any, int]) -> tuple[IntArray, FloatArray]:
    places = np.array([grain[test.grain] for test in tests])
    return places, np.array([test.taken_at.timestamp() for test in tests])


def _closest(of: tuple[IntArray, FloatArray], among: tuple[IntArray, FloatArray], within_s: float) -> IntArray:
    """For each test the place of the nearest in time of the same grain, -1 where there is none."""
    order = np.lexsort((among[1], among[0]))
    # One whole number that orders by grain and then by the second; seconds stay below the distance of two grains.
    keys, wanted = ((grain << 34) + seconds.astype(np.int64) for grain, seconds in (among, of))
    keys = keys[order]
    after = np.searchsorted(keys, wanted)
    best = np.full(len(wanted), -1)
    distance = np.full(len(wanted), np.inf)
    for candidate in (after - 1, after):
        inside = (candidate >= 0) & (candidate < len(keys))
        place = order[np.clip(candidate, 0, len(keys) - 1)]
        same = inside & (among[0][place] == of[0])
        gap = np.where(same, np.abs(among[1][place] - of[1]), np.inf)
        nearer = (gap <= within_s) & (gap < distance)
        best, distance = np.where(nearer, place, best), np.where(nearer, gap, distance)
    return best


def _report(pairs: Pairs, variance_ratio: float) -> dict[str, Any]:
    level = 0.5 * (pairs.one + pairs.other)
    band = moisture_band(level, BANDS_PCT)
    groups = len(BAND_NAMES)
    difference = pairs.one - pairs.other
    # All of them as one more group behind the bands.
    both = np.concatenate([difference, difference])
    group = np.concatenate([band, np.full(len(band), groups)])
    of = paired_differences(both, group, groups + 1, 1.0 - ALPHA)
    levels = np.bincount(group, np.concatenate([level, level]), groups + 1) / np.maximum(of.pairs, 1)
    tolerances = meter_tolerance_pct(pairs.crop, level) if len(level) else level
    # Of a band with several crops the strictest.
    tolerance = np.full(groups + 1, np.inf)
    np.fmin.at(tolerance, group, np.concatenate([tolerances, tolerances]))
    rows = statistics([*BAND_NAMES, ALL], of, np.where(np.isinf(tolerance), np.nan, tolerance), levels)
    line = deming_line(pairs.other, pairs.one, variance_ratio, np.zeros(len(level), dtype=int), 1)
    return {
        "pairs": len(level),
        "all": rows[-1],
        "bands": [row for row in rows[:-1] if row["pairs"]],
        "line": {
            "slope": _told(line.slope[0]),
            "intercept_pct": _told(line.intercept[0]),
            "variance_ratio": variance_ratio,
            "from_pct": _told(line.lowest_x[0]),
            "to_pct": _told(line.highest_x[0]),
        },
    }


def _told(value: float) -> float | None:
    return round(float(value), 6) if np.isfinite(value) else None
