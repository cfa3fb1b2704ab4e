"""Reads the check constraints of the tables, so that the edge refuses what the database would refuse, and says more."""

from __future__ import annotations

import operator
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.db.models import CheckConstraint, F, Q

from dryrecords.core.errors import FieldError
from dryrecords.tenancy.records import Record

RANGE = "out_of_range"

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
    return [
        _refusal(constraint)
        for constraint in _checks(type(record))
        if constraint.violation_error_code != RANGE and not _holds(constraint.condition, record)
    ]


def _refusal(constraint: CheckConstraint) -> FieldError:
    field, _, detail = str(constraint.violation_error_message).partition("|")
    return FieldError(f"/{field}", constraint.violation_error_code or "invalid", f"{field} {detail}")


def _checks(model: type[Record]) -> Iterator[CheckConstraint]:
    return (each for each in model._meta.constraints if isinstance(each, CheckConstraint))


def _comparisons(condition: Q) -> Iterator[tuple[str, Any]]:
    for child in condition.children:
        if isinstance(child, Q):
            yield from _comparisons(child)
        elif isinstance(child, tuple):
            yield child


def _holds(condition: Q, record: Record) -> bool:
    verdicts = [_holds(child, record) if isinstance(child, Q) else _true(child, record) for child in condition.children]
    together = any(verdicts) if condition.connector == Q.OR else all(verdicts)
    return together != condition.negated


def _true(comparison: Any, record: Record) -> bool:
    if not isinstance(comparison, tuple):
        # Written in SQL: only the database can tell.
        return True
    name, _, lookup = comparison[0].partition("__")
    value, wanted = _column(record, name), comparison[1]
    if lookup == "isnull":
        return (value is None) == wanted
    if isinstance(wanted, F):
        wanted = _column(record, wanted.name)
    return value is not None and wanted is not None and bool(HOLDS[lookup or "exact"](value, wanted))


def _column(record: Record, name: str) -> Any:
    return getattr(record, record._meta.get_field(name).attname)
