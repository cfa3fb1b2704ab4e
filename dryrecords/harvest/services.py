"""Every write in harvest, and which figures each makes stale."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from dryrecords.core import clock
from dryrecords.core.errors import invalid
from dryrecords.equipment.models import Dryer, Fuel, Tank
from dryrecords.harvest.models import (
    Batch,
    FuelDelivery,
    FuelReading,
    InForce,
    Lot,
    PowerReading,
    Price,
    Reading,
    Sample,
    Setting,
    Ticket,
)
from dryrecords.journal import kinds
from dryrecords.journal.stale import DUSK, Mark
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import MarksOf, Writer


def _batch_marks(before: Batch | None, after: Batch | None) -> list[Mark]:
    """The batch itself, and its neighbours on the dryer: what they burnt is told apart by when each ran."""
    versions = [batch for batch in (before, after) if batch]
    since = min(batch.started_at for batch in versions)
    until = max(batch.emptied_at or batch.drying_ended_at or batch.started_at for batch in versions)
    return [Mark(kinds.BATCH, str(versions[0].pk))] + [
        Mark(kinds.DRYER, str(dryer_id), since, until) for dryer_id in {batch.dryer_id for batch in versions}
    ]


def _complete_batches(access: Access, rows: Sequence[dict[str, Any]], record: Batch | None) -> None:
    _keep_to_the_lot(access, rows, record)
    _derive_seasons(access, rows, record)


def _keep_to_the_lot(access: Access, rows: Sequence[dict[str, Any]], record: Batch | Ticket | None) -> None:
    """A lot is of one crop: what is of another would be settled at the wrong base and bushel. So with its customer."""
    said = [
        [row.get(name, getattr(record, name, None)) for name in ("lot_id", "crop", "customer_id")]
        for row in rows
        if record is None or not row.keys().isdisjoint(("lot_id", "crop", "customer_id"))
    ]
    wanted = {lot_id for lot_id, _, _ in said if lot_id}
    lots = Lot.objects.visible_to(access).in_bulk(list(wanted)) if wanted else {}
    for lot_id, crop, customer_id in said:
        lot = lots.get(lot_id)
        if lot and lot.crop != crop:
            raise invalid("/lot", "other_crop", f"The lot is of {lot.crop}, this is of {crop}.")
        if lot and customer_id and lot.customer_id != customer_id:
            raise invalid("/customer", "other_customer", "The lot is another customer's. Leave the customer out.")


def _derive_seasons(access: Access, rows: Sequence[dict[str, Any]], record: Batch | None) -> None:
    """The harvest year follows from the start, local time, unless it was given."""
    open_rows = [row for row in rows if row.get("season") is None and row.get("started_at") is not None]
    zones = dict(
        Dryer.objects.visible_to(access)
        .filter(pk__in={row.get("dryer_id") or (record.dryer_id if record else None) for row in open_rows})
        .values_list("pk", "site__timezone")
    )
    for row in open_rows:
        zone = zones[row.get("dryer_id") or record.dryer_id]  # type: ignore[union-attr]
        if record is None or record.season == clock.season_of(record.started_at, zone):
            row["season"] = clock.season_of(row["started_at"], zone)
        else:
            row.pop("season", None)


def _sample_marks(before: Sample | None, after: Sample | None) -> list[Mark]:
    ids = {sample.batch_id for sample in (before, after) if sample and sample.batch_id}
    return [Mark(kinds.BATCH, str(batch_id)) for batch_id in ids]


def _tank_marks(before: Any, after: Any) -> list[Mark]:
    return [Mark(kinds.TANK, str(row.tank_id), row.at, row.at) for row in (before, after) if row]


def _delivery_marks(before: FuelDelivery | None, after: FuelDelivery | None) -> list[Mark]:
    """A delivery's price may stand for the fuel's until the next one."""
    return [Mark(kinds.TANK, str(row.tank_id), row.at, DUSK) for row in (before, after) if row]


def _power_marks(before: PowerReading | None, after: PowerReading | None) -> list[Mark]:
    return [
        Mark(kinds.DRYER, str(row.dryer_id), row.at, row.at)
        if row.dryer_id
        else Mark(kinds.SITE_POWER, str(row.site_id), row.at, row.at)
        for row in (before, after)
        if row
    ]


def _from_then_on(kind: str) -> MarksOf:
    def marks(before: InForce | None, after: InForce | None) -> list[Mark]:
        since: datetime = min(row.effective_from for row in (before, after) if row)
        return [Mark(kind, kinds.EVERYTHING, since, DUSK)]

    return marks


def _lot_marks(before: Lot | None, after: Lot | None) -> list[Mark]:
    return [Mark(kinds.LOT, str(before.pk))] if before else []


def _keep_to_the_tanks_fuel(access: Access, rows: Sequence[dict[str, Any]], record: FuelReading | None) -> None:
    """Gas is counted in therms, what stands in a tank in gallons or percent."""
    concerned = [row for row in rows if record is None or {"tank_id", "meter_j"} & row.keys()]
    pairs = [
        (row.get("tank_id", record and record.tank_id), row.get("meter_j", record and record.meter_j))
        for row in concerned
    ]
    tanks = Tank.objects.visible_to(access).filter(pk__in={tank_id for tank_id, _ in pairs}) if pairs else []
    fuels = {tank.pk: tank.fuel for tank in tanks}
    for tank_id, meter_j in pairs:
        fuel = fuels.get(tank_id) if tank_id else None
        if fuel and (fuel == Fuel.NATURAL_GAS) != (meter_j is not None):
            need = "meter_therm" if fuel == Fuel.NATURAL_GAS else "gauge_pct, volume_gal or meter_gal"
            raise invalid("/meter_j", "other_fuel", f"A reading of {fuel} needs {need}.")


lots = Writer(Lot, marks_of=_lot_marks)
batches = Writer(Batch, marks_of=_batch_marks, complete=_complete_batches)
readings = Writer(Reading)
samples = Writer(Sample, marks_of=_sample_marks)
tickets = Writer(Ticket, complete=_keep_to_the_lot)
fuel_readings = Writer(FuelReading, marks_of=_tank_marks, complete=_keep_to_the_tanks_fuel)
fuel_deliveries = Writer(FuelDelivery, marks_of=_delivery_marks)
power_readings = Writer(PowerReading, marks_of=_power_marks)
prices = Writer(Price, marks_of=_from_then_on(kinds.PRICES))
settings = Writer(Setting, marks_of=_from_then_on(kinds.SETTINGS))
