"""Issuing statements: numbered in turn, each standing until another takes its place."""

from __future__ import annotations

import json
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from dryrecords.core import clock
from dryrecords.core.errors import Conflict, FieldError, NotFound, invalid
from dryrecords.settlement.statement_document import Document, document_of
from dryrecords.settlement.statement_facts import load_facts
from dryrecords.settlement.statement_model import Statement
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Customer, Organization

RESOURCE = "statements"
# What a document has from its issuing, not from the records.
ISSUED = ("number", "issued_at", "corrects", "difference_usd")


def statements_of(access: Access) -> QuerySet[Statement]:
    """The organization's; a customer sees its own."""
    found = Statement.objects.filter(organization_id=access.organization_id)
    return found if access.customer_id is None else found.filter(customer_id=access.customer_id)


def preview(access: Access, customer_id: UUID, season: int) -> Document:
    """What a statement issued now would say; nothing is written, and it has no number."""
    access.must_write(RESOURCE)
    customer = _customer(access, customer_id)
    return document_of(load_facts(access, customer, season)) | _issued(None, season, None, None)


def issue(access: Access, customer_id: UUID, season: int, corrects_id: UUID | None = None) -> Statement:
    """A new statement of a customer's season. The one that stood so far is corrected by it, if there was one.

    `corrects_id`: only if that is the one that stands, so that two corrections do not pass each other by.
    """
    access.must_write(RESOURCE)
    customer = _customer(access, customer_id)
    with transaction.atomic():
        _in_turn(access)
        standing = _standing(access, customer, season, corrects_id)
        document = document_of(load_facts(access, customer, season))
        of_season = Statement.objects.filter(organization_id=access.organization_id, season=season)
        last = of_season.order_by("-number").values_list("number", flat=True).first()
        made = Statement(
            organization_id=access.organization_id,
            customer=customer,
            season=season,
            number=(last or 0) + 1,
            corrects=standing,
            issued_at=clock.now().replace(microsecond=0),
            actor=access.actor.name,
            device=access.actor.device,
            request_id=access.actor.request_id,
            total_usd=Decimal(document["totals"]["total_usd"]),
        )
        made.document = document | _issued(made.number, season, made.issued_at.isoformat(), standing)
        if standing is not None:
            made.document["difference_usd"] = f"{made.total_usd - standing.total_usd:.2f}"
        made.save(force_insert=True)
    return made


def issue_if_new(access: Access, customer_id: UUID, season: int) -> tuple[Statement, bool]:
    """The one that stands if another would say the same, so that asking twice corrects nothing; and if it is new."""
    access.must_write(RESOURCE)
    customer = _customer(access, customer_id)
    with transaction.atomic():
        _in_turn(access)
        standing = _standing(access, customer, season, None)
        if standing is not None:
            document = document_of(load_facts(access, customer, season))
            if _said(document) == _said(standing.document):
                return standing, False
        return issue(access, customer_id, season), True


def _in_turn(access: Access) -> None:
    """One after the other: whoever waits here finds the number, and the statement, of the one before."""
    Organization.objects.select_for_update(no_key=True).get(pk=access.organization_id)


def _said(document: Document) -> Document:
    """All but what the issuing gave it, as it is kept."""
    said: Document = json.loads(json.dumps(document))
    return {name: value for name, value in said.items() if name not in ISSUED}


def _customer(access: Access, customer_id: UUID) -> Customer:
    customer = Customer.objects.visible_to(access).filter(pk=customer_id).first()
    if customer is None:
        raise invalid("/customer", "unknown_reference", f"There is no customer {customer_id}.")
    return customer


def _standing(access: Access, customer: Customer, season: int, corrects_id: UUID | None) -> Statement | None:
    of_customer = statements_of(access).filter(customer=customer, season=season)
    standing = of_customer.filter(corrected_by__isnull=True).order_by("-number").first()
    if corrects_id is None or (standing is not None and standing.pk == corrects_id):
        return standing
    if not of_customer.filter(pk=corrects_id).exists():
        text = f"There is no statement {corrects_id} of this customer and season."
        raise invalid("/corrects", "unknown_reference", text)
    text = f"It was corrected already; {standing} is the one that stands."
    raise Conflict(text, code="already_corrected", errors=[FieldError("/corrects", "already_corrected", text)])


def _issued(number: int | None, season: int, at: str | None, corrects: Statement | None) -> Document:
    return {
        "number": None if number is None else f"{season}-{number:04}",
        "issued_at": at,
        "corrects": None if corrects is None else {"id": str(corrects.pk), "number": str(corrects)},
        "difference_usd": None,
    }


def get_statement(access: Access, statement_id: UUID) -> Statement:
    found = statements_of(access).select_related("corrected_by").filter(pk=statement_id).first()
    if found is None:
        raise NotFound()
    return found
