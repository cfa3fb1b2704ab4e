"""Prices and settings in force: the most particular one that had begun by a moment."""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Hashable, Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from dryrecords.harvest.models import FuelDelivery, Price, Setting


class InForce:
    """For each key, values by the moment from which they hold."""

    def __init__(self, rows: Iterable[tuple[Hashable, datetime, Any]]) -> None:
        self._begun: dict[Hashable, list[datetime]] = defaultdict(list)
        self._values: dict[Hashable, list[Any]] = defaultdict(list)
        for key, effective_from, value in rows:
            self._begun[key].append(effective_from)
            self._values[key].append(value)

    def at(self, moment: datetime, keys: Iterable[Hashable]) -> Any:
        """The value of the first key that has one by then; None where none has."""
        for key in keys:
            position = bisect_right(self._begun.get(key, []), moment)
            if position:
                return self._values[key][position - 1]
        return None


def prices_in_force(organization_id: UUID) -> InForce:
    rows = Price.objects.filter(organization_id=organization_id, deleted_at__isnull=True).order_by(
        "effective_from", "id"
    )
    return InForce(
        ((kind, crop, site_id), effective_from, float(price))
        for kind, crop, site_id, effective_from, price in rows.values_list(
            "kind", "crop", "site_id", "effective_from", "unit_price_usd"
        )
    )


def delivery_prices(tank_ids: Iterable[UUID]) -> InForce:
    """What was paid for the last delivery into a tank stands for the price until the next one."""
    rows = FuelDelivery.objects.filter(
        tank_id__in=tank_ids, deleted_at__isnull=True, unit_price_usd__isnull=False
    ).order_by("at", "id")
    return InForce(
        (tank_id, at, float(price or 0)) for tank_id, at, price in rows.values_list("tank_id", "at", "unit_price_usd")
    )


def price_keys(kind: str, site_id: UUID, crop: str = "") -> list[Hashable]:
    return [(kind, crop, site_id), (kind, crop, None)]


def settings_in_force(organization_id: UUID) -> dict[str, InForce]:
    """One table per setting: a row that leaves a setting blank does not touch it."""
    names = ("handling_pct", "base_moisture_pct", "propane_j_m3")
    rows = list(
        Setting.objects.filter(organization_id=organization_id, deleted_at__isnull=True)
        .order_by("effective_from", "id")
        .values("customer_id", "crop", "effective_from", *names)
    )
    return {
        name: InForce(
            ((row["customer_id"], row["crop"]), row["effective_from"], row[name])
            for row in rows
            if row[name] is not None
        )
        for name in names
    }


def setting_keys(customer_id: UUID, crop: str) -> list[Hashable]:
    return [(customer_id, crop), (customer_id, ""), (None, crop), (None, "")]
