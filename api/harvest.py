"""Lots, batches, tickets, readings, samples, fuel and power readings, prices and settings."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from api.fields import (
    LONGEST_NOTE,
    ChoiceField,
    CountField,
    MomentField,
    MomentOrDayField,
    PriceField,
    ReferenceField,
    TextField,
    YearField,
    optional,
)
from api.filters import choice, of_customer, reference, season
from api.quantities import QuantityField
from api.record_serializer import PartSerializer, RecordSerializer
from api.resources import Resource
from api.tickets import TICKETS
from dryrecords.harvest import services
from dryrecords.harvest.models import (
    HIGHEST_MOISTURE_PCT,
    Batch,
    Crop,
    FuelDelivery,
    FuelReading,
    Lot,
    PowerReading,
    Price,
    Reading,
    Sample,
    Setting,
)
from dryrecords.tenancy.rules import Limits

MOST_REFILLS = 200


class LotSerializer(RecordSerializer):
    model = Lot

    customer = ReferenceField()
    crop = ChoiceField(Crop.choices)
    season = YearField(help_text="Harvest year.")
    name = TextField()
    base_moisture_pct = optional(QuantityField)


class RefillSerializer(PartSerializer):
    at = MomentField()
    mass_lb = QuantityField(limits=Limits(above=0))
    moisture_pct = QuantityField(limits=Limits(low=0, high=HIGHEST_MOISTURE_PCT))


class BatchSerializer(RecordSerializer):
    model = Batch

    dryer = ReferenceField()
    crop = ChoiceField(Crop.choices)
    started_at = MomentField()
    lot = optional(ReferenceField)
    season = optional(YearField, help_text="Harvest year; left out, it follows from the start.")
    bin = optional(ReferenceField, help_text="Where the dried grain went.")
    drying_ended_at = optional(MomentField)
    cooling_ended_at = optional(MomentField)
    emptied_at = optional(MomentField)
    wet_mass_lb = optional(QuantityField, help_text="What was put in at the start; later fillings are refills.")
    fill_depth_ft = optional(QuantityField)
    fill_peaked = serializers.BooleanField(
        required=False, help_text="The fill was left peaked; the depth is that at the wall."
    )
    dry_mass_lb = optional(QuantityField)
    mass_basis = ChoiceField(Batch.MassBasis.choices)
    test_weight_lb_bu = optional(QuantityField)
    plenum_temp_f = optional(QuantityField)
    cutoff_temp_f = optional(QuantityField)
    drying_limit_h = optional(QuantityField)
    cooling_min = optional(QuantityField)
    stop_reason = optional(ChoiceField, Batch.StopReason.choices)
    ambient_temp_f = optional(QuantityField)
    ambient_rh_pct = optional(QuantityField)
    grain_temp_f = optional(QuantityField)
    refills = RefillSerializer(many=True, required=False, max_length=MOST_REFILLS)
    note = optional(TextField, LONGEST_NOTE, trim_whitespace=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("season", ...) is None:
            attrs.pop("season")
        return super().validate(attrs)


class ReadingSerializer(RecordSerializer):
    model = Reading

    batch = ReferenceField()
    at = MomentField()
    plenum_temp_f = optional(QuantityField)
    grain_temp_f = optional(QuantityField)
    exhaust_temp_f = optional(QuantityField)
    exhaust_rh_pct = optional(QuantityField)
    static_pressure_inh2o = optional(QuantityField)
    burner = optional(ChoiceField, Reading.Burner.choices)
    depth_ft = optional(QuantityField)


class SampleSerializer(RecordSerializer):
    model = Sample

    batch = optional(ReferenceField, help_text="A sample is of a batch, of a bin or of a ticket: of exactly one.")
    bin = optional(ReferenceField)
    ticket = optional(ReferenceField)
    stage = ChoiceField(Sample.Stage.choices)
    taken_at = MomentField()
    moisture_pct = QuantityField()
    tested_at = optional(MomentField)
    grain_temp_f = optional(QuantityField)
    meter = optional(ReferenceField)
    test_weight_lb_bu = optional(QuantityField)
    probes = optional(CountField, help_text="From how many probes it was mixed.")


class FuelReadingSerializer(RecordSerializer):
    model = FuelReading

    tank = ReferenceField()
    at = MomentField()
    gauge_pct = optional(QuantityField, help_text="Exactly one of gauge, volume and meter count is given.")
    volume_gal = optional(QuantityField)
    meter_gal = optional(QuantityField)
    meter_therm = optional(QuantityField)
    fuel_temp_f = optional(QuantityField)


class FuelDeliverySerializer(RecordSerializer):
    model = FuelDelivery

    tank = ReferenceField()
    at = MomentField()
    volume_gal = QuantityField()
    temperature_corrected = serializers.BooleanField(
        required=False, help_text="True, as when left out: the ticket states the volume at 60 degrees Fahrenheit."
    )
    fuel_temp_f = optional(QuantityField)
    unit_price_usd = optional(PriceField)


class PowerReadingSerializer(RecordSerializer):
    model = PowerReading

    dryer = optional(ReferenceField, help_text="A reading is of a dryer or of a whole site, never of both.")
    site = optional(ReferenceField)
    at = MomentField()
    meter_kwh = QuantityField()


class PriceSerializer(RecordSerializer):
    model = Price

    kind = ChoiceField(Price.Kind.choices)
    crop = optional(ChoiceField, Crop.choices, help_text="For the price of grain, and for no other.")
    site = optional(ReferenceField, help_text="Left out, the price holds for all sites.")
    effective_from = MomentOrDayField(help_text="A plain date is its midnight UTC.")
    unit_price_usd = PriceField(help_text="Per bushel, US gallon, therm or kilowatt-hour.")


class SettingSerializer(RecordSerializer):
    model = Setting

    effective_from = MomentOrDayField(help_text="A plain date is its midnight UTC.")
    customer = optional(ReferenceField, help_text="Left out, the setting holds for all customers.")
    crop = optional(ChoiceField, Crop.choices, help_text="Left out, it holds for all crops.")
    handling_pct = optional(QuantityField, help_text="Loss of dry matter in handling, percent of the wet mass.")
    base_moisture_pct = optional(QuantityField)
    propane_btu_gal = optional(QuantityField, help_text="Gross heating value of propane.")


_CROP = choice(Crop, "crop")
_OF_A_TANK = {"tank": reference("tank", "tank_id"), "site": reference("site", "tank__site_id")}

RESOURCES = (
    Resource(
        "Grain that is accounted for together.",
        LotSerializer,
        services.lots,
        {"customer": of_customer(Lot), "crop": _CROP, "season": season()},
    ),
    Resource(
        "Fillings of a dryer, from wet grain to the empty dryer.",
        BatchSerializer,
        services.batches,
        {
            "dryer": reference("dryer", "dryer_id"),
            "site": reference("site", "dryer__site_id"),
            "customer": of_customer(Batch),
            "lot": reference("lot", "lot_id"),
            "bin": reference("bin", "bin_id"),
            "season": season(),
            "crop": _CROP,
        },
    ),
    TICKETS,
    Resource(
        "What a dryer showed during a batch.",
        ReadingSerializer,
        services.readings,
        {
            "batch": reference("batch", "batch_id"),
            "dryer": reference("dryer", "batch__dryer_id"),
            "site": reference("site", "batch__dryer__site_id"),
            "customer": of_customer(Reading),
            "season": season("batch__season"),
            "crop": choice(Crop, "batch__crop"),
        },
    ),
    Resource(
        "Moisture tests.",
        SampleSerializer,
        services.samples,
        {
            "batch": reference("batch", "batch_id"),
            "bin": reference("bin", "bin_id"),
            "ticket": reference("ticket", "ticket_id"),
            "meter": reference("meter", "meter_id"),
            "stage": choice(Sample.Stage, "stage"),
            "dryer": reference("dryer", "batch__dryer_id"),
            "site": reference("site", "batch__dryer__site_id", "bin__site_id"),
            "customer": of_customer(Sample),
            "season": season("batch__season"),
            "crop": choice(Crop, "batch__crop"),
        },
    ),
    Resource(
        "Gauges and meter counts of fuel.",
        FuelReadingSerializer,
        services.fuel_readings,
        {**_OF_A_TANK, "customer": of_customer(FuelReading)},
    ),
    Resource(
        "Fuel that was delivered.",
        FuelDeliverySerializer,
        services.fuel_deliveries,
        {**_OF_A_TANK, "customer": of_customer(FuelDelivery)},
    ),
    Resource(
        "Counts of electricity meters.",
        PowerReadingSerializer,
        services.power_readings,
        {
            "dryer": reference("dryer", "dryer_id"),
            "site": reference("site", "site_id", "dryer__site_id"),
            "customer": of_customer(PowerReading),
        },
    ),
    Resource(
        "Prices of grain and energy, and from when they hold.",
        PriceSerializer,
        services.prices,
        {"kind": choice(Price.Kind, "kind"), "crop": _CROP, "site": reference("site", "site_id")},
    ),
    Resource(
        "Conventions of the organization, and from when they hold.",
        SettingSerializer,
        services.settings,
        {"customer": of_customer(Setting), "crop": _CROP},
    ),
)
