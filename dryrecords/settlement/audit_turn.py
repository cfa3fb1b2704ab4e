"""One turn of an audit: some thousand tickets recomputed at once, findings of what is off, sums into the tally."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from uuid import UUID

import numpy as np

from dryrecords.settlement.audit_alternatives import Alternative, alternatives
from dryrecords.settlement.audit_explained import Loads, explain
from dryrecords.settlement.audit_lines import (
    AMOUNT,
    DISCOUNT,
    DRYING,
    KINDS,
    LINE_OF,
    NET,
    NONE,
    SCALE,
    SHRINK,
    Compared,
    Expected,
    Truths,
    any_off,
    comparable_lines,
    compare,
    increments,
)
from dryrecords.settlement.audit_model import Finding
from dryrecords.settlement.audit_moistures import OwnMoistures
from dryrecords.settlement.audit_rows import MISSING, TicketRows, us_of
from dryrecords.settlement.audit_schedules import AuditSchedule
from dryrecords.settlement.audit_statutes import add_departures
from dryrecords.settlement.audit_tally import Tally
from dryrecords.settlement.selectors import bushel_lb
from dryrecords.settlement.whole import Integers

Kind = Finding.Kind
UNITS = {NET: "bu", SHRINK: "bu", DISCOUNT: "usd", DRYING: "usd", AMOUNT: "usd"}
MOST_EXPLANATIONS = 8


@dataclass(slots=True)
class Found:
    """A finding that is about a ticket of this turn, by its place among the rows."""

    place: int
    kind: str
    rule: str
    unit: str = ""
    expected: Decimal | None = None
    stated: Decimal | None = None
    effect_usd: Decimal | None = None
    consequence_of: str = ""
    schedule_id: UUID | None = None
    explanations: list[str] = field(default_factory=list)


class Turn:
    """The tickets of one turn; `found` holds what was found about them, in the order of their delivery."""

    def __init__(self, crop: str, rows: TicketRows, schedules: Sequence[AuditSchedule], tally: Tally) -> None:
        self.crop, self.rows, self.schedules, self.tally = crop, rows, schedules, tally
        self.bushel_lb = bushel_lb(crop)
        self.effect = np.zeros(rows.count, np.int64)
        self.with_findings = np.zeros(rows.count, bool)
        self.found: list[Found] = []

    def examine_lines(self) -> None:
        silent = np.logical_and.reduce([each == MISSING for each in self.rows.stated.values()])
        self.tally.count("not_compared", {"nothing_stated": int(silent.sum())})
        left = np.ones(self.rows.count, bool)
        for schedule in self.schedules:
            mask = left & self._in_force(schedule)
            left &= ~mask
            if mask.any():
                _OfSchedule(self, schedule, np.flatnonzero(mask)).examine()
        for place in np.flatnonzero(left):
            self.found.append(Found(int(place), Kind.NO_SCHEDULE, "no schedule was in force at delivery"))
        self.with_findings |= left
        self.tally.kind(Kind.NO_SCHEDULE, causes=int(left.sum()))

    def examine_moistures(self, own: OwnMoistures) -> None:
        off = np.flatnonzero(own.disagree)
        for i in off:
            ticket, ours = (Decimal(f"{each[i]:.3f}") for each in (own.ticket_pct, own.own_pct))
            rule = (
                f"differs from our own samples by more than the uncertainty of both, {own.expanded_u_pct[i]:.2f} points"
            )
            self.found.append(Found(int(own.place[i]), Kind.MOISTURE_DISAGREEMENT, rule, "pct", ours, ticket))
        self.with_findings[own.place[off]] = True
        self.tally.kind(Kind.MOISTURE_DISAGREEMENT, causes=len(off))

    def close(self) -> None:
        self.found.sort(key=lambda each: each.place)
        months = self.rows.months().astype(np.int64)
        self.tally.months(months, self.with_findings, self.effect)

    def _in_force(self, schedule: AuditSchedule) -> Truths:
        at = self.rows.delivered_us
        mask = at >= us_of(schedule.effective_from)
        if schedule.effective_to is not None:
            mask &= at < us_of(schedule.effective_to)
        return mask & schedule.is_for(self.rows.sold)


class _OfSchedule:
    """Those tickets of a turn for which one schedule was in force; of most of them nothing is left to say."""

    def __init__(self, turn: Turn, schedule: AuditSchedule, places: Integers) -> None:
        self.turn, self.schedule, self.places, self.tally = turn, schedule, places, turn.tally
        rows = turn.rows
        self.stated = {name: each[places] for name, each in rows.stated.items()}
        self.loads = Loads(rows.gross_lb, rows.tare_lb, rows.moisture_pct, rows.price_usd_bu).only(places)
        self.sold = rows.sold[places]

    def examine(self) -> None:
        rules, loads = self.schedule.rules, self.loads
        expected = loads.settled(rules, self.turn.bushel_lb)
        shrink = self.stated[LINE_OF[SHRINK]]
        add_departures(self.tally, self.schedule, self.turn.crop, expected, shrink, loads.price)
        comparable = comparable_lines(rules, self.stated, loads.price, self.sold)
        off = np.flatnonzero(any_off(expected, self.stated, comparable))
        for kind in KINDS:
            self.tally.add_zeros("rounding", kind, int(comparable[kind].sum() - comparable[kind][off].sum()))
        if len(off):
            self._keep(off)
            self._examine_off(expected.only(off))

    def _keep(self, rows: Integers) -> None:
        self.places, self.loads, self.sold = self.places[rows], self.loads.only(rows), self.sold[rows]
        self.stated = {name: each[rows] for name, each in self.stated.items()}

    def _examine_off(self, expected: Expected) -> None:
        compared = compare(self.schedule.rules, expected, self.stated, self.loads.price, self.sold)
        explained = self._explained(compared)
        # One other rule that explains a ticket is one cause, however many lines it shows in.
        compared.unite(np.flatnonzero([bool(texts) for texts in explained]))
        self._count(expected, compared)
        self.turn.found.extend(self._findings(expected, compared, explained))
        self.turn.with_findings[self.places] = True
        self.turn.effect[self.places] += sum(compared.effect.values())

    def _count(self, expected: Expected, compared: Compared) -> None:
        steps = increments(self.schedule.rules)
        for kind in KINDS:
            off, cause = compared.off[kind], compared.cause[kind] == NONE
            effect = compared.effect[kind]
            self.tally.kind(kind, causes=(off & cause).sum(), consequences=(off & ~cause).sum(), effect=effect)
            difference = compared.stated[kind] - expected[kind]
            small = compared.rounding & compared.comparable[kind] & (np.abs(difference) <= steps[kind])
            self.tally.add_sums("rounding", kind, difference[small])
            self.tally.count("rounded_otherwise", {kind: int((small & off).sum())})

    def _explained(self, compared: Compared) -> list[list[str]]:
        due = Alternative("", self.schedule.rules, self.turn.bushel_lb)
        return explain(self.loads, due, self._alternatives(), compared, self.tally, str(self.schedule.id))

    def _alternatives(self) -> list[Alternative]:
        others = [(each.as_an_error(), each.rules) for each in self.turn.schedules if each is not self.schedule]
        return alternatives(self.schedule.rules, self.turn.bushel_lb, others)

    def _findings(self, expected: Expected, compared: Compared, explained: list[list[str]]) -> Iterator[Found]:
        for i, explanations in enumerate(explained):
            for kind in KINDS:
                if compared.off[kind][i]:
                    cause = str(compared.cause[kind][i])
                    yield Found(
                        place=int(self.places[i]),
                        kind=kind,
                        rule=self._rule(kind, i, expected, compared),
                        unit=UNITS[kind],
                        expected=_exact(expected[kind][i]),
                        stated=_exact(compared.stated[kind][i]),
                        effect_usd=_exact(compared.effect[kind][i]),
                        consequence_of=cause,
                        schedule_id=self.schedule.id,
                        explanations=[] if cause else explanations[:MOST_EXPLANATIONS],
                    )

    def _rule(self, kind: str, i: int, expected: Expected, compared: Compared) -> str:
        cause = str(compared.cause[kind][i])
        if cause:
            return f"follows from the {cause.replace('_', ' ')}"
        schedule = f"by the schedule in force from {self.schedule.effective_from:%Y-%m-%d}"
        moisture = _shown(self.loads.moisture[i], 3)
        if expected.rejected[i]:
            return f"{moisture} % is above {self.schedule.rules.reject_above_pct} %: nothing is bought {schedule}"
        lines = expected.lines
        net_bu, wet_bu = _shown(lines["net_bu"][i], 4), _shown(expected.wet_bu[i], 4)
        if kind == SHRINK:
            told = f"{_shown(expected.shrink_pct[i], 6)} % of {wet_bu} wet bushels at {moisture} %"
        elif kind == NET:
            net_lb, shrink = _shown(self.loads.gross[i] - self.loads.tare[i], 2), _shown(lines["shrink_bu"][i], 4)
            told = f"{net_lb} lb at {self.turn.bushel_lb:.2f} lb a bushel, less {shrink} bu of shrink"
        elif kind == DISCOUNT:
            told = f"{_shown(expected.discount_usd_bu[i], 6)} a bushel at {moisture} %, on {net_bu} bu"
        elif kind == DRYING:
            on = self.schedule.rules.drying_charge.on if self.schedule.rules.drying_charge else "wet_bu"
            bushels = f"{net_bu} net" if on == "net_bu" else f"{wet_bu} wet"
            told = f"{_shown(expected.drying_usd_bu[i], 6)} a bushel at {moisture} %, on {bushels} bu"
        else:
            parts = (expected.gross_usd[i], lines[LINE_OF[DISCOUNT]][i], lines[LINE_OF[DRYING]][i])
            told = "{} less {} of discount and {} for drying".format(*(_shown(each, 4) for each in parts))
        small = ", rounded otherwise" if compared.rounding[i] else ""
        return f"{told}, {schedule}{small}"


def _exact(whole: Any) -> Decimal:
    return Decimal(int(whole)) / SCALE


def _shown(whole: Any, places: int) -> str:
    """As a person writes it: cents or hundredths at least, no zeros beyond."""
    sign, digits = "-" if whole < 0 else "", str(abs(int(whole))).rjust(places + 1, "0")
    part = digits[-places:].rstrip("0").ljust(2, "0")
    return f"{sign}{digits[:-places]}.{part}"
