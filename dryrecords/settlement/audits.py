"""Audits as work: asked for once, taken up by one worker at a time, and by another if that one ends on the way."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import models, transaction

from dryrecords.core import clock
from dryrecords.core.errors import Conflict, Forbidden, NotFound, invalid
from dryrecords.harvest.models import Ticket
from dryrecords.journal.nudge import nudge_audits
from dryrecords.settlement.audit_model import Audit, Finding
from dryrecords.tenancy import jobs
from dryrecords.tenancy.access import Access, Role

RUN_BY = frozenset({Role.OWNER, Role.OFFICE, Role.AUDITOR})
LEASE = timedelta(seconds=60)
# Of one organization, that are not done yet.
MOST_OPEN = 20
GAVE_UP = "The work on it ended several times at the same ticket. What was found before that ticket stands."
REVOKED = "The token that asked for it was revoked."


def ask(
    access: Access,
    *,
    buyer: str,
    crop: str,
    season: int | None = None,
    delivered_from: datetime | None = None,
    delivered_to: datetime | None = None,
) -> Audit:
    """An audit of a buyer's tickets of one crop: of a harvest year, or of what was delivered in a time."""
    _must_run(access)
    if (season is None) == (delivered_from is None and delivered_to is None):
        raise invalid("/season", "one_of_two", "Give a season, or a time by `from` and `to`.")
    if delivered_from and delivered_to and delivered_from >= delivered_to:
        raise invalid("/to", "times_out_of_order", "`to` must be after `from`.")
    if audits_of(access).filter(state__in=Audit.OPEN).count() >= MOST_OPEN:
        raise Conflict("Many audits are still at work. Ask again when some are done.", code="too_many_waiting")
    audit = Audit.objects.create(
        **jobs.asked_by(access),
        buyer=buyer,
        crop=crop,
        season=season,
        delivered_from=delivered_from,
        delivered_to=delivered_to,
    )
    transaction.on_commit(nudge_audits, robust=True)
    return audit


def cancel(access: Access, audit_id: UUID) -> None:
    """No further turn. What was found so far stays. One that has ended is left as it is."""
    audit = audits_of(access).select_for_update().filter(pk=audit_id).first()
    if audit is None:
        raise NotFound()
    _must_run(access)
    if audit.state in Audit.OPEN:
        audit.state, audit.finished_at = Audit.State.CANCELLED, clock.now()
        audit.save(update_fields=["state", "finished_at"])


def _must_run(access: Access) -> None:
    if access.role not in RUN_BY:
        raise Forbidden(f"The role {access.role} may not run audits.")


def audits_of(access: Access) -> models.QuerySet[Audit]:
    """An organization's. They are of all its customers' tickets, so no customer sees them."""
    found = Audit.objects.filter(organization_id=access.organization_id)
    return found.none() if access.customer_id is not None else found


def findings_of(access: Access, audit_id: UUID) -> models.QuerySet[Finding]:
    if not audits_of(access).filter(pk=audit_id).exists():
        raise NotFound()
    return Finding.objects.filter(organization_id=access.organization_id, audit_id=audit_id)


def tickets_of(audit: Audit) -> models.QuerySet[Any]:
    """The tickets that are audited."""
    rows = Ticket.objects.visible_to(jobs.access_of(audit)).filter(buyer=audit.buyer, crop=audit.crop)
    if audit.season is not None:
        return rows.filter(Ticket.of_season(audit.season))
    if audit.delivered_from is not None:
        rows = rows.filter(delivered_at__gte=audit.delivered_from)
    if audit.delivered_to is not None:
        rows = rows.filter(delivered_at__lt=audit.delivered_to)
    return rows


def take_up() -> Audit | None:
    return jobs.take_up(Audit, lease=LEASE, gave_up=GAVE_UP, revoked=REVOKED)


def locked(audit_id: UUID, tickets_done: int) -> Audit | None:
    """The audit, locked, if it is still where the caller left it: another may have taken it up, or ended it."""
    return (
        Audit.objects.select_for_update().filter(pk=audit_id, tickets_done=tickets_done, state__in=Audit.OPEN).first()
    )
