"""What is known of a customer's season: its batches with their results, the rates and prices of gas in force, and
what devices brought that could not be taken in. A number of queries that does not grow with the batches."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

import orjson

from dryrecords.equipment.models import Bin, Dryer
from dryrecords.harvest.models import Batch, Lot, Price
from dryrecords.journal.models import Mutation
from dryrecords.season.in_force import InForce, price_keys, setting_keys
from dryrecords.season.selectors import BatchResultView, batch_results
from dryrecords.settlement.rate_model import Rate
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Customer, Organization
from dryrecords.tenancy.records import Record

# Kinds whose records decide what a statement says, and the fields by which they say whose they are.
HELD_KINDS = ("lots", "batches", "samples")
NAMED_BY: dict[str, type[Record]] = {"customer": Customer, "lot": Lot, "batch": Batch, "dryer": Dryer, "bin": Bin}


@dataclass(frozen=True)
class Held:
    """What a device brought and nobody has taken in yet; whose it is cannot be told where it names nothing known."""

    mutation_id: UUID
    resource: str
    is_the_customers: bool


@dataclass(frozen=True)
class Facts:
    organization: Organization
    customer: Customer
    season: int
    batches: list[BatchResultView]
    rates: InForce
    gas: InForce
    held: list[Held]

    def rate_of(self, batch: Batch) -> Rate | None:
        """In force when the grain came in."""
        rate: Rate | None = self.rates.at(batch.started_at, setting_keys(self.customer.pk, batch.crop))
        return rate

    def gas_usd(self, batch: Batch, kind: str) -> Decimal | None:
        price: Decimal | None = self.gas.at(batch.started_at, price_keys(kind, batch.dryer.site_id))
        return price


def load_facts(access: Access, customer: Customer, season: int) -> Facts:
    batches = list(
        Batch.objects.visible_to(access)
        .filter(Batch.of_customer(customer.pk), season=season)
        .select_related("dryer__site", "lot")
        .order_by("started_at", "id")
    )
    return Facts(
        organization=Organization.objects.get(pk=access.organization_id),
        customer=customer,
        season=season,
        batches=batch_results(access, batches),
        rates=_rates(access, customer),
        gas=_gas_prices(access),
        held=list(_held(access, customer, season)),
    )


def _rates(access: Access, customer: Customer) -> InForce:
    rows = Rate.objects.visible_to(access).filter(Rate.of_customer(customer.pk)).order_by("effective_from", "id")
    return InForce(((rate.customer_id, rate.crop), rate.effective_from, rate) for rate in rows)


def _gas_prices(access: Access) -> InForce:
    rows = Price.objects.visible_to(access).filter(kind__in=Rate.Gas.values).order_by("effective_from", "id")
    return InForce(
        ((kind, "", site_id), effective_from, price)
        for kind, site_id, effective_from, price in rows.values_list(
            "kind", "site_id", "effective_from", "unit_price_usd"
        )
    )


def _held(access: Access, customer: Customer, season: int) -> Iterable[Held]:
    rows = list(
        Mutation.objects.filter(
            organization_id=access.organization_id, status=Mutation.Status.HELD, resource__in=HELD_KINDS
        )
        .order_by("push_id", "mutation_id")
        .values_list("mutation_id", "resource", "payload")
    )
    named = {mutation_id: _ids_named(payload) for mutation_id, _, payload in rows}
    known, own = _known_and_own(access, customer, season, set().union(*named.values()) if named else set())
    for mutation_id, resource, _ in rows:
        ids = named[mutation_id]
        if ids & own or not ids & known:
            yield Held(mutation_id, resource, bool(ids & own))


def _ids_named(payload: str | None) -> set[UUID]:
    """The records that a body names, whatever else is wrong with it."""
    try:
        record = orjson.loads(payload or "null")["record"]
        texts = [record.get(name) for name in NAMED_BY]
    except (ValueError, TypeError, KeyError, AttributeError):
        return set()
    return {found for text in texts if isinstance(text, str) for found in _uuids(text)}


def _uuids(text: str) -> Iterable[UUID]:
    try:
        yield UUID(text)
    except ValueError:
        return


def _known_and_own(access: Access, customer: Customer, season: int, ids: set[UUID]) -> tuple[set[UUID], set[UUID]]:
    """Of the records named, those that are there, and those by which a row belongs to the customer's season."""
    known: set[UUID] = set()
    own: set[UUID] = set()
    for model in NAMED_BY.values() if ids else ():
        there = model._default_manager.visible_to(access).filter(pk__in=ids)
        known |= set(there.values_list("pk", flat=True))
        theirs = there.filter(model.of_customer(customer.pk))
        of_season: dict[str, Any] = {"season": season} if model in (Lot, Batch) else {}
        own |= set(theirs.filter(**of_season).values_list("pk", flat=True))
    return known, own
