"""Makes organizations, accesses and records for tests, through the services; the same figures every time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from dryrecords.equipment import services as equipment
from dryrecords.equipment.models import Bin, Dryer, Meter, Tank
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import (
    Batch,
    FuelDelivery,
    FuelReading,
    Lot,
    PowerReading,
    Price,
    Reading,
    Sample,
    Setting,
    Ticket,
)
from dryrecords.season.grids import grid_ask
from dryrecords.season.models import ForecastGrid
from dryrecords.settlement import audits, rate_services, statement_services
from dryrecords.settlement import services as settlement
from dryrecords.settlement.models import Audit, Rate, Schedule, Statement
from dryrecords.tenancy import services as tenancy
from dryrecords.tenancy.access import Access, Role
from dryrecords.tenancy.models import Customer, Organization, Site
from dryrecords.tenancy.records import Record

START = datetime(2025, 10, 6, 12, 0, tzinfo=UTC)
SEASON = 2025


def organization(name: str = "Invented Drying") -> Organization:
    return Organization.objects.get_or_create(name=name)[0]


def token(owner: Organization, role: str = Role.OWNER, of: Customer | None = None, device: str = "tablet") -> str:
    """The text of a new token."""
    return tenancy.token_issue(organization=owner, role=role, device=device, customer=of)[1]


def access(owner: Organization | None = None, role: str = Role.OWNER, of: Customer | None = None) -> Access:
    """What a request with a new token of that role would carry."""
    held = tenancy.access_of_token(token(owner or organization(), role, of))
    assert held is not None
    return held


def customer(by: Access, **values: Any) -> Customer:
    return tenancy.customers.create(by, {"name": "North Field Farm"} | values)


def site(by: Access, at: Customer, **values: Any) -> Site:
    given = {"customer_id": at.pk, "name": "Home place", "timezone": "America/Chicago", "elevation_m": 300.0}
    return tenancy.sites.create(by, given | values)


def tank(by: Access, at: Site, **values: Any) -> Tank:
    return equipment.tanks.create(
        by, {"site_id": at.pk, "name": "Big tank", "fuel": "propane", "capacity_m3": 3.785411784} | values
    )


def dryer(by: Access, at: Site, **values: Any) -> Dryer:
    given = {
        "site_id": at.pk,
        "name": "Bin dryer",
        "type": "batch_in_bin",
        "diameter_m": 9.144,
        "fans": [
            {
                "purpose": "drying",
                "power_w": 20_000.0,
                "diameter_m": 0.7112,
                "airflow_m3_s": 9.5,
                "static_pressure_pa": 750.0,
            }
        ],
    }
    return equipment.dryers.create(by, given | values)


def bin_(by: Access, at: Site, **values: Any) -> Bin:
    return equipment.bins.create(by, {"site_id": at.pk, "name": "Bin 1", "diameter_m": 9.144} | values)


def meter(by: Access, **values: Any) -> Meter:
    return equipment.meters.create(by, {"name": "Office meter", "serial_number": "M-1"} | values)


def lot(by: Access, of: Customer, **values: Any) -> Lot:
    given = {"customer_id": of.pk, "crop": "corn", "season": SEASON, "name": "Corn of the north field"}
    return harvest.lots.create(by, given | values)


def batch(by: Access, on: Dryer, **values: Any) -> Batch:
    """25,000 kg of corn, dried for four hours."""
    given = {
        "dryer_id": on.pk,
        "crop": "corn",
        "started_at": START,
        "drying_ended_at": START + timedelta(hours=4),
        "wet_mass_kg": 25_000.0,
        "mass_basis": "scale",
        "plenum_temp_c": 80.0,
    }
    return harvest.batches.create(by, given | values)


def reading(by: Access, of: Batch, **values: Any) -> Reading:
    given = {"batch_id": of.pk, "at": START + timedelta(hours=1), "plenum_temp_c": 81.0, "burner": "high"}
    return harvest.readings.create(by, given | values)


def sample(by: Access, of: Batch | None = None, **values: Any) -> Sample:
    given = {"batch_id": of.pk if of else None, "stage": "wet", "taken_at": START, "moisture_pct": 20.5}
    return harvest.samples.create(by, given | values)


def ticket(by: Access, **values: Any) -> Ticket:
    """52,360 lb of corn at 20.3 %."""
    given = {
        "number": "T-1",
        "buyer": "Invented Elevator",
        "crop": "corn",
        "delivered_at": START,
        "gross_lb": Decimal(79_860),
        "tare_lb": Decimal(27_500),
        "moisture_pct": Decimal("20.3"),
        "price_usd_bu": Decimal("4.20"),
    }
    return harvest.tickets.create(by, given | values)


def fuel_reading(by: Access, of: Tank, **values: Any) -> FuelReading:
    return harvest.fuel_readings.create(by, {"tank_id": of.pk, "at": START, "gauge_pct": 70.0} | values)


def fuel_delivery(by: Access, to: Tank, **values: Any) -> FuelDelivery:
    given = {"tank_id": to.pk, "at": START, "volume_m3": 1.9, "unit_price_usd": Decimal("1.85")}
    return harvest.fuel_deliveries.create(by, given | values)


def power_reading(by: Access, of: Dryer, **values: Any) -> PowerReading:
    return harvest.power_readings.create(by, {"dryer_id": of.pk, "at": START, "meter_kwh": 12_345.0} | values)


def price(by: Access, **values: Any) -> Price:
    given = {"kind": "propane", "effective_from": datetime(2025, 8, 1, tzinfo=UTC), "unit_price_usd": Decimal("1.85")}
    return harvest.prices.create(by, given | values)


def setting(by: Access, **values: Any) -> Setting:
    given = {"effective_from": datetime(2025, 8, 1, tzinfo=UTC), "handling_pct": 0.5}
    return harvest.settings.create(by, given | values)


def rate(by: Access, **values: Any) -> Rate:
    """Five cents a point and wet bushel; what came out goes back."""
    given = {
        "effective_from": datetime(2025, 8, 1, tzinfo=UTC),
        "drying_on": "wet_bu",
        "drying_per_point_usd_bu": Decimal("0.05"),
    }
    return rate_services.rates.create(by, given | values)


def statement(by: Access, to: Customer, season: int = SEASON, corrects: Statement | None = None) -> Statement:
    return statement_services.issue(by, to.pk, season, corrects and corrects.pk)


def schedule(by: Access, **values: Any) -> Schedule:
    """Shrink of 1.4 % and a drying charge of 4.8 cents for each point above 15 %."""
    given = {
        "buyer": "Invented Elevator",
        "crop": "corn",
        "effective_from": datetime(2025, 8, 1, tzinfo=UTC),
        "rules": {
            "base_moisture_pct": "15",
            "shrink": {"method": "factor", "factor_pct_per_point": "1.4"},
            "drying_charge": {"per_point_usd_bu": "0.048", "on": "wet_bu"},
        },
    }
    return settlement.schedules.create(by, given | values)


def audit(by: Access, **values: Any) -> Audit:
    """Asked for, not begun."""
    return audits.ask(by, **{"buyer": "Invented Elevator", "crop": "corn", "season": SEASON} | values)


def forecast_grid(by: Access, of: Dryer, **values: Any) -> ForecastGrid:
    """Two forecasts, not computed yet."""
    given = {
        "crop": "corn",
        "moisture_in_pct": [20.0, 24.0],
        "target_moisture_pct": 15.0,
        "plenum_temp_c": 70.0,
        "ambient_temp_c": 10.0,
        "bed_depth_m": 0.7,
    }
    return grid_ask(by, of.pk, given | values)


@dataclass(frozen=True)
class Farm:
    """One record of every kind in one organization, all of one customer where a kind has one."""

    by: Access
    records: dict[str, Record]

    def __getitem__(self, resource: str) -> Any:
        return self.records[resource]


def farm(by: Access | None = None) -> Farm:
    by = by or access()
    who = customer(by)
    place = site(by, who)
    fuel = tank(by, place)
    machine = dryer(by, place, tank_id=fuel.pk)
    store, tester, grain = bin_(by, place), meter(by), lot(by, who)
    filling = batch(by, machine, lot_id=grain.pk, bin_id=store.pk)
    made: list[Record] = [
        who,
        place,
        fuel,
        machine,
        store,
        tester,
        grain,
        filling,
        ticket(by, lot_id=grain.pk),
        reading(by, filling),
        sample(by, filling, meter_id=tester.pk),
        fuel_reading(by, fuel),
        fuel_delivery(by, fuel),
        power_reading(by, machine),
        price(by, site_id=place.pk),
        setting(by, customer_id=who.pk),
        rate(by, customer_id=who.pk),
        schedule(by),
    ]
    return Farm(by, {record.resource: record for record in made})
