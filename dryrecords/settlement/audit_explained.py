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
ENOUGH_OFF, SHARE_WORTH_TRYING = 2000, 0.02
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
    loads: Loads,
    by: Alternative,
    others: Iterable[Alternative],
    off: Integers,
    compared: Compared,
    tally: Tally,
    key: str,
) -> list[list[str]]:
    """For each ticket that is off the rules that make it come out as it is stated, the most frequent ones first.

    `by` is what was due; `key` is that of its schedule in the tally.
    """
    counts = tally["explained"].setdefault(key, {})
    before = tally.of("off", key)
    texts: list[list[str]] = [[] for _ in off]
    those = loads.only(off)
    for other in others:
        if before >= ENOUGH_OFF and counts.get(other.text, 0) < SHARE_WORTH_TRYING * before:
            continue
        fits = _fits(those.settled(other.rules, other.bushel_lb), compared, off)
        counts[other.text] = counts.get(other.text, 0) + int(fits.sum())
        for i in np.flatnonzero(fits):
            texts[i].append(other.text)
    tally["off"][key] = before + len(off)
    texts = [sorted(each, key=lambda text: -counts[text]) for each in texts]
    unexplained = np.array([not each for each in texts], dtype=bool)
    found = _other_moistures(loads, by, off, unexplained & (_causes(compared, off) > 1), compared)
    for i, moisture in found.items():
        texts[i].append(f"settled at {moisture} % moisture")
    counts[OTHER_MOISTURE] = counts.get(OTHER_MOISTURE, 0) + len(found)
    return texts


def _fits(other: Expected, compared: Compared, rows: Integers) -> Truths:
    fits = np.ones(len(rows), bool)
    for kind in KINDS:
        fits &= ~compared.comparable[kind][rows] | (other[kind] == compared.stated[kind][rows])
    return fits


def _causes(compared: Compared, rows: Integers) -> Integers:
    found = [compared.off[kind][rows] & (compared.cause[kind][rows] == NONE) for kind in KINDS]
    return np.sum(found, axis=0)


def _other_moistures(
    loads: Loads, by: Alternative, off: Integers, wanted: Truths, compared: Compared
) -> dict[int, Decimal]:
    """Several lines off at once may be one moisture got wrong: the nearest by which they all come out."""
    places = np.flatnonzero(wanted)[:MOST_BY_MOISTURE]
    if not len(places):
        return {}
    moisture = np.arange(_DRIEST, _WETTEST + 1, _TENTH, dtype=np.int64)
    rows = off[places]
    again = np.repeat(rows, len(moisture))
    fits = _fits(loads.at(rows, moisture).settled(by.rules, by.bushel_lb), compared, again)
    table = fits.reshape(len(rows), len(moisture))
    distance = np.where(table, np.abs(moisture - loads.moisture[rows][:, None]), _WETTEST)
    nearest = moisture[np.argmin(distance, axis=1)]
    return {
        int(places[i]): Decimal(int(nearest[i])) / bounds.MOISTURE_PCT.scale for i in np.flatnonzero(table.any(axis=1))
    }
