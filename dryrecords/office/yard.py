"""Forms of what happens in the yard, in the words and units of people, grouped as it comes to hand."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms

from dryrecords.equipment.models import Fuel
from dryrecords.harvest.models import Batch, Crop, Reading, Sample
from dryrecords.office import fields
from dryrecords.office.fields import Choice, Count, Moment, Quantity, Reference, Text, Tick
from dryrecords.office.record_form import Group, Parts, Place

LONGEST_NOTE = 10_000
SPARE_REFILLS = 2
REFILLS = Parts("refills", "refill", ("at", "mass_kg", "moisture_pct"))


def batch_groups(place: Place) -> list[Group]:
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


def sample_groups(place: Place) -> list[Group]:
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


def reading_groups(place: Place) -> list[Group]:
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


def fuel_reading_groups(place: Place) -> list[Group]:
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


def fuel_delivery_groups(place: Place) -> list[Group]:
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


def power_reading_groups(place: Place) -> list[Group]:
    return [
        Group(
            "",
            {
                "meter_kwh": Quantity("Meter count", sign="kWh", required=True),
                "at": Moment("When", place.zone, required=True),
            },
        )
    ]


def values_of(record: Any) -> dict[str, Any]:
    values = {field.attname: getattr(record, field.attname) for field in record._meta.concrete_fields}
    return values | (refills_shown(record) if isinstance(record, Batch) else {})
