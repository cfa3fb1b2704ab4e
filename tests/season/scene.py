"""A yard with one dryer, and short words for what happens in it."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from dryrecords.core.quantities import UNITS
from dryrecords.harvest.models import Batch
from dryrecords.season import services
from dryrecords.season.models import BatchResult
from tests import factories as make

LB = UNITS["lb"].to_si
GAL = UNITS["gal"].to_si
F = UNITS["f"].to_si


def at(hours: float) -> datetime:
    return make.START + timedelta(hours=hours)


class Yard:
    def __init__(self, name: str = "Invented Drying") -> None:
        self.by = make.access(make.organization(name))
        self.customer = make.customer(self.by)
        self.site = make.site(self.by, self.customer)
        self.tank = make.tank(self.by, self.site, capacity_m3=GAL(1000))
        self.dryer = make.dryer(self.by, self.site, tank_id=self.tank.pk)
        self.meter = make.meter(self.by)
        self.lot = make.lot(self.by, self.customer, base_moisture_pct=15.0)

    def batch(self, start: float = 0, hours: float = 4, **values: Any) -> Batch:
        given = {
            "lot_id": self.lot.pk,
            "started_at": at(start),
            "drying_ended_at": at(start + hours),
            "wet_mass_kg": LB(56_000),
        }
        return make.batch(self.by, values.pop("dryer", self.dryer), **(given | values))

    def sample(self, batch: Batch, stage: str, moisture_pct: float, after: float = 0, **values: Any) -> Any:
        return make.sample(
            self.by,
            batch,
            stage=stage,
            moisture_pct=moisture_pct,
            taken_at=batch.started_at + timedelta(hours=after),
            **({"meter_id": self.meter.pk} | values),
        )

    def dried(self, moisture_in: float, moisture_out: float, start: float = 0, **values: Any) -> Batch:
        batch = self.batch(start, **values)
        self.sample(batch, "wet", moisture_in)
        self.sample(batch, "cooled", moisture_out, after=16)
        return batch

    def prices(self) -> None:
        make.price(self.by, kind="grain", crop="corn", unit_price_usd=Decimal("4.00"))
        make.price(self.by, kind="propane", unit_price_usd=Decimal("1.90"))
        make.price(self.by, kind="electricity", unit_price_usd=Decimal("0.10"))

    def gauge(self, hours: float, pct: float, **values: Any) -> Any:
        return make.fuel_reading(self.by, self.tank, at=at(hours), gauge_pct=pct, **({"fuel_temp_c": F(60)} | values))


def result(batch: Batch) -> BatchResult:
    """Work everything off and give the batch's result."""
    services.work_off()
    assert services.all_failures() == []
    return BatchResult.objects.get(batch_id=batch.pk)


def codes(of: BatchResult) -> list[str]:
    return [warning["code"] for warning in of.warnings]


def assumed(of: BatchResult) -> set[str]:
    return {entry["field"] for entry in of.assumed}
