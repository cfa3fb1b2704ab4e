"""What can be entered: each kind of record with its form, below what it is entered, and what is usual."""

from __future__ import annotations

from dryrecords.equipment import services as equipment
from dryrecords.equipment.models import Bin, Dryer, Fuel
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Batch, Crop, Price
from dryrecords.office import fields
from dryrecords.office.fields import Choice, Count, Moment, Quantity, Reference, Text
from dryrecords.office.record_form import Group, Kind, Place
from dryrecords.office.yard import (
    REFILLS,
    batch_groups,
    fuel_delivery_groups,
    fuel_reading_groups,
    power_reading_groups,
    reading_groups,
    sample_groups,
)

LONGEST_NAME = 200


def _lot(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "name": Text("Name", LONGEST_NAME, required=True),
                "crop": Choice("Crop", Crop.choices, required=True),
                "season": Count("Harvest year", required=True),
                "base_moisture_pct": Quantity("Base moisture", sign="%"),
            },
        )
    ]


def _price(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "kind": Choice("Of", [(value, label) for value, label in Price.Kind.choices], required=True),
                "crop": Choice("Crop, for the price of grain", Crop.choices),
                "unit_price_usd": fields.Price(
                    "Price", help_text="Per bushel, US gallon, therm or kWh.", required=True
                ),
                "effective_from": Moment("Holds from", place.zone, required=True),
                "site_id": Reference("Only at site", place.sites()),
            },
        )
    ]


def _dryer(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "name": Text("Name", LONGEST_NAME, required=True),
                "type": Choice("Type", Dryer.Type.choices, required=True),
                "tank_id": Reference("Fuel from", place.tanks()),
                "diameter_m": Quantity("Diameter", "ft"),
                "bed_area_m2": Quantity("Or floor area", "ft2"),
                "bed_depth_m": Quantity("Depth of the bed", "ft"),
                "holding_capacity_m3": Quantity("Holds", "volume_bu"),
                "burner_max_w": Quantity("Largest burner output", "btu_h"),
                "sensor_height_m": Quantity("Grain sensor above the floor", "ft"),
            },
        )
    ]


def _tank(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "name": Text("Name", LONGEST_NAME, required=True),
                "fuel": Choice("Fuel", Fuel.choices, required=True),
                "capacity_m3": Quantity("Capacity", "gal"),
            },
        )
    ]


def _bin(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "name": Text("Name", LONGEST_NAME, required=True),
                "bottom": Choice("Bottom", Bin.Bottom.choices, required=True),
                "diameter_m": Quantity("Diameter", "ft"),
                "eave_height_m": Quantity("Height to the eave", "ft"),
            },
        )
    ]


def _meter(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "name": Text("Name", LONGEST_NAME, required=True),
                "serial_number": Text("Serial number", 100),
                "standard_uncertainty_pct": Quantity("Standard uncertainty, points of moisture"),
            },
        )
    ]


_AT_A_SITE = {"sites": "site_id"}
_OF_A_TANK = {"tanks": "tank_id"}

KINDS: dict[str, Kind] = {
    kind.resource: kind
    for kind in (
        Kind(
            harvest.batches,
            "batch",
            "batches",
            batch_groups,
            {"dryers": "dryer_id"},
            {"mass_basis": Batch.MassBasis.SCALE},
            now="started_at",
            derived=("season",),
            parts=REFILLS,
        ),
        Kind(
            harvest.samples,
            "sample",
            "samples",
            sample_groups,
            {"batches": "batch_id", "bins": "bin_id"},
            now="taken_at",
        ),
        Kind(harvest.readings, "reading", "readings", reading_groups, {"batches": "batch_id"}, now="at"),
        Kind(harvest.fuel_readings, "fuel reading", "fuel readings", fuel_reading_groups, _OF_A_TANK, now="at"),
        Kind(
            harvest.fuel_deliveries,
            "fuel delivery",
            "fuel deliveries",
            fuel_delivery_groups,
            _OF_A_TANK,
            {"temperature_corrected": True},
            now="at",
        ),
        Kind(
            harvest.power_readings,
            "power reading",
            "power readings",
            power_reading_groups,
            {"dryers": "dryer_id", "sites": "site_id"},
            now="at",
        ),
        Kind(harvest.lots, "lot", "lots", _lot, {"customers": "customer_id"}),
        Kind(harvest.prices, "price", "prices", _price, {"": ""}, now="effective_from"),
        Kind(equipment.dryers, "dryer", "dryers", _dryer, _AT_A_SITE),
        Kind(equipment.tanks, "tank", "tanks", _tank, _AT_A_SITE),
        Kind(equipment.bins, "bin", "bins", _bin, _AT_A_SITE, {"bottom": Bin.Bottom.FLAT}),
        Kind(equipment.meters, "moisture meter", "moisture meters", _meter, {"": ""}),
    )
}
