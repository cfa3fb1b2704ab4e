"""What every record of an organization is: identity, version, tombstone, and the scope of every query."""

from __future__ import annotations

from typing import Any, ClassVar, Self
from uuid import UUID

from django.db import models
from django.db.models import Q

from dryrecords.core.ids import new_id
from dryrecords.tenancy.access import Access


class RecordQuerySet(models.QuerySet[Any]):
    def visible_to(self, access: Access) -> Self:
        """The tenancy scope: the organization's live records, and for a customer only its own."""
        return self.ever_visible_to(access).filter(deleted_at__isnull=True)

    def ever_visible_to(self, access: Access) -> Self:
        """The same scope with the records that were removed: their history stays."""
        scoped = self.filter(organization_id=access.organization_id)
        if access.customer_id is not None:
            scoped = scoped.filter(self.model.of_customer(access.customer_id))
        return scoped


class Record(models.Model):
    """Base of every table that belongs to an organization."""

    # Name of the resource on the wire and in the trail.
    resource: ClassVar[str]
    # The column by which lists run, newest first.
    listed_by: ClassVar[str] = "created_at"
    # A child that goes when one of these parents goes; every other child keeps its parent from being removed.
    removed_with: ClassVar[tuple[str, ...]] = ()
    # Ways to the customer it belongs to, as `of_customer` has it: the first that leads somewhere counts.
    customer_paths: ClassVar[tuple[str, ...]] = ()

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    organization = models.ForeignKey("tenancy.Organization", on_delete=models.PROTECT, db_index=False, related_name="+")
    version = models.IntegerField(default=1, editable=False)
    created_at = models.DateTimeField(editable=False)
    updated_at = models.DateTimeField(editable=False)
    deleted_at = models.DateTimeField(null=True, editable=False)

    objects = RecordQuerySet.as_manager()

    class Meta:
        abstract = True

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        """Which rows belong to a customer. By default none: what is the organization's own is not shown."""
        return Q(pk__in=[])


def record_constraints(name: str) -> list[models.BaseConstraint]:
    """Every record table: the pair that a child's foreign key refers to, so that no child crosses organizations."""
    return [models.UniqueConstraint(fields=["organization", "id"], name=f"{name}_of_organization")]


def between(field: str, low: float, high: float, name: str, detail: str) -> models.CheckConstraint:
    """A range held by the database; unknown stays allowed where the column is nullable."""
    return models.CheckConstraint(
        condition=Q(**{f"{field}__gte": low, f"{field}__lte": high}) | Q(**{f"{field}__isnull": True}),
        name=name,
        violation_error_code="out_of_range",
        violation_error_message=f"{field}|{detail}",
    )


def above_zero(field: str, name: str, detail: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=Q(**{f"{field}__gt": 0}) | Q(**{f"{field}__isnull": True}),
        name=name,
        violation_error_code="out_of_range",
        violation_error_message=f"{field}|{detail}",
    )


def once_in_force(name: str, *scope: str) -> models.UniqueConstraint:
    """One row for each scope and moment: of two, the later posted would win without a word."""
    return models.UniqueConstraint(
        fields=["organization", *scope, "effective_from"],
        condition=Q(deleted_at__isnull=True),
        nulls_distinct=False,
        name=name,
        violation_error_code="already_there",
        violation_error_message="effective_from|already has a row of the same kind: correct that one.",
    )


def in_order(earlier: str, later: str, name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=Q(**{f"{later}__gte": models.F(earlier)})
        | Q(**{f"{earlier}__isnull": True})
        | Q(**{f"{later}__isnull": True}),
        name=name,
        violation_error_code="times_out_of_order",
        violation_error_message=f"{later}|must not be before {earlier}.",
    )
