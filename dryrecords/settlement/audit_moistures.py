"""Ticket moistures against our own samples of the same loads: disagreements, and the bias of the buyer's meter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import models
from numpy.typing import NDArray

from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.comparison import (
    Differences,
    equivalence,
    limits_of_agreement,
    moisture_band,
    smallest_detectable,
)
from dryrecords.grain.crops import meter_tolerance_pct
from dryrecords.grain.sampling import UNNAMED_METER, combine_moisture
from dryrecords.grain.student import student_value
from dryrecords.grain.uncertainty import SINGLE_SAMPLE_U_PCT, meter_bias_u_pct
from dryrecords.harvest.models import Sample
from dryrecords.settlement.audit_rows import TicketRows, raw_of
from dryrecords.settlement.audit_tally import Sums, Tally, differences
from dryrecords.tenancy.access import Access

# Expanded uncertainty: twice the combined standard one, about 95 % (JCGM 100:2008 section 6.3.3).
COVERAGE = 2.0
# One meter test varies by 2.5 % of the moisture (Hurburgh, Hazen & Bern 1985, at 15.5 %); never less than it is there.
_SCATTER = 0.025
# Meters spread the more the wetter the grain (same source), so moistures are also told in bands.
BANDS_PCT = np.array([15.0, 20.0, 25.0])
BAND_NAMES = ("below 15 %", "15 to 20 %", "20 to 25 %", "25 % and above")
ALL = "all"
# Of moistures, in whole numbers of this many to a point.
SCALE = 10_000
# A bias is told of only where chance would show as much in one audit of a hundred.
ALPHA = 0.01
FEWEST_PAIRS = 10


@dataclass(frozen=True)
class OwnMoistures:
    """Of the tickets that have samples of ours, by their places among the rows."""

    place: NDArray[np.int64]
    ticket_pct: FloatArray
    own_pct: FloatArray
    expanded_u_pct: FloatArray

    @property
    def disagree(self) -> NDArray[np.bool_]:
        return np.abs(self.ticket_pct - self.own_pct) > self.expanded_u_pct


def scatter_pct(moisture_pct: FloatArray) -> FloatArray:
    """Standard deviation of single meter tests of one lot of grain (any shape). [points]"""
    return np.maximum(SINGLE_SAMPLE_U_PCT, _SCATTER * moisture_pct)


def samples_of(access: Access, tickets: models.QuerySet[Any], rows: TicketRows) -> list[tuple[Any, ...]]:
    """Our samples of the tickets. A hot sample reads low, so it says nothing against a buyer."""
    return list(
        Sample.objects.visible_to(access)
        .filter(ticket__in=tickets.filter(delivered_at__range=(rows.delivered_at(0), rows.delivered_at(-1))))
        .exclude(stage=Sample.Stage.HOT)
        .order_by("pk")
        .values_list("ticket_id", "moisture_pct", "meter_id", "meter__standard_uncertainty_pct")
    )


def own_moistures(crop: str, rows: TicketRows, samples: list[tuple[Any, ...]], tally: Tally) -> OwnMoistures:
    """Mean of our samples of each ticket, the expanded uncertainty of both measurements; their sums into the tally."""
    ids, own, meters, own_u = zip(*samples, strict=True)
    order = np.argsort(rows.id)
    raw = raw_of(list(ids))
    nearest = order[np.minimum(np.searchsorted(rows.id, raw, sorter=order), rows.count - 1)]
    there = rows.id[nearest] == raw
    moisture = np.array(own, dtype=float)[there]
    default_u = meter_bias_u_pct(np.full(moisture.shape, crop), moisture)
    meter_u = np.array([np.nan if u is None else u for u in own_u])[there]
    meter_u = np.where(np.isnan(meter_u), default_u, meter_u)
    names = [str(each) if each else "" for each, kept in zip(meters, there, strict=True) if kept]
    known = sorted(set(names) - {""})
    index = np.array([known.index(name) if name else UNNAMED_METER for name in names], dtype=np.int64)
    place, batch = np.unique(nearest[there], return_inverse=True)
    means = combine_moisture(moisture, np.ones_like(moisture), index, meter_u, batch, len(place))
    ticket = rows.moisture_pct[place] / 1000.0
    shared_u2 = means.moisture_u_pct**2 - means.random_u_pct**2
    random_u = np.maximum(means.random_u_pct, scatter_pct(means.moisture_pct) / np.sqrt(means.samples))
    bias_u = meter_bias_u_pct(np.full(ticket.shape, crop), ticket)
    combined = np.sqrt(shared_u2 + random_u**2 + bias_u**2 + scatter_pct(ticket) ** 2)
    _add(tally, ticket, means.moisture_pct, names, meter_u)
    return OwnMoistures(place, ticket, means.moisture_pct, COVERAGE * combined)


def _add(tally: Tally, ticket: FloatArray, own: FloatArray, meters: list[str], meter_u: FloatArray) -> None:
    difference, level = (np.rint(each * SCALE).astype(np.int64) for each in (ticket - own, ticket))
    band = moisture_band(ticket, BANDS_PCT)
    for number, name in enumerate((*BAND_NAMES, ALL)):
        here = band == number if name != ALL else np.ones(len(band), bool)
        tally.add_sums("moistures", name, difference[here])
        tally.count("moisture_levels", {name: int(level[here].sum())})
    named = np.array(meters)
    for meter in set(meters):
        used = named == meter
        tally.count("meter_tests", {meter: int(used.sum())})
        tally.count("meter_u", {meter: int(np.rint(meter_u[used] * SCALE).sum())})


def own_meters_u_pct(tally: Tally) -> float:
    """What the bias of our own meters may add to the mean of all pairs: of each its share, each on its own."""
    tests = sum(tally["meter_tests"].values())
    return float(np.sqrt(sum((u / SCALE / tests) ** 2 for u in tally["meter_u"].values()))) if tests else 0.0


def bias_figures(crop: str, tally: Tally) -> list[dict[str, Any]]:
    """The statistics of the ticket moistures less ours, of all pairs and of each band that has some."""
    names = [ALL, *(name for name in BAND_NAMES if tally.sums("moistures", name).count)]
    sums = [tally.sums("moistures", name) for name in names]
    of = differences(sums, SCALE, 1.0 - ALPHA)
    level = np.array(
        [tally.of("moisture_levels", n) / SCALE / max(s.count, 1) for n, s in zip(names, sums, strict=True)]
    )
    return statistics(names, of, meter_tolerance_pct(np.full(level.shape, crop), level), level)


def statistics(names: list[str], of: Differences, tolerance: FloatArray, level: FloatArray) -> list[dict[str, Any]]:
    """Bias, limits of agreement, tests against the tolerance, what so many pairs could show; a row for each group."""
    limits, tested = limits_of_agreement(of), equivalence(of, tolerance)
    detectable = smallest_detectable(of.sd, of.pairs, ALPHA)
    return [
        {
            "of": name,
            "pairs": int(of.pairs[i]),
            "mean_moisture_pct": _told(level[i]),
            "bias_pct": _told(of.mean[i]),
            "standard_deviation_pct": _told(of.sd[i]),
            "bias_from_pct": _told(of.low[i]),
            "bias_to_pct": _told(of.high[i]),
            "confidence": 1.0 - ALPHA,
            "p": _told(of.p[i], 6),
            "limits_of_agreement_pct": [_told(limits.low[i]), _told(limits.high[i])],
            "lower_limit_from_to_pct": [_told(limits.low_from[i]), _told(limits.low_to[i])],
            "upper_limit_from_to_pct": [_told(limits.high_from[i]), _told(limits.high_to[i])],
            "tolerance_pct": _told(tolerance[i]),
            "equivalence_p": _told(tested.p[i], 6),
            "verdict": verdict(bool(tested.equivalent[i]), bool(tested.beyond[i])),
            "smallest_detectable_bias_pct": _told(detectable[i]),
            "power": 0.8,
        }
        for i, name in enumerate(names)
    ]


def verdict(within: bool, beyond: bool) -> str:
    return "within_tolerance" if within else "beyond_tolerance" if beyond else "not_shown"


def shown_bias(tally: Tally) -> bool:
    """Whether the mean difference is more than chance and our own meters' bias together would explain."""
    sums: Sums = tally.sums("moistures", ALL)
    if sums.count < FEWEST_PAIRS:
        return False
    return bool(beyond_chance(differences([sums], SCALE, 1.0 - ALPHA), own_meters_u_pct(tally))[0])


def beyond_chance(of: Differences, own_u_pct: float) -> NDArray[np.bool_]:
    reach = student_value(1.0 - 0.5 * ALPHA, of.degrees)
    return np.asarray(np.abs(of.mean) > reach * np.hypot(of.standard_error, own_u_pct))


def _told(value: float, digits: int = 4) -> float | None:
    return None if np.isnan(value) else round(float(value), digits)
