"""Turns what the trail keeps, columns in SI units, into what people read: fields in trade units, before and after."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db.models import Max, QuerySet

from api import snapshots
from api.record_serializer import RecordSerializer
from dryrecords.journal.models import Change
from dryrecords.tenancy.access import Access

COLUMNS = ("number", "version", "operation", "changed_at", "actor", "device", "request_id", "before", "after")
NOT_TOLD = {"id", "version", "created_at", "updated_at"}


def entries_of(access: Access, record_id: UUID) -> tuple[QuerySet[Change], int | None]:
    """What of a record's history may be shown, and the number of the entry with which it came to whoever asks.

    A customer sees a record from when it last became its own: what was before is the business of whose it was then.
    """
    entries = Change.objects.filter(organization_id=access.organization_id, record_id=record_id)
    if access.customer_id is None:
        return entries, None
    from_others = entries.filter(left_customer_id__isnull=False).exclude(left_customer_id=access.customer_id)
    came: int | None = from_others.aggregate(came=Max("number"))["came"]
    return (entries if came is None else entries.filter(number__gte=came)), came


def teller(serializer: type[RecordSerializer], came: int | None = None) -> Callable[[Sequence[Any]], dict[str, Any]]:
    """Reads one entry, given in the order of COLUMNS; the one with the number `came` does not say what was before."""

    def told(entry: Sequence[Any]) -> dict[str, Any]:
        number, version, operation, changed_at, actor, device, request_id, before, after = entry
        before = None if number == came else before
        return {
            "version": version,
            "operation": operation,
            "changed_at": changed_at,
            "actor": actor,
            "device": device or None,
            "request_id": request_id or None,
            "changes": _changes(_fields(serializer, before), _fields(serializer, after)),
        }

    return told


def _fields(serializer: type[RecordSerializer], snapshot: Mapping[str, Any] | None) -> dict[str, Any]:
    return {} if snapshot is None else snapshots.outward(serializer, snapshot)


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {"field": name, "before": before.get(name), "after": after.get(name)}
        for name in {**before, **after}
        if name not in NOT_TOLD and before.get(name) != after.get(name)
    ]
