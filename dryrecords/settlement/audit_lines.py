"""Compares what tickets state with what the schedule makes of them, and tells causes from what only follows.

Bushels and money are whole numbers in ten thousandths throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from dryrecords.settlement import bounds
from dryrecords.settlement.audit_rows import MISSING, STATED
from dryrecords.settlement.fixed_point import SCALES, Many
from dryrecords.settlement.terms import Rounding, Rules
from dryrecords.settlement.whole import Integers, round_product, round_signed

Truths = NDArray[np.bool_]

SCALE = 10_000
NET, SHRINK, DISCOUNT, DRYING, AMOUNT = KINDS = ("net_bushels", "shrink", "discount", "drying_charge", "amount")
LINE_OF = dict(zip(KINDS, STATED, strict=True))
NONE = ""
_TO_SCALE = {name: SCALE // SCALES[name] for name in STATED}


@dataclass(frozen=True)
class Expected:
    """What the schedule makes of n tickets."""

    lines: dict[str, Integers]
    wet_bu: Integers
    moisture_used_pct: Integers  # [1/1000 %]
    gross_usd: Integers
    shrink_pct: Integers  # [1e-6 %]
    discount_usd_bu: Integers  # [1e-6 USD]
    drying_usd_bu: Integers
    rejected: Truths

    def __getitem__(self, kind: str) -> Integers:
        return self.lines[LINE_OF[kind]]

    def only(self, rows: Integers) -> Expected:
        lines = {name: each[rows] for name, each in self.lines.items()}
        others = {each.name: getattr(self, each.name)[rows] for each in fields(self) if each.name != "lines"}
        return Expected(lines, **others)


def expected_of(many: Many) -> Expected:
    return Expected(
        {name: getattr(many, name) * _TO_SCALE[name] for name in STATED},
        many.wet_bu,
        many.moisture_used_pct,
        many.gross_usd * (SCALE // SCALES["gross_usd"]),
        many.shrink_pct,
        many.moisture_discount_usd_bu,
        many.drying_charge_usd_bu,
        many.rejected,
    )


@dataclass(frozen=True)
class Compared:
    """Of n tickets: which lines are off, of what each is only a consequence, what it makes of the amount."""

    stated: dict[str, Integers]
    comparable: dict[str, Truths]
    off: dict[str, Truths]
    cause: dict[str, NDArray[np.str_]]  # NONE where the line is itself the cause
    effect: dict[str, Integers]  # 0 for what only follows
    rounding: Truths  # every cause is within one step of its own rounding

    def unite(self, rows: Integers) -> None:
        """Of these rows all causes but the first become its consequences, and it takes what they make of the amount."""
        first = np.full(len(rows), NONE, dtype="U16")
        for kind in KINDS:
            is_cause = self.off[kind][rows] & (self.cause[kind][rows] == NONE)
            later = rows[is_cause & (first != NONE)]
            self.cause[kind][later] = first[is_cause & (first != NONE)]
            first[is_cause & (first == NONE)] = kind
            for earlier in KINDS:
                those = later[self.cause[kind][later] == earlier]
                self.effect[earlier][those] += self.effect[kind][those]
            self.effect[kind][later] = 0


def increments(rules: Rules) -> dict[str, int]:
    """One step of each line's own rounding."""
    bu, usd = (int(each.step * SCALE) for each in (rules.rounding.bu, rules.rounding.usd))
    return {NET: bu, SHRINK: bu, DISCOUNT: usd, DRYING: usd, AMOUNT: usd}


def comparable_lines(rules: Rules, stated: dict[str, Integers], price: Integers, sold: Truths) -> dict[str, Truths]:
    """Of each kind of line: which tickets state it, with all that it takes to say what it should be."""
    has = {kind: stated[LINE_OF[kind]] != MISSING for kind in KINDS}
    unpriced = price == MISSING
    has[DISCOUNT] &= ~(unpriced & rules.needs_price)
    has[AMOUNT] &= ~(unpriced & (sold | rules.needs_price))
    return has


def any_off(expected: Expected, stated: dict[str, Integers], comparable: dict[str, Truths]) -> Truths:
    return np.logical_or.reduce([comparable[kind] & (stated[LINE_OF[kind]] != expected[kind]) for kind in KINDS])


def compare(rules: Rules, expected: Expected, stated: dict[str, Integers], price: Integers, sold: Truths) -> Compared:
    """Every stated line of tickets of one schedule against what that schedule makes of them."""
    has, unpriced = comparable_lines(rules, stated, price, sold), price == MISSING
    said = {kind: np.where(has[kind], stated[LINE_OF[kind]], expected[kind]) for kind in KINDS}
    off = {kind: said[kind] != expected[kind] for kind in KINDS}
    work = _Work(rules, expected, said, has, off, np.where(unpriced, 0, price))
    cause, effect = work.causes_and_effects()
    rejected = expected.rejected
    if rejected.any():
        _of_rejected(rejected, off, said, cause, effect)
    small = np.ones(len(price), bool)
    steps = increments(rules)
    for kind in KINDS:
        small &= ~off[kind] | (cause[kind] != NONE) | (np.abs(said[kind] - expected[kind]) <= steps[kind])
    return Compared(said, has, off, cause, effect, small & ~rejected)


def _of_rejected(rejected: Truths, off: dict, said: dict, cause: dict, effect: dict) -> None:
    """A load that the schedule does not buy: one cause, the amount if there is one."""
    root = np.full(len(rejected), NONE, dtype="U16")
    for kind in reversed((AMOUNT, NET, SHRINK, DISCOUNT, DRYING)):
        root = np.where(off[kind], kind, root)
    for kind in KINDS:
        cause[kind] = np.where(rejected, np.where(root == kind, NONE, root), cause[kind])
        effect[kind] = np.where(rejected, np.where((kind == AMOUNT) & off[kind], said[kind], 0), effect[kind])


@dataclass(frozen=True)
class _Work:
    rules: Rules
    expected: Expected
    said: dict[str, Integers]
    has: dict[str, Truths]
    off: dict[str, Truths]
    price: Integers

    def causes_and_effects(self) -> tuple[dict[str, NDArray[np.str_]], dict[str, Integers]]:
        e, said, has, off, to = self.expected, self.said, self.has, self.off, self.rules.rounding
        # What the ticket itself goes on with, right or wrong.
        net = np.where(has[NET], said[NET], np.where(has[SHRINK], e.wet_bu - said[SHRINK], e[NET]))
        wet = np.where(off[NET] & has[SHRINK], said[NET] + said[SHRINK], e.wet_bu)
        other_wet = wet != e.wet_bu
        bushels = np.where(off[NET] & (other_wet | ~has[SHRINK]), NET, SHRINK)
        bu = int(to.bu.step * SCALE)
        shrunk = round_signed(wet * e.shrink_pct, 100 * bounds.SHRINK_PCT.scale * bu, to.bu.mode) * bu

        dried = net if self.rules.drying_charge and self.rules.drying_charge.on == "net_bu" else wet
        discount, drying = self._usd(net, e.discount_usd_bu), self._usd(dried, e.drying_usd_bu)
        amount = self._usd(net, self.price)
        amount -= np.where(has[DISCOUNT], said[DISCOUNT], discount)
        amount -= np.where(has[DRYING], said[DRYING], drying)

        bushels_off = off[NET] | off[SHRINK]
        discount_off = off[DISCOUNT] & (said[DISCOUNT] != discount)
        drying_off = off[DRYING] & (said[DRYING] != drying)
        first = np.where(discount_off, DISCOUNT, np.where(drying_off, DRYING, NONE))
        first = np.where(bushels_off, bushels, first)
        amount_follows = (first != NONE) & (np.abs(said[AMOUNT] - amount) <= int(to.usd.step * SCALE))
        cause = {
            NET: np.where(off[SHRINK] & ~other_wet, SHRINK, NONE),
            SHRINK: np.where(other_wet & (said[SHRINK] == shrunk), NET, NONE),
            DISCOUNT: np.where(discount_off, NONE, bushels),
            DRYING: np.where(drying_off, NONE, bushels),
            AMOUNT: np.where(amount_follows, first, NONE),
        }
        # An amount that is right makes nothing of lines that are not.
        paid = np.where(has[AMOUNT], said[AMOUNT], amount)
        parts = {
            DISCOUNT: -np.where(discount_off, said[DISCOUNT] - e[DISCOUNT], 0),
            DRYING: -np.where(drying_off, said[DRYING] - e[DRYING], 0),
            AMOUNT: np.where(amount_follows, 0, paid - amount),
        }
        rest = paid - e[AMOUNT] - sum(parts.values())
        effect = {kind: parts.get(kind, 0) + np.where(first == kind, rest, 0) for kind in KINDS}
        counts = ~has[AMOUNT] | off[AMOUNT]
        return cause, {kind: np.where(counts, each, 0) for kind, each in effect.items()}

    def _usd(self, bushels: Integers, rate: Integers) -> Integers:
        """Bushels times a rate [1e-6 USD], as the schedule rounds money."""
        to: Rounding = self.rules.rounding.usd
        step = int(to.step * Decimal(SCALE))
        divisor = bounds.USD_BU.scale * step
        return np.sign(bushels) * round_product(np.abs(bushels), rate, divisor, to.mode) * step
