"""What of records' histories may be shown to whoever asks."""

from __future__ import annotations

from collections.abc import Collection
from uuid import UUID

from django.db.models import BooleanField, Exists, ExpressionWrapper, OuterRef, Q, QuerySet, Value

from dryrecords.journal.models import Change
from dryrecords.tenancy.access import Access


def entries_of(access: Access, record_ids: Collection[UUID]) -> QuerySet[Change]:
    """The entries of records that were found visible, each with `arrived`: what was before it may not be shown.

    A customer sees a record from when it last became its own: what was before is the business of whose it was then.
    """
    entries = Change.objects.filter(organization_id=access.organization_id, record_id__in=record_ids)
    if access.customer_id is None:
        return entries.annotate(arrived=Value(False))
    from_others = Q(left_customer_id__isnull=False) & ~Q(left_customer_id=access.customer_id)
    later = Change.objects.filter(
        from_others,
        organization_id=access.organization_id,
        record_id=OuterRef("record_id"),
        number__gt=OuterRef("number"),
    )
    arrived = ExpressionWrapper(from_others, output_field=BooleanField())
    return entries.filter(~Exists(later)).annotate(arrived=arrived)
