"""Puts tickets and schedules of an invented buyer into the tables, and audits them as a worker does."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import connection, transaction

from dryrecords.core.ids import new_id
from dryrecords.harvest.models import Sample, Ticket
from dryrecords.settlement import audit_run
from dryrecords.settlement.audit_model import Audit, Finding
from dryrecords.tenancy.access import Access
from tests import factories
from tests.settlement import planted

BUYER = "Invented Elevator"


def stamp(by: Access) -> dict[str, Any]:
    return {"organization_id": by.organization_id, "created_at": factories.START, "updated_at": factories.START}


def add_schedules(by: Access, schedules: Iterable[Any] = planted.SCHEDULES, **values: Any) -> None:
    for disposition, begins, ends, rules in schedules:
        given = {"disposition": disposition, "effective_from": begins, "effective_to": ends, "rules": rules}
        factories.schedule(by, buyer=BUYER, **given, **values)


def add_tickets(by: Access, tickets: Iterable[planted.Ticket]) -> list[Ticket]:
    """Without their history, which is none of an audit's business and takes its time."""
    same = stamp(by)
    rows = [
        Ticket(
            id=new_id(),
            number=each.number,
            buyer=BUYER,
            crop="corn",
            delivered_at=each.delivered_at,
            disposition="sold" if each.sold else "stored",
            gross_lb=each.gross_lb,
            tare_lb=each.tare_lb,
            moisture_pct=each.moisture_pct,
            price_usd_bu=each.price_usd_bu,
            **{f"stated_{name}": value for name, value in each.stated.items()},
            **same,
        )
        for each in tickets
    ]
    with without_triggers():
        return Ticket.objects.bulk_create(rows, batch_size=5000)


@contextlib.contextmanager
def without_triggers() -> Iterator[None]:
    """Until the end of what happens within: the superuser whom tests are may say so."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        yield
        cursor.execute("SET LOCAL session_replication_role = origin")


def add_samples(by: Access, of: Iterable[tuple[Ticket, float]], **values: Any) -> None:
    same = stamp(by)
    said = {"stage": "delivered", **values, **same}
    rows = [
        Sample(id=new_id(), ticket_id=ticket.pk, taken_at=ticket.delivered_at, moisture_pct=moisture, **said)
        for ticket, moisture in of
    ]
    with without_triggers():
        Sample.objects.bulk_create(rows, batch_size=5000)


def audit(by: Access, **asked: Any) -> Audit:
    """Asked for, and worked on until it has ended."""
    return _worked_on(factories.audit(by, **asked))


def audit_of(farm: factories.Farm) -> Audit:
    """For tests that walk every route: it has the id of the farm's ticket."""
    made = factories.audit(farm.by)
    Audit.objects.filter(pk=made.pk).update(id=farm["tickets"].pk)
    return _worked_on(Audit.objects.get(pk=farm["tickets"].pk))


def _worked_on(made: Audit) -> Audit:
    audit_run.run(made)
    made.refresh_from_db()
    return made


def findings(of: Audit, **narrowed: Any) -> list[Finding]:
    return list(Finding.objects.filter(audit=of, **narrowed).order_by("place"))
