"""What is filled in for each kind of record, in the words and units of people, grouped as it comes to hand."""

from __future__ import annotations

from datetime import datetime

from django import forms

from dryrecords.equipment import services as equipment
from dryrecords.equipment.models import Bin, Dryer, Fuel
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Batch, Crop, Price, Reading, Sample
from dryrecords.office import fields
from dryrecords.office.fields import Choice, Count, Moment, Quantity, Reference, Text, Tick
from dryrecords.office.record_form import Group, Kind, Parts, Place

LONGEST_NAME, LONGEST_NOTE = 200, 10_000
SPARE_REFILLS = 2
REFILLS = Parts("refills", "refill", ("at", "mass_kg", "moisture_pct"))


def _batch(place: Place) -> list[Group]:
    zone = place.zone
    moved: dict[str, forms.Field] = {}
    if place.record is not None:
        moved = {"dryer_id": Reference("Dryer", place.dryers(), required=True)}
    return [
        Group(
            "What and when",
            {
                **moved,
                "crop": Choice("Crop", Crop.choices, required=True),
                "started_at": Moment("Began", zone, required=True),
                "lot_id": Reference("Lot", place.lots()),
                "bin_id": Reference("Goes into bin", place.bins()),
            },
        ),
        Group(
            "Wet grain",
            {
                "wet_mass_kg": Quantity("Wet grain at the start", "lb"),
                "fill_depth_m": Quantity("Or filled to", "ft"),
                "fill_peaked": Tick("Left peaked; the depth is that at the wall"),
                "mass_basis": Choice("Mass known by", Batch.MassBasis.choices, required=True),
                "test_weight_kg_m3": Quantity("Test weight", "lb_bu"),
                "grain_temp_c": Quantity("Grain temperature", "f"),
            },
        ),
        Group(
            "Settings",
            {
                "plenum_temp_c": Quantity("Plenum", "f"),
                "cutoff_temp_c": Quantity("Stop at", "f"),
                "drying_limit_s": Quantity("Longest drying", "h"),
                "cooling_s": Quantity("Cooling", "min"),
            },
        ),
        Group(
            "Outside air",
            {"ambient_temp_c": Quantity("Outside", "f"), "ambient_rh_pct": Quantity("Humidity outside", sign="%")},
            folded=True,
        ),
        Group(
            "How it ended",
            {
                "drying_ended_at": Moment("Heat off", zone),
                "stop_reason": Choice("Stopped by", Batch.StopReason.choices),
                "cooling_ended_at": Moment("Cooled", zone),
                "emptied_at": Moment("Emptied", zone),
                "dry_mass_kg": Quantity("Dry grain, if weighed", "lb"),
            },
            folded=True,
        ),
        Group("Filled up later", _refills(place), folded=True),
        Group(
            "Note and harvest year",
            {
                "note": Text("Note", LONGEST_NOTE, rows=3),
                "season": Count("Harvest year", help_text="Left empty, it follows from the start."),
            },
            folded=True,
        ),
    ]


def _refills(place: Place) -> dict[str, forms.Field]:
    known = place.record.refills if place.record is not None else []
    made: dict[str, forms.Field] = {}
    for number in range(len(known) + SPARE_REFILLS):
        which = f"Filling {number + 1}"
        made |= {
            f"refill{number}_at": Moment(f"{which}: when", place.zone),
            f"refill{number}_mass_kg": Quantity(f"{which}: grain", "lb"),
            f"refill{number}_moisture_pct": Quantity(f"{which}: moisture", sign="%"),
        }
    return made


def refills_shown(batch: Batch) -> dict[str, object]:
    """Parts of a batch as the form's fields have them."""
    return {
        f"refill{number}_{name}": datetime.fromisoformat(refill[name]) if name == "at" else refill.get(name)
        for number, refill in enumerate(batch.refills)
        for name in REFILLS.names
    }


def _sample(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "stage": Choice("Stage", Sample.Stage.choices, required=True),
                "moisture_pct": Quantity("Moisture", sign="%", required=True),
                "taken_at": Moment("Taken", place.zone, required=True),
                "meter_id": Reference("Meter", place.meters()),
                "grain_temp_c": Quantity("Grain temperature", "f"),
            },
        ),
        Group(
            "More about the test",
            {
                "tested_at": Moment("Tested", place.zone),
                "test_weight_kg_m3": Quantity("Test weight", "lb_bu"),
                "probes": Count("Mixed from so many probes"),
            },
            folded=True,
        ),
    ]


def _reading(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "at": Moment("When", place.zone, required=True),
                "plenum_temp_c": Quantity("Plenum", "f"),
                "grain_temp_c": Quantity("Grain sensor", "f"),
                "burner": Choice("Burner", Reading.Burner.choices),
            },
        ),
        Group(
            "More that can be read",
            {
                "exhaust_temp_c": Quantity("Exhaust air", "f"),
                "exhaust_rh_pct": Quantity("Humidity of the exhaust air", sign="%"),
                "static_pressure_pa": Quantity("Static pressure", "inh2o"),
                "depth_m": Quantity("Depth", "ft"),
            },
            folded=True,
        ),
    ]


def _fuel_reading(place: Place) -> list[Group]:
    known: dict[str, forms.Field] = {
        "gauge_pct": Quantity("Gauge", sign="%"),
        "volume_m3": Quantity("Volume", "gal"),
        "meter_m3": Quantity("Meter count", "gal"),
        "meter_j": Quantity("Gas meter count", "therm"),
    }
    is_gas = getattr(place.parent, "fuel", "") == Fuel.NATURAL_GAS
    # Gas is counted in therms, what stands in a tank in gallons or percent; what is recorded is shown in any case.
    asked = {name for name in known if (name == "meter_j") == is_gas or getattr(place.record, name, None) is not None}
    figures = {name: field for name, field in known.items() if name in asked}
    return [
        Group("Exactly one of these figures" if len(figures) > 1 else "", figures),
        Group(
            "",
            {
                "at": Moment("When", place.zone, required=True),
                "fuel_temp_c": Quantity("Temperature of the fuel", "f"),
            },
        ),
    ]


def _fuel_delivery(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "volume_m3": Quantity("Delivered", "gal", required=True),
                "temperature_corrected": Tick("The ticket states the volume at 60 °F"),
                "at": Moment("When", place.zone, required=True),
                "unit_price_usd": fields.Price("Price per gallon"),
                "fuel_temp_c": Quantity("Temperature of the fuel", "f"),
            },
        )
    ]


def _power_reading(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "meter_kwh": Quantity("Meter count", sign="kWh", required=True),
                "at": Moment("When", place.zone, required=True),
            },
        )
    ]


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
            _batch,
            {"dryers": "dryer_id"},
            {"mass_basis": Batch.MassBasis.SCALE},
            now="started_at",
            derived=("season",),
            parts=REFILLS,
        ),
        Kind(harvest.samples, "sample", "samples", _sample, {"batches": "batch_id", "bins": "bin_id"}, now="taken_at"),
        Kind(harvest.readings, "reading", "readings", _reading, {"batches": "batch_id"}, now="at"),
        Kind(harvest.fuel_readings, "fuel reading", "fuel readings", _fuel_reading, _OF_A_TANK, now="at"),
        Kind(
            harvest.fuel_deliveries,
            "fuel delivery",
            "fuel deliveries",
            _fuel_delivery,
            _OF_A_TANK,
            {"temperature_corrected": True},
            now="at",
        ),
        Kind(
            harvest.power_readings,
            "power reading",
            "power readings",
            _power_reading,
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
