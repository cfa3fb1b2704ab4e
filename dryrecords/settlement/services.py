"""Every write of schedules: rules that can be settled with, and one schedule at a time for a buyer's grain."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from typing import Any

from django.db import connection

from dryrecords.core.errors import Conflict, FieldError, Invalid
from dryrecords.settlement.models import Schedule
from dryrecords.settlement.rules import RulesInvalid, rules_of
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import Writer

WHEN_AND_WHAT = ("buyer", "crop", "disposition", "effective_from", "effective_to")


def _check(access: Access, rows: Sequence[dict[str, Any]], record: Schedule | None) -> None:
    for row in rows:
        if "rules" in row:
            _check_rules(row["rules"])
    changed = [row for row in rows if record is None or not row.keys().isdisjoint(WHEN_AND_WHAT)]
    _keep_apart(access, [_as_it_would_be(row, record) for row in changed])


def _check_rules(document: Any) -> None:
    try:
        rules_of(document)
    except RulesInvalid as refusal:
        errors = [FieldError(f"/rules{each.pointer}", each.code, each.detail) for each in refusal.errors]
        raise Invalid(errors[0].detail, code=refusal.code, errors=errors) from refusal


def _as_it_would_be(row: dict[str, Any], record: Schedule | None) -> Schedule:
    wanted = copy(record) if record else Schedule()
    for column in ("id", *WHEN_AND_WHAT):
        setattr(wanted, column, row.get(column, getattr(wanted, column)))
    return wanted


def _keep_apart(access: Access, wanted: Sequence[Schedule]) -> None:
    """The database refuses two schedules at a time as well; here the other one is named."""
    buyers = sorted({schedule.buyer for schedule in wanted})
    _take_turns(access, buyers)
    there = list(Schedule.objects.visible_to(access).filter(buyer__in=buyers)) if buyers else []
    for schedule in wanted:
        for other in there:
            if other.pk != schedule.pk and schedule.overlaps(other):
                text = f"Schedule {other.pk} ({other}) is in force then: end the one before the other begins."
                raise Conflict(text, code="overlaps", errors=[FieldError("/effective_from", "overlaps", text)])
        there.append(schedule)


def _take_turns(access: Access, buyers: Sequence[str]) -> None:
    """Until the transaction ends: whoever writes a schedule of the same buyer meanwhile waits, and sees this one."""
    with connection.cursor() as cursor:
        for buyer in buyers:
            key = f"schedules of {buyer} in {access.organization_id}"
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [key])


schedules = Writer(Schedule, complete=_check)
