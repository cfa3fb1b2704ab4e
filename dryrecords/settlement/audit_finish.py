"""The end of an audit: what shows only over all tickets together. Duplicates, biases, departures from statutes."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from django.db import models
from django.db.models import Count, Q

from dryrecords.grain.comparison import Differences
from dryrecords.settlement.audit_lines import KINDS, SCALE
from dryrecords.settlement.audit_model import Audit, Finding
from dryrecords.settlement.audit_moistures import ALL, bias_figures, own_meters_u_pct, shown_bias
from dryrecords.settlement.audit_rows import STATED
from dryrecords.settlement.audit_tally import Tally, differences
from dryrecords.settlement.audit_turn import UNITS

# Five lines are looked at in every audit, so each has to be far beyond chance; and a few slips are no habit.
ALPHA = 0.001
FEWEST_ROUNDED_OTHERWISE = 20
_SAME_LOAD = ("delivered_at", "gross_lb", "tare_lb")
_TICKET = ("pk", "number", "delivered_at", "gross_lb", "tare_lb", f"stated_{STATED[-1]}")
VERDICTS = {
    "within_tolerance": "shown to lie within the tolerance of a meter in service",
    "beyond_tolerance": "shown to lie beyond the tolerance of a meter in service",
    "not_shown": "not shown to lie within the tolerance of a meter in service, nor beyond it",
}


def duplicates(tickets: models.QuerySet[Any]) -> Iterator[dict[str, Any]]:
    """Every ticket that has the number of an earlier one, or its weights and time."""
    first_number: dict[str, Any] = {}
    first_load: dict[Any, Any] = {}
    for ticket_id, number, moment, *weights, amount in _suspects(tickets):
        earlier = {
            "the number": first_number.setdefault(number, (ticket_id, number, moment)),
            "weights and time": first_load.setdefault((moment, *weights), (ticket_id, number, moment)),
        }
        told = [
            f"{what} of ticket {other} of {at:%Y-%m-%d %H:%M} UTC"
            for what, (other_id, other, at) in earlier.items()
            if other_id != ticket_id
        ]
        if told:
            rule = f"has {' and '.join(told)}"
            yield {"ticket_id": ticket_id, "number": number, "delivered_at": moment, "rule": rule, "stated": amount}


def _suspects(tickets: models.QuerySet[Any]) -> list[tuple[Any, ...]]:
    """In the order of their delivery. Asked in steps: as one query it takes hours where the planner guesses wrong."""
    numbers, moments = _more_than_once(tickets, "number"), _more_than_once(tickets, *_SAME_LOAD)
    if not (numbers or moments):
        return []
    twins = tickets.filter(Q(number__in=numbers) | Q(delivered_at__in=moments))
    return list(twins.order_by("delivered_at", "pk").values_list(*_TICKET))


def _more_than_once(tickets: models.QuerySet[Any], *names: str) -> list[Any]:
    """The first of the columns, where all of them together occur more than once."""
    groups = tickets.order_by().values(*names).annotate(count=Count("pk"))
    return list(groups.filter(count__gt=1).values_list(names[0], flat=True))


def rounding_figures(tally: Tally) -> list[dict[str, Any]]:
    """Of each line: what it is off by in the mean, over tickets that are off by their rounding alone or not at all."""
    sums = [tally.sums("rounding", kind) for kind in KINDS]
    of = differences(sums, SCALE, 1.0 - ALPHA)
    return [
        {
            "line": kind,
            "unit": UNITS[kind],
            "tickets": sums[i].count,
            "rounded_otherwise": tally.of("rounded_otherwise", kind),
            "total": f"{sums[i].total / SCALE:.4f}",
            "mean": _told(of.mean[i]),
            "mean_from": _told(of.low[i]),
            "mean_to": _told(of.high[i]),
            "confidence": 1.0 - ALPHA,
            "shown": _shown(of, i, tally.of("rounded_otherwise", kind)),
        }
        for i, kind in enumerate(KINDS)
        if sums[i].count
    ]


def _shown(of: Differences, i: int, rounded_otherwise: int) -> bool:
    one_way = of.low[i] > 0 or of.high[i] < 0
    return bool(rounded_otherwise >= FEWEST_ROUNDED_OTHERWISE and one_way)


def rounding_biases(tally: Tally) -> Iterator[dict[str, Any]]:
    for figures in rounding_figures(tally):
        if figures["shown"]:
            line, unit = str(figures["line"]).replace("_", " "), figures["unit"]
            yield {
                "kind": Finding.Kind.ROUNDING_BIAS,
                "unit": unit,
                "expected": 0,
                "stated": figures["mean"],
                "rule": (
                    f"{figures['rounded_otherwise']} of {figures['tickets']} tickets state the {line} within one step, "
                    f"but rounded otherwise; in the mean {figures['mean']:+.6f} {unit} a ticket "
                    f"({100 * (1 - ALPHA):g} % interval {figures['mean_from']:+.6f} to {figures['mean_to']:+.6f}), "
                    f"{figures['total']} in all"
                ),
                "figures": figures,
            }


def meter_bias(crop: str, tally: Tally) -> Iterator[dict[str, Any]]:
    if not shown_bias(tally):
        return
    figures = bias_figures(crop, tally)
    whole = next(each for each in figures if each["of"] == ALL)
    yield {
        "kind": Finding.Kind.METER_BIAS,
        "unit": "pct",
        "expected": 0,
        "stated": whole["bias_pct"],
        "rule": (
            f"over {whole['pairs']} loads the tickets' moistures lie {whole['bias_pct']:+.2f} points from our own "
            f"samples (99 % interval {whole['bias_from_pct']:+.2f} to {whole['bias_to_pct']:+.2f}; the bias of our own "
            f"meters, standard uncertainty {own_meters_u_pct(tally):.2f}, is allowed for); "
            f"{VERDICTS[whole['verdict']]}, {whole['tolerance_pct']:.2f} points"
        ),
        "figures": {"groups": figures, "own_meters_u_pct": round(own_meters_u_pct(tally), 4)},
    }


def already_found(audit: Audit, ticket_ids: list[Any]) -> set[Any]:
    return set(Finding.objects.filter(audit=audit, ticket_id__in=ticket_ids).values_list("ticket_id", flat=True))


def _told(value: float) -> float | None:
    return None if np.isnan(value) else round(float(value), 8)
