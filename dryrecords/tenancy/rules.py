"""Reads the check constraints of the tables, so that an edge refuses what the database would refuse, and says more."""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.db.models import CheckConstraint, F, Q

from dryrecords.core.errors import FieldError
from dryrecords.tenancy.records import Record

RANGE = "out_of_range"

# Does it hold for a record, or for whatever has a record's columns as attributes?
Rule = Callable[[Any], bool]

HOLDS = {
    "gte": operator.ge,
    "lte": operator.le,
    "gt": operator.gt,
    "lt": operator.lt,
    "exact": operator.eq,
}


@dataclass(frozen=True)
class Limits:
    """Smallest and largest value, and the value that must be exceeded."""

    low: float | None = None
    high: float | None = None
    above: float | None = None

    def allow(self, value: Any) -> bool:
        return not (
            (self.low is not None and value < self.low)
            or (self.high is not None and value > self.high)
            or (self.above is not None and value <= self.above)
        )

    def __str__(self) -> str:
        least = f"at least {self.low:.9g}" if self.low is not None else ""
        above = f"above {self.above:.9g}" if self.above is not None else ""
        most = f"at most {self.high:.9g}" if self.high is not None else ""
        return " and ".join(filter(None, (least, above, most)))


@cache
def limits_of(model: type[Record], column: str) -> Limits:
    """The range that a table's constraints leave to a column."""
    bounds = {
        name.removeprefix(f"{column}__"): value
        for constraint in _checks(model)
        if constraint.violation_error_code == RANGE
        for name, value in _comparisons(constraint.condition)
        if name.startswith(f"{column}__") and not name.endswith("__isnull")
    }
    return Limits(low=bounds.get("gte"), high=bounds.get("lte"), above=bounds.get("gt"))


def broken_rules(record: Record) -> list[FieldError]:
    """Rules between several columns that an unsaved record breaks. Ranges are the fields' own business."""
    return [refusal for holds, refusal in rules_of(type(record)) if not holds(record)]


def broken_anywhere(record: Record) -> list[FieldError]:
    """Ranges as well, for an edge whose fields know none: every refusal at once, in the constraints' own words."""
    return [refusal for holds, refusal in _ranges_of(type(record)) if not holds(record)] + broken_rules(record)


@cache
def _ranges_of(model: type[Record]) -> tuple[tuple[Rule, FieldError], ...]:
    return tuple(
        (_rule(constraint.condition, model), _refusal(constraint))
        for constraint in _checks(model)
        if constraint.violation_error_code == RANGE
    )


@cache
def rules_of(model: type[Record]) -> tuple[tuple[Rule, FieldError], ...]:
    """The rules between several columns of a table, and what is said of a record that breaks one."""
    return tuple(
        (_rule(constraint.condition, model), _refusal(constraint))
        for constraint in _checks(model)
        if constraint.violation_error_code != RANGE
    )


def _refusal(constraint: CheckConstraint) -> FieldError:
    field, _, detail = str(constraint.violation_error_message).partition("|")
    return FieldError(f"/{field}", constraint.violation_error_code or "invalid", f"{field} {detail}")


def _checks(model: type[Record]) -> Iterator[CheckConstraint]:
    return (each for each in model._meta.constraints if isinstance(each, CheckConstraint))


def _comparisons(condition: Any) -> Iterator[tuple[str, Any]]:
    for child in condition.children:
        if isinstance(child, Q):
            yield from _comparisons(child)
        elif isinstance(child, tuple):
            yield child


def _rule(condition: Any, model: type[Record]) -> Rule:
    """Turned into functions once: walking a condition for each of thousands of rows is slow."""
    parts = [_rule(each, model) if isinstance(each, Q) else _comparison(each, model) for each in condition.children]
    decides, negated = condition.connector == Q.OR, condition.negated

    def holds(record: Any) -> bool:
        for part in parts:
            if part(record) == decides:
                return decides != negated
        return decides == negated

    return holds


def _comparison(comparison: Any, model: type[Record]) -> Rule:
    if not isinstance(comparison, tuple):
        # Written in SQL: only the database can tell.
        return lambda record: True
    name, _, lookup = comparison[0].partition("__")
    value = _column(model, name)
    wanted: Any = comparison[1]
    if lookup == "isnull":
        return lambda record: (value(record) is None) == wanted
    is_column = isinstance(wanted, F)
    other = _column(model, wanted.name) if is_column else lambda record: wanted
    holds = HOLDS[lookup or "exact"]

    def compared(record: Any) -> bool:
        left, right = value(record), other(record)
        return left is not None and right is not None and holds(left, right)

    return compared


def _column(model: type[Record], name: str) -> Callable[[Any], Any]:
    column: Any = model._meta.get_field(name)
    return operator.attrgetter(column.attname)
