"""Turns what the trail keeps, columns in SI units, into what people read: fields in trade units, before and after."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from api import snapshots
from api.record_serializer import RecordSerializer

COLUMNS = (
    *("number", "version", "operation", "changed_at", "actor", "device", "request_id"),
    *("before", "after", "arrived"),
)
NOT_TOLD = {"id", "version", "created_at", "updated_at"}


def teller(serializer: type[RecordSerializer]) -> Callable[[Sequence[Any]], dict[str, Any]]:
    """Reads one entry, given in the order of COLUMNS. `arrived`: what was before is not for whoever asks."""

    def told(entry: Sequence[Any]) -> dict[str, Any]:
        _, version, operation, changed_at, actor, device, request_id, before, after, arrived = entry
        before = None if arrived else before
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
