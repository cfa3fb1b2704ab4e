"""What adds up over the tickets of an audit, in whole numbers: a restart goes on with it, in any number of turns.

It is JSON in the audit's row, written in the transaction of the findings it counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from dryrecords.grain.comparison import Differences, differences_of
from dryrecords.settlement.audit_lines import SCALE, Truths
from dryrecords.settlement.whole import Integers


@dataclass
class Sums:
    """Of whole numbers: how many, their sum, the sum of their squares; exact, whatever the order.

    Those added at a time are below a million each, so that the squares of a turn fit into 63 bits.
    """

    count: int = 0
    total: int = 0
    squares: int = 0

    def add(self, values: Integers) -> None:
        self.count += len(values)
        self.total += int(values.sum())
        self.squares += int(np.dot(values, values))


def differences(sums: list[Sums], scale: int, confidence: float) -> Differences:
    """A group for each, in units of the scale."""
    deviations = [
        (each.squares - each.total * each.total / each.count) / scale**2 if each.count else 0.0 for each in sums
    ]
    means = [each.total / each.count / scale if each.count else np.nan for each in sums]
    pairs = np.array([each.count for each in sums], dtype=np.int64)
    return differences_of(pairs, np.array(means), np.maximum(deviations, 0.0), confidence)


class Tally:
    """The JSON of an audit as something to add to."""

    def __init__(self, kept: dict[str, Any]) -> None:
        self._kept = kept

    def __getitem__(self, name: str) -> dict[str, Any]:
        part: dict[str, Any] = self._kept.setdefault(name, {})
        return part

    def json(self) -> dict[str, Any]:
        return self._kept

    def count(self, part: str, counts: dict[str, int]) -> None:
        """Into a part: so many of each."""
        there = self[part]
        for name, number in counts.items():
            if number:
                there[name] = there.get(name, 0) + int(number)

    def of(self, *path: str) -> int:
        here: Any = self._kept
        for name in path:
            here = here.get(name, {})
        return here or 0

    def sums(self, part: str, name: str) -> Sums:
        return Sums(*self[part].get(name, (0, 0, 0)))

    def add_sums(self, part: str, name: str, values: Integers) -> None:
        sums = self.sums(part, name)
        sums.add(values)
        self[part][name] = [sums.count, sums.total, sums.squares]

    def add_zeros(self, part: str, name: str, number: int) -> None:
        sums = self.sums(part, name)
        self[part][name] = [sums.count + number, sums.total, sums.squares]

    def kind(self, kind: str, *, causes: int, consequences: int = 0, effect: Integers | None = None) -> None:
        effect = np.zeros(0, np.int64) if effect is None else effect
        self._add("kinds", kind, (causes, consequences, *_for_and_against(effect)))

    def months(self, month: Integers, with_findings: Truths, effect: Integers) -> None:
        """Of tickets: the month of each as months since 1970, whether anything was found, money made of it."""
        for each in np.unique(month):
            here = month == each
            found = int(with_findings[here].sum())
            name = str(np.datetime64(int(each), "M"))
            self._add("months", name, (int(here.sum()), found, *_for_and_against(effect[here])))

    def found_late(self, delivered: Iterable[datetime]) -> None:
        """Tickets, by their moments in UTC, of which something was found only after they were counted."""
        for moment in delivered:
            self._add("months", f"{moment:%Y-%m}", (0, 1, 0, 0))

    def _add(self, part: str, name: str, numbers: tuple[int, ...]) -> None:
        before = self[part].get(name, [0] * len(numbers))
        self[part][name] = [one + int(other) for one, other in zip(before, numbers, strict=True)]


def _for_and_against(effect: Integers) -> tuple[int, int]:
    return int(effect[effect > 0].sum()), int(effect[effect < 0].sum())


def usd(whole: int) -> str:
    """Ten thousandths of a dollar as text; exact, cents at least."""
    sign, whole = "-" if whole < 0 else "", abs(whole)
    dollars, rest = divmod(whole, SCALE)
    digits = f"{rest:04}"
    return f"{sign}{dollars}.{digits[:2]}{digits[2:].rstrip('0')}"
