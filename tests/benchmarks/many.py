"""An invented season of thousands of batches, put into the tables directly; the same figures every time."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Any

import numpy as np
from django.db import connection

from dryrecords.core.ids import new_id
from dryrecords.equipment.models import Dryer
from dryrecords.harvest.models import Batch, FuelDelivery, FuelReading, Sample
from tests import factories as make

SITES = 8
DRYERS_OF_A_SITE = 8
# Of each site's dryers so many have a tank of their own that is read before and after every batch; the others share.
WITH_OWN_TANK = 2
EVERY = timedelta(hours=12)
# Of a tank that one dryer has, and of one that the others of a site share.
BATCH_TANK_M3, SHARED_M3 = 3.785411784, 37.85411784
LEVEL_PCT = 70.0
STAMP = {"created_at": make.START, "updated_at": make.START}


class ManyBatches:
    """An organization with `count` batches on 64 dryers at 8 sites, none overlapping, and everything about them."""

    def __init__(self, name: str, count: int) -> None:
        self.by = make.access(make.organization(name))
        self.stamp = {"organization_id": self.by.organization_id, **STAMP}
        self.random = np.random.default_rng(20251006)
        self.customer = make.customer(self.by)
        self.meter = make.meter(self.by)
        self.lot = make.lot(self.by, self.customer, base_moisture_pct=15.0)
        self.dryers = [dryer for number in range(SITES) for dryer in self._site(number)]
        self.batches: list[Batch] = Batch.objects.bulk_create(map(self._batch, range(count)), batch_size=2000)

    def _site(self, number: int) -> list[Dryer]:
        place = make.site(self.by, self.customer, name=f"Site {number}")
        shared = make.tank(self.by, place, capacity_m3=SHARED_M3)
        own = [make.tank(self.by, place, name=f"Tank {i}") for i in range(WITH_OWN_TANK)]
        tanks = own + [shared] * (DRYERS_OF_A_SITE - WITH_OWN_TANK)
        return [make.dryer(self.by, place, name=f"Dryer {i}", tank_id=tank.pk) for i, tank in enumerate(tanks)]

    def _batch(self, number: int) -> Batch:
        turn, place = divmod(number, len(self.dryers))
        start = make.START + turn * EVERY + timedelta(minutes=place)
        between = partial(self.random.uniform)
        dried = start + timedelta(minutes=int(between(150, 300)))
        emptied = dried + timedelta(hours=3)
        refill = {"at": dried.isoformat(), "mass_kg": between(500, 2000), "moisture_pct": between(18, 24)}
        return Batch(
            id=new_id(),
            dryer_id=self.dryers[place].pk,
            lot_id=self.lot.pk,
            crop="corn",
            season=make.SEASON,
            started_at=start,
            drying_ended_at=dried,
            cooling_ended_at=dried + timedelta(hours=1),
            emptied_at=emptied if number % 3 else None,
            wet_mass_kg=between(15_000, 35_000),
            mass_basis="scale",
            test_weight_kg_m3=between(650, 750) if number % 4 else None,
            plenum_temp_c=between(60, 95),
            cutoff_temp_c=between(40, 60),
            drying_limit_s=18_000.0,
            cooling_s=3600.0 if number % 5 else None,
            stop_reason="cutoff" if number % 5 else "",
            ambient_temp_c=between(0, 20),
            ambient_rh_pct=between(40, 90),
            grain_temp_c=between(2, 18) if number % 6 else None,
            refills=[refill] if number % 10 == 0 else [],
            note="Wind from the north, auger slow." if number % 7 == 0 else "",
            **self.stamp,
        )

    def add_facts(self) -> None:
        """Two wet samples and a cooled one of each batch, readings of the tanks, prices and a setting."""
        samples = [each for batch in self.batches for each in self._samples(batch)]
        Sample.objects.bulk_create(samples, batch_size=2000)
        tanks = {dryer.pk: dryer.tank_id for dryer in self.dryers}
        own = {d.pk for i, d in enumerate(self.dryers) if i % DRYERS_OF_A_SITE < WITH_OWN_TANK}
        read = [b for i, b in enumerate(self.batches) if b.dryer_id in own or i % 20 == 0]
        readings = [
            each for batch in read for each in self._gauges(batch, tanks[batch.dryer_id], batch.dryer_id in own)
        ]
        FuelReading.objects.bulk_create(readings, batch_size=2000)
        FuelDelivery.objects.bulk_create(self._deliveries(tanks), batch_size=2000)
        for kind, crop, price in (("propane", "", "1.90"), ("grain", "corn", "4.00"), ("electricity", "", "0.11")):
            make.price(self.by, kind=kind, crop=crop, unit_price_usd=Decimal(price))
        make.setting(self.by)

    def _samples(self, batch: Batch) -> list[Sample]:
        dried = batch.drying_ended_at
        stages = [("wet", batch.started_at, 20), ("wet", batch.started_at, 20), ("cooled", dried + EVERY, 14)]
        return [
            Sample(
                id=new_id(),
                batch_id=batch.pk,
                stage=stage,
                taken_at=at,
                moisture_pct=around + self.random.uniform(-1, 3),
                meter_id=self.meter.pk,
                **self.stamp,
            )
            for stage, at, around in stages
        ]

    def _gauges(self, batch: Batch, tank_id: Any, own: bool) -> list[FuelReading]:
        """Full to one level before each batch; a tank of its own gives 12 %, a shared one as much to each of six."""
        used = 12.0 if own else 12.0 * BATCH_TANK_M3 / SHARED_M3 * (DRYERS_OF_A_SITE - WITH_OWN_TANK)
        before, after = (level + self.random.normal() for level in (LEVEL_PCT, LEVEL_PCT - used))
        moments = [(batch.started_at, before), (batch.drying_ended_at, after)]
        return [
            FuelReading(id=new_id(), tank_id=tank_id, at=at, gauge_pct=pct, fuel_temp_c=8.0, **self.stamp)
            for at, pct in moments
        ]

    def _deliveries(self, tanks: dict[Any, Any]) -> list[FuelDelivery]:
        """What each batch burnt is brought before the next one."""
        return [
            FuelDelivery(
                id=new_id(),
                tank_id=tanks[batch.dryer_id],
                at=batch.started_at + EVERY - timedelta(hours=1),
                volume_m3=0.12 * BATCH_TANK_M3,
                **self.stamp,
            )
            for batch in self.batches
        ]


def settle_tables() -> None:
    """What autovacuum does sooner or later in a database that is used."""
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE")
