"""Records that come to belong to another customer, and everything that goes with them.

Which customer sees a sample follows from its batch, its lot, its site. When one of these changes hands the sample's own
row does not change; so it is written anew, with the customer who no longer sees it, for the devices of both.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db.models import F, Q
from django.db.models.functions import Coalesce

from dryrecords.core import clock
from dryrecords.journal.trail import tell_who_is_left
from dryrecords.tenancy.records import Record

Owners = dict[tuple[type[Record], UUID], UUID | None]


def decides_customer(model: type[Record], columns: list[str]) -> bool:
    """Is one of these columns the first step of a way to the customer?"""
    steps = {f"{path.partition('__')[0]}_id" for path in model.customer_paths}
    return not steps.isdisjoint(columns)


def customer_of(record: Record) -> UUID | None:
    return _owners(type(record), Q(pk=record.pk)).get((type(record), record.pk))


def followers(record: Record) -> Owners:
    """What belongs to a customer by way of this record, removed or not, locked; and to whom."""
    found: Owners = {}
    for model, lookups in _ways_through(type(record)):
        below = Q()
        for lookup in lookups:
            below |= Q(**{lookup: record})
        found |= _owners(model, below)
    return found


def write_anew(before: Owners, organization_id: UUID) -> None:
    """Of these records the ones that belong to another customer now; the organization's own were nobody else's."""
    after: Owners = {}
    for model in {model for model, _ in before}:
        after |= _owners(model, Q(pk__in=[pk for kind, pk in before if kind is model]))
    moved: dict[tuple[UUID | None, type[Record]], list[UUID]] = {}
    for (model, pk), customer in before.items():
        if after[model, pk] != customer:
            moved.setdefault((customer, model), []).append(pk)
    for (customer, model), ids in moved.items():
        tell_who_is_left(customer or organization_id)
        model._default_manager.filter(pk__in=ids).update(version=F("version") + 1, updated_at=clock.now())


def _owners(model: type[Record], which: Q) -> Owners:
    paths: list[Any] = [F(f"{path}_id") for path in model.customer_paths]
    customer = Coalesce(*paths) if len(paths) > 1 else paths[0]
    rows = model._default_manager.filter(which).order_by("pk").select_for_update(of=("self",), no_key=True)
    return {(model, pk): owner for pk, owner in rows.annotate(belongs_to=customer).values_list("pk", "belongs_to")}


def _ways_through(moved: type[Record]) -> Iterator[tuple[type[Record], list[str]]]:
    """The kinds of records that find their customer by way of `moved`, parents first, and how they lead to it."""
    for model in apps.get_models():
        if issubclass(model, Record) and model is not moved:
            lookups = {lookup for path in model.customer_paths for lookup in _lookups(model, path, moved)}
            if lookups:
                yield model, sorted(lookups)


def _lookups(model: type[Record], path: str, moved: type[Record]) -> Iterator[str]:
    at: Any = model
    steps = path.split("__")
    for length, step in enumerate(steps, start=1):
        at = at._meta.get_field(step).related_model
        if at is moved:
            yield "__".join(steps[:length])
