"""Works on an audit that was taken up: turn by turn, each with its findings and how far it went in one transaction."""

from __future__ import annotations

import time
from collections.abc import Iterable
from itertools import islice
from typing import Any
from uuid import UUID

from django.db import transaction

from dryrecords.core import clock
from dryrecords.core.errors import DomainError
from dryrecords.core.ids import new_id
from dryrecords.harvest.models import Ticket
from dryrecords.settlement import audits
from dryrecords.settlement.audit_finish import already_found, duplicates, meter_bias, rounding_biases
from dryrecords.settlement.audit_model import Audit, Finding
from dryrecords.settlement.audit_moistures import own_moistures, samples_of
from dryrecords.settlement.audit_rows import TicketRows, read_rows
from dryrecords.settlement.audit_schedules import schedules_of
from dryrecords.settlement.audit_statutes import statutory_departures
from dryrecords.settlement.audit_tally import Tally
from dryrecords.settlement.audit_turn import Found, Turn
from dryrecords.tenancy import jobs

TICKETS_AT_A_TIME = 50_000
_FINDINGS_AT_A_TIME = 5_000
_PROGRESS = (
    "tickets",
    "tickets_done",
    "findings",
    "after_delivered_at",
    "after_id",
    "tally",
    "state",
    "error",
    "finished_at",
    "attempts",
    "run_after",
)


def run(audit: Audit, most_s: float = float("inf")) -> bool:
    """Goes on with it for so long; whether it is finished."""
    until = time.monotonic() + most_s
    tickets_done = audit.tickets_done
    while audit.state in Audit.OPEN:
        try:
            went_on = _turn(audit.pk, tickets_done)
        except DomainError as error:
            # Nothing that another attempt would mend: a schedule that can no longer be read, say.
            _fail(audit.pk, tickets_done, error.detail)
            return True
        if went_on is None or went_on.state not in Audit.OPEN:
            return True
        tickets_done = went_on.tickets_done
        if time.monotonic() > until:
            jobs.give_back(audit)
            return False
    return True


@transaction.atomic
def _turn(audit_id: UUID, tickets_done: int) -> Audit | None:
    audit = audits.locked(audit_id, tickets_done)
    if audit is None:
        return None
    tickets, tally = audits.tickets_of(audit), Tally(audit.tally)
    if audit.tickets is None:
        audit.tickets = tickets.count()
    after = (audit.after_delivered_at, audit.after_id) if audit.after_delivered_at and audit.after_id else None
    rows = read_rows(tickets, after, TICKETS_AT_A_TIME)
    if rows.count:
        _look_at(audit, rows, tally)
    if rows.count < TICKETS_AT_A_TIME:
        _finish(audit, tally)
    audit.tally = tally.json()
    audit.attempts, audit.run_after = 0, clock.now() + audits.LEASE
    audit.save(update_fields=_PROGRESS)
    return audit


def _look_at(audit: Audit, rows: TicketRows, tally: Tally) -> None:
    access = jobs.access_of(audit)
    turn = Turn(audit.crop, rows, schedules_of(access, audit.buyer, audit.crop), tally)
    turn.examine_lines()
    samples = samples_of(access, audits.tickets_of(audit), rows)
    if samples:
        turn.examine_moistures(own_moistures(audit.crop, rows, samples, tally))
    turn.close()
    _write(audit, _of_tickets(rows, turn.found))
    audit.tickets_done += rows.count
    audit.after_delivered_at, audit.after_id = rows.delivered_at(-1), rows.uuid(-1)


def _finish(audit: Audit, tally: Tally) -> None:
    twice = list(duplicates(audits.tickets_of(audit)))
    known = already_found(audit, [each["ticket_id"] for each in twice])
    tally.kind(Finding.Kind.DUPLICATE, causes=len(twice))
    tally.found_late(each["delivered_at"] for each in twice if each["ticket_id"] not in known)
    _write(audit, ({"kind": Finding.Kind.DUPLICATE, "unit": "usd", **each} for each in twice))
    aggregates = [*statutory_departures(tally), *rounding_biases(tally), *meter_bias(audit.crop, tally)]
    for each in aggregates:
        tally.kind(each["kind"], causes=1)
    _write(audit, aggregates)
    jobs.end(audit)


@transaction.atomic
def _fail(audit_id: UUID, tickets_done: int, error: str) -> None:
    audit = audits.locked(audit_id, tickets_done)
    if audit is not None:
        jobs.end(audit, error)
        audit.save(update_fields=_PROGRESS)


def _of_tickets(rows: TicketRows, found: list[Found]) -> Iterable[dict[str, Any]]:
    ids = {each.place: rows.uuid(each.place) for each in found}
    numbers = dict(Ticket.objects.filter(pk__in=set(ids.values())).values_list("pk", "number"))
    for each in found:
        ticket_id = ids[each.place]
        yield {
            "kind": each.kind,
            "consequence_of": each.consequence_of,
            "ticket_id": ticket_id,
            "schedule_id": each.schedule_id,
            "number": numbers[ticket_id],
            "delivered_at": rows.delivered_at(each.place),
            "unit": each.unit,
            "expected": each.expected,
            "stated": each.stated,
            "effect_usd": each.effect_usd,
            "rule": each.rule,
            "explanations": each.explanations,
        }


def _write(audit: Audit, found: Iterable[dict[str, Any]]) -> None:
    """Some thousand at a time: where every ticket is off there are many."""
    waiting = iter(found)
    while made := [_finding(audit, place, each) for place, each in enumerate(islice(waiting, _FINDINGS_AT_A_TIME))]:
        Finding.objects.bulk_create(made)
        audit.findings += len(made)


def _finding(audit: Audit, place: int, values: dict[str, Any]) -> Finding:
    expected, stated = values.get("expected"), values.get("stated")
    return Finding(
        id=new_id(),
        organization_id=audit.organization_id,
        audit_id=audit.pk,
        place=audit.findings + place,
        difference=None if expected is None or stated is None else stated - expected,
        **values,
    )
