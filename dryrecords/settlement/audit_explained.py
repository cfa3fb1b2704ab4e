"""Which other rule, or which other moisture, makes of tickets that are off just what they state."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from dryrecords.settlement import bounds
from dryrecords.settlement.audit_alternatives import Alternative
from dryrecords.settlement.audit_lines import KINDS, NONE, Compared, Expected, Truths, expected_of
from dryrecords.settlement.audit_rows import MISSING
from dryrecords.settlement.audit_tally import Tally
from dryrecords.settlement.fixed_point import settle_many
from dryrecords.settlement.terms import Rules
from dryrecords.settlement.whole import Integers

# Once so many tickets were off, what explains next to none of them is not tried on the others.
ENOUGH_OFF, SHARE_WORTH_TRYING = 1000, 0.02
OTHER_MOISTURE = "another moisture than the ticket's"
# So many tickets of a turn are tried with every moisture there is, from one to another. [1/1000 %]
MOST_BY_MOISTURE = 500
_DRIEST, _WETTEST, _TENTH = 8_000, 40_000, 100


@dataclass(frozen=True)
class Loads:
    """Tickets as they were weighed and measured, in the units of settle_many; arrays of shape (n,)."""

    gross: Integers
    tare: Integers
    moisture: Integers
    price: Integers  # MISSING where there is none

    def settled(self, rules: Rules, bushel_lb: Decimal) -> Expected:
        return expected_of(
            settle_many(
                rules,
                gross=self.gross,
                tare=self.tare,
                moisture=self.moisture,
                bushel=bounds.BUSHEL_LB.fixed(bushel_lb),
                price=np.where(self.price == MISSING, 0, self.price),
            )
        )

    def only(self, rows: Integers) -> Loads:
        return Loads(self.gross[rows], self.tare[rows], self.moisture[rows], self.price[rows])

    def at(self, rows: Integers, moisture: Integers) -> Loads:
        """Each of these rows at each of the moistures, one row after the other."""
        again = np.repeat(rows, len(moisture))
        return Loads(self.gross[again], self.tare[again], np.tile(moisture, len(rows)), self.price[again])


def explain(
    loads: Loads, due: Alternative, others: Iterable[Alternative], compared: Compared, tally: Tally, key: str
) -> list[list[str]]:
    """For each of n tickets that are off the rules that make it come out as it is stated, the most frequent ones first.

    `key` is that of the schedule that was due, in the tally.
    """
    count = len(loads.gross)
    counts = tally["explained"].setdefault(key, {})
    before = tally.of("off", key)
    texts: list[list[str]] = [[] for _ in range(count)]
    for other in others:
        if before >= ENOUGH_OFF and counts.get(other.text, 0) < SHARE_WORTH_TRYING * before:
            continue
        fits = _fits(loads.settled(other.rules, other.bushel_lb), compared, np.arange(count))
        counts[other.text] = counts.get(other.text, 0) + int(fits.sum())
        for i in np.flatnonzero(fits):
            texts[i].append(other.text)
    tally["off"][key] = before + count
    texts = [sorted(each, key=lambda text: -counts[text]) for each in texts]
    unexplained = np.array([not each for each in texts], dtype=bool)
    found = _other_moistures(loads, due, np.flatnonzero(unexplained & (_causes(compared) > 1)), compared)
    for row, moisture in found.items():
        texts[row].append(f"settled at {moisture} % moisture")
    counts[OTHER_MOISTURE] = counts.get(OTHER_MOISTURE, 0) + len(found)
    return texts


def _fits(other: Expected, compared: Compared, rows: Integers) -> Truths:
    fits = np.ones(len(rows), bool)
    for kind in KINDS:
        fits &= ~compared.comparable[kind][rows] | (other[kind] == compared.stated[kind][rows])
    return fits


def _causes(compared: Compared) -> Integers:
    return np.sum([compared.off[kind] & (compared.cause[kind] == NONE) for kind in KINDS], axis=0)


def _other_moistures(loads: Loads, due: Alternative, rows: Integers, compared: Compared) -> dict[int, Decimal]:
    """Several lines off at once may be one moisture got wrong: the nearest by which they all come out."""
    rows = rows[:MOST_BY_MOISTURE]
    if not len(rows):
        return {}
    moisture = np.arange(_DRIEST, _WETTEST + 1, _TENTH, dtype=np.int64)
    settled = loads.at(rows, moisture).settled(due.rules, due.bushel_lb)
    table = _fits(settled, compared, np.repeat(rows, len(moisture))).reshape(len(rows), len(moisture))
    distance = np.where(table, np.abs(moisture - loads.moisture[rows][:, None]), _WETTEST)
    nearest = moisture[np.argmin(distance, axis=1)]
    found = np.flatnonzero(table.any(axis=1))
    return {int(rows[i]): Decimal(int(nearest[i])) / bounds.MOISTURE_PCT.scale for i in found}
