"""Where a schedule names a jurisdiction: how the shrink that tickets take stands to the law's, over all of them."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import numpy as np

from dryrecords.settlement import bounds
from dryrecords.settlement.audit_lines import SCALE, SHRINK, Expected, increments
from dryrecords.settlement.audit_model import Finding
from dryrecords.settlement.audit_rows import MISSING
from dryrecords.settlement.audit_schedules import AuditSchedule
from dryrecords.settlement.audit_tally import Tally, usd
from dryrecords.settlement.statutes import STATUTES, Departure, departure
from dryrecords.settlement.whole import Integers, round_product

_PCT = bounds.SHRINK_PCT.scale
_MOISTURE = bounds.MOISTURE_PCT.scale


def add_departures(
    tally: Tally, schedule: AuditSchedule, crop: str, expected: Expected, stated: Integers, price: Integers
) -> None:
    """The shrink that is stated, or else due by the schedule, against the law's with the schedule's handling."""
    statute = STATUTES.get(schedule.jurisdiction)
    if statute is None or not statute.covers(crop):
        return
    used, place = np.unique(expected.moisture_used_pct, return_inverse=True)
    by_moisture = [departure(schedule.rules, statute, crop, Decimal(int(each)) / _MOISTURE) for each in used]
    lawful_pct = np.array([_lawful(each) for each in by_moisture], dtype=np.int64)[place]
    lawful = round_product(expected.wet_bu, lawful_pct, 100 * _PCT, "half_up")
    applied = np.where(stated == MISSING, expected[SHRINK], stated)
    # Both may have been rounded: less than two steps apart is no departure.
    tolerance = 2 * increments(schedule.rules)[SHRINK]
    bought = ~expected.rejected
    more, less = bought & (applied - lawful >= tolerance), bought & (lawful - applied >= tolerance)
    differs = more | less
    cost = round_product(np.abs(applied - lawful), np.where(price == MISSING, 0, price), bounds.USD_BU.scale, "half_up")
    cost = np.where(differs, np.sign(lawful - applied) * cost, 0)
    kept = tally["statutes"].setdefault(str(schedule.id), _nothing(schedule, statute.source))
    for name, number in (
        ("tickets", bought.sum()),
        ("take_more", more.sum()),
        ("take_less", less.sum()),
        ("applied", applied[differs].sum()),
        ("lawful", lawful[differs].sum()),
        ("effect", cost.sum()),
    ):
        kept[name] += int(number)
    if differs.any() and not kept["text"]:
        found = by_moisture[place[np.argmax(differs)]]
        kept["text"] = found.text if found else ""


def _nothing(schedule: AuditSchedule, source: str) -> dict[str, Any]:
    numbers = dict.fromkeys(("tickets", "take_more", "take_less", "applied", "lawful", "effect"), 0)
    return {"jurisdiction": schedule.jurisdiction, "source": source, "text": "", **numbers}


def _lawful(found: Departure | None) -> int:
    if found is None:
        return 0
    handling = found.handling_pct - (found.handling_above_pct or 0)
    return int((found.statutory_pct + handling) * _PCT)


def statutory_figures(tally: Tally) -> list[dict[str, Any]]:
    """For each schedule with a jurisdiction, as the summary tells it."""
    return [
        {
            "schedule": schedule_id,
            "jurisdiction": kept["jurisdiction"],
            "source": kept["source"],
            "tickets": kept["tickets"],
            "take_more": kept["take_more"],
            "take_less": kept["take_less"],
            "applied_bu": usd(kept["applied"]),
            "lawful_bu": usd(kept["lawful"]),
            "effect_usd": usd(kept["effect"]),
        }
        for schedule_id, kept in tally["statutes"].items()
    ]


def statutory_departures(tally: Tally) -> Iterator[dict[str, Any]]:
    for schedule_id, kept in tally["statutes"].items():
        if kept["take_more"] or kept["take_less"]:
            yield {
                "kind": Finding.Kind.STATUTORY_SHRINK,
                "schedule_id": schedule_id,
                "unit": "bu",
                "expected": Decimal(kept["lawful"]) / SCALE,
                "stated": Decimal(kept["applied"]) / SCALE,
                "rule": (
                    f"{kept['take_more']} of {kept['tickets']} tickets take more shrink than {kept['jurisdiction']} "
                    f"allows, {kept['take_less']} take less. {kept['text']}"
                ),
                "figures": next(each for each in statutory_figures(tally) if each["schedule"] == schedule_id),
            }
