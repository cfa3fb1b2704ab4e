"""Tables: batches, readings, samples, fuel and power readings, prices and settings in force; lots and tickets."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import Q
from django.db.models.expressions import RawSQL

from dryrecords.equipment.models import Bin, Dryer, Meter, Tank
from dryrecords.harvest.import_model import Import as Import
from dryrecords.harvest.lot_model import HIGHEST_MOISTURE_PCT as HIGHEST_MOISTURE_PCT
from dryrecords.harvest.lot_model import Crop as Crop
from dryrecords.harvest.lot_model import Lot as Lot
from dryrecords.harvest.lot_model import moisture, test_weight
from dryrecords.harvest.ticket_model import Ticket as Ticket
from dryrecords.tenancy.models import Customer, Site
from dryrecords.tenancy.records import Record, above_zero, between, in_order, once_in_force, record_constraints


class Batch(Record):
    """One filling of a dryer, from the first wet grain to the empty dryer."""

    resource = "batches"
    listed_by = "started_at"
    customer_paths = ("lot__customer", "dryer__site__customer")

    class MassBasis(models.TextChoices):
        SCALE = "scale"
        VOLUME = "volume"
        ESTIMATE = "estimate"

    class StopReason(models.TextChoices):
        CUTOFF = "cutoff"
        TIME_LIMIT = "time_limit"
        OPERATOR = "operator"
        FAULT = "fault"

    dryer = models.ForeignKey(Dryer, on_delete=models.PROTECT, related_name="batches")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, related_name="batches")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, null=True, related_name="batches")
    crop = models.CharField(max_length=10, choices=Crop)
    season = models.IntegerField()
    started_at = models.DateTimeField()
    drying_ended_at = models.DateTimeField(null=True)
    cooling_ended_at = models.DateTimeField(null=True)
    emptied_at = models.DateTimeField(null=True)
    # What went in at the start; what was added later stands in refills.
    wet_mass_kg = models.FloatField(null=True)
    fill_depth_m = models.FloatField(null=True)
    fill_peaked = models.BooleanField(default=False)
    dry_mass_kg = models.FloatField(null=True)
    mass_basis = models.CharField(max_length=8, choices=MassBasis)
    test_weight_kg_m3 = models.FloatField(null=True)
    plenum_temp_c = models.FloatField(null=True)
    cutoff_temp_c = models.FloatField(null=True)
    drying_limit_s = models.FloatField(null=True)
    cooling_s = models.FloatField(null=True)
    stop_reason = models.CharField(max_length=10, choices=StopReason, blank=True, default="")
    ambient_temp_c = models.FloatField(null=True)
    ambient_rh_pct = models.FloatField(null=True)
    grain_temp_c = models.FloatField(null=True)
    # [{at, mass_kg, moisture_pct}]: parts of the batch, replaced with it.
    refills = models.JSONField(default=list)
    note = models.TextField(blank=True, default="")

    class Meta:
        constraints = [
            *record_constraints("batch"),
            in_order("started_at", "drying_ended_at", "batch_dried_after_start"),
            in_order("drying_ended_at", "cooling_ended_at", "batch_cooled_after_dried"),
            in_order("started_at", "cooling_ended_at", "batch_cooled_after_start"),
            in_order("cooling_ended_at", "emptied_at", "batch_emptied_after_cooled"),
            in_order("drying_ended_at", "emptied_at", "batch_emptied_after_dried"),
            in_order("started_at", "emptied_at", "batch_emptied_after_start"),
            *[
                above_zero(field, f"batch_{field}", "must be above zero.")
                for field in (
                    "wet_mass_kg",
                    "fill_depth_m",
                    "dry_mass_kg",
                    "drying_limit_s",
                )
            ],
            test_weight("batch_test_weight"),
            between("cooling_s", 0, 30 * 86400, "batch_cooling_s", "must be between 0 and 30 days."),
            between("ambient_rh_pct", 0, 100, "batch_ambient_rh", "must be between 0 and 100 percent."),
            *[
                between(field, -60, 400, f"batch_{field}", "is not a temperature of grain or drying air.")
                for field in ("plenum_temp_c", "cutoff_temp_c", "ambient_temp_c", "grain_temp_c")
            ],
            between("season", 1900, 2200, "batch_season", "must be a year."),
            models.CheckConstraint(
                condition=Q(
                    RawSQL(
                        "NOT jsonb_path_exists(refills,"
                        " '$[*] ? (!(@.mass_kg > 0) || !(@.moisture_pct >= 0 && @.moisture_pct <= 60))')",
                        (),
                        output_field=models.BooleanField(),
                    )
                ),
                name="batch_refills",
                violation_error_code="out_of_range",
                violation_error_message="refills|need a mass above zero and a moisture between 0 and 60 percent.",
            ),
        ]
        indexes = [
            models.Index(fields=["organization", "-started_at", "id"], name="batch_listed"),
            models.Index(fields=["dryer", "started_at"], name="batch_of_dryer"),
            models.Index(fields=["organization", "season"], name="batch_of_season"),
        ]

    def __str__(self) -> str:
        return f"{self.crop} {self.started_at:%Y-%m-%d %H:%M}"

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        """The grain of a lot is its customer's, wherever it is dried; without a lot it is the site's."""
        without_lot = Q(**{f"{prefix}lot__isnull": True}) & Dryer.of_customer(customer_id, f"{prefix}dryer__")
        return Lot.of_customer(customer_id, f"{prefix}lot__") | without_lot


class Reading(Record):
    """What the dryer showed at a moment of a batch."""

    resource = "readings"
    listed_by = "at"
    removed_with = ("batch",)
    customer_paths = ("batch__lot__customer", "batch__dryer__site__customer")

    class Burner(models.TextChoices):
        OFF = "off"
        LOW = "low"
        HIGH = "high"

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="readings")
    at = models.DateTimeField()
    plenum_temp_c = models.FloatField(null=True)
    grain_temp_c = models.FloatField(null=True)
    exhaust_temp_c = models.FloatField(null=True)
    exhaust_rh_pct = models.FloatField(null=True)
    static_pressure_pa = models.FloatField(null=True)
    burner = models.CharField(max_length=4, choices=Burner, blank=True, default="")
    depth_m = models.FloatField(null=True)

    class Meta:
        constraints = [
            *record_constraints("reading"),
            between("exhaust_rh_pct", 0, 100, "reading_exhaust_rh", "must be between 0 and 100 percent."),
            between("depth_m", 0, 60, "reading_depth", "must be between 0 and 60 m."),
            *[
                between(field, -60, 400, f"reading_{field}", "is not a temperature of grain or drying air.")
                for field in ("plenum_temp_c", "grain_temp_c", "exhaust_temp_c")
            ],
        ]
        indexes = [models.Index(fields=["organization", "-at", "id"], name="reading_listed")]

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Batch.of_customer(customer_id, f"{prefix}batch__")


class Sample(Record):
    """A moisture test: of a batch, of what stands in a bin, or of a delivery."""

    resource = "samples"
    listed_by = "taken_at"
    removed_with = ("batch", "ticket")
    customer_paths = (
        "batch__lot__customer",
        "batch__dryer__site__customer",
        "bin__site__customer",
        "ticket__lot__customer",
        "ticket__customer",
    )

    class Stage(models.TextChoices):
        WET = "wet"
        DRYING = "drying"
        HOT = "hot"
        COOLED = "cooled"
        STORED = "stored"
        DELIVERED = "delivered"

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, null=True, related_name="samples")
    bin = models.ForeignKey(Bin, on_delete=models.PROTECT, null=True, related_name="samples")
    ticket = models.ForeignKey(Ticket, on_delete=models.PROTECT, null=True, db_index=False, related_name="samples")
    stage = models.CharField(max_length=9, choices=Stage)
    taken_at = models.DateTimeField()
    tested_at = models.DateTimeField(null=True)
    moisture_pct = models.FloatField()
    grain_temp_c = models.FloatField(null=True)
    meter = models.ForeignKey(Meter, on_delete=models.PROTECT, null=True, related_name="samples")
    test_weight_kg_m3 = models.FloatField(null=True)
    probes = models.IntegerField(null=True)

    class Meta:
        constraints = [
            *record_constraints("sample"),
            moisture("moisture_pct", "sample_moisture"),
            in_order("taken_at", "tested_at", "sample_tested_after_taken"),
            test_weight("sample_test_weight"),
            above_zero("probes", "sample_probes", "must be above zero."),
            between("grain_temp_c", -60, 400, "sample_grain_temp", "is not a temperature of grain."),
            models.CheckConstraint(
                condition=Q(batch__isnull=False, bin__isnull=True, ticket__isnull=True)
                | Q(batch__isnull=True, bin__isnull=False, ticket__isnull=True)
                | Q(batch__isnull=True, bin__isnull=True, ticket__isnull=False),
                name="sample_of_one_thing",
                violation_error_code="one_parent",
                violation_error_message="batch|or bin or ticket: a sample is of exactly one of them.",
            ),
        ]
        indexes = [
            models.Index(fields=["organization", "-taken_at", "id"], name="sample_listed"),
            models.Index(fields=["ticket"], condition=Q(ticket__isnull=False), name="sample_of_ticket"),
        ]

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        of_batch = Q(**{f"{prefix}batch__isnull": False}) & Batch.of_customer(customer_id, f"{prefix}batch__")
        of_bin = Q(**{f"{prefix}bin__isnull": False}) & Bin.of_customer(customer_id, f"{prefix}bin__")
        of_ticket = Q(**{f"{prefix}ticket__isnull": False}) & Ticket.of_customer(customer_id, f"{prefix}ticket__")
        return of_batch | of_bin | of_ticket


class FuelReading(Record):
    """A tank's gauge or volume, or a meter's count, at a moment. A gas meter counts therms, as the bill does."""

    resource = "fuel-readings"
    listed_by = "at"
    customer_paths = ("tank__site__customer",)

    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="readings")
    at = models.DateTimeField()
    gauge_pct = models.FloatField(null=True)
    volume_m3 = models.FloatField(null=True)
    meter_m3 = models.FloatField(null=True)
    meter_j = models.FloatField(null=True)
    fuel_temp_c = models.FloatField(null=True)

    class Meta:
        constraints = [
            *record_constraints("fuel_reading"),
            between("gauge_pct", 0, 100, "fuel_reading_gauge", "must be between 0 and 100 percent."),
            *[
                between(field, 0, 1e18, f"fuel_reading_{field}", "must not be below zero.")
                for field in ("volume_m3", "meter_m3", "meter_j")
            ],
            between("fuel_temp_c", -60, 60, "fuel_reading_temp", "is not a temperature of stored fuel."),
            models.CheckConstraint(
                condition=Q(
                    RawSQL(
                        "num_nonnulls(gauge_pct, volume_m3, meter_m3, meter_j) = 1",
                        (),
                        output_field=models.BooleanField(),
                    )
                ),
                name="fuel_reading_one_figure",
                violation_error_code="one_figure",
                violation_error_message="gauge_pct|or a volume or a meter count: exactly one of them is needed.",
            ),
        ]
        indexes = [
            models.Index(fields=["organization", "-at", "id"], name="fuel_reading_listed"),
            models.Index(fields=["tank", "at"], name="fuel_reading_of_tank"),
        ]

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Tank.of_customer(customer_id, f"{prefix}tank__")


class FuelDelivery(Record):
    resource = "fuel-deliveries"
    listed_by = "at"
    customer_paths = ("tank__site__customer",)

    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, related_name="deliveries")
    at = models.DateTimeField()
    volume_m3 = models.FloatField()
    # True when the ticket already states the volume at 60 degrees Fahrenheit.
    temperature_corrected = models.BooleanField(default=True)
    fuel_temp_c = models.FloatField(null=True)
    unit_price_usd = models.DecimalField(max_digits=12, decimal_places=6, null=True)

    class Meta:
        constraints = [
            *record_constraints("fuel_delivery"),
            above_zero("volume_m3", "fuel_delivery_volume", "must be above zero."),
            between("fuel_temp_c", -60, 60, "fuel_delivery_temp", "is not a temperature of stored fuel."),
            between("unit_price_usd", 0, 1_000_000, "fuel_delivery_price", "must not be below zero."),
        ]
        indexes = [
            models.Index(fields=["organization", "-at", "id"], name="fuel_delivery_listed"),
            models.Index(fields=["tank", "at"], name="fuel_delivery_of_tank"),
        ]

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Tank.of_customer(customer_id, f"{prefix}tank__")


class PowerReading(Record):
    """The count of an electricity meter, of one dryer or of a whole site."""

    resource = "power-readings"
    listed_by = "at"
    customer_paths = ("dryer__site__customer", "site__customer")

    dryer = models.ForeignKey(Dryer, on_delete=models.PROTECT, null=True, related_name="power_readings")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="power_readings")
    at = models.DateTimeField()
    meter_kwh = models.FloatField()

    class Meta:
        constraints = [
            *record_constraints("power_reading"),
            between("meter_kwh", 0, 1e12, "power_reading_meter", "must not be below zero."),
            models.CheckConstraint(
                condition=Q(dryer__isnull=False, site__isnull=True) | Q(dryer__isnull=True, site__isnull=False),
                name="power_reading_of_one_thing",
                violation_error_code="one_parent",
                violation_error_message="dryer|or site: a power reading is of exactly one of them.",
            ),
        ]
        indexes = [models.Index(fields=["organization", "-at", "id"], name="power_reading_listed")]

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        of_dryer = Q(**{f"{prefix}dryer__isnull": False}) & Dryer.of_customer(customer_id, f"{prefix}dryer__")
        return of_dryer | Site.of_customer(customer_id, f"{prefix}site__")


class InForce(Record):
    """What holds from a moment on, until a later row of the same scope takes its place."""

    listed_by = "effective_from"

    effective_from = models.DateTimeField()

    class Meta:
        abstract = True


class Price(InForce):
    """Per bushel of a crop, US gallon, therm or kilowatt-hour."""

    resource = "prices"
    customer_paths = ("site__customer",)

    class Kind(models.TextChoices):
        GRAIN = "grain"
        PROPANE = "propane"
        NATURAL_GAS = "natural_gas"
        DIESEL = "diesel"
        ELECTRICITY = "electricity"

    kind = models.CharField(max_length=11, choices=Kind)
    crop = models.CharField(max_length=10, choices=Crop, blank=True, default="")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, null=True, related_name="prices")
    unit_price_usd = models.DecimalField(max_digits=12, decimal_places=6)

    class Meta:
        constraints = [
            *record_constraints("price"),
            once_in_force("price_once", "kind", "crop", "site"),
            between("unit_price_usd", 0, 1_000_000, "price_not_negative", "must not be below zero."),
            models.CheckConstraint(
                condition=(Q(kind="grain") & ~Q(crop="")) | (~Q(kind="grain") & Q(crop="")),
                name="price_of_grain_names_crop",
                violation_error_code="crop_needed",
                violation_error_message="crop|goes with the price of grain, and with no other.",
            ),
        ]
        indexes = [models.Index(fields=["organization", "-effective_from", "id"], name="price_listed")]

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Site.of_customer(customer_id, f"{prefix}site__")


class Setting(InForce):
    """Conventions of the organization; a row for a customer or a crop goes before one for all."""

    resource = "settings"
    customer_paths = ("customer",)

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, null=True, related_name="settings")
    crop = models.CharField(max_length=10, choices=Crop, blank=True, default="")
    handling_pct = models.FloatField(null=True)
    base_moisture_pct = models.FloatField(null=True)
    # Gross heating value of propane.
    propane_j_m3 = models.FloatField(null=True)

    class Meta:
        constraints = [
            *record_constraints("setting"),
            once_in_force("setting_once", "customer", "crop"),
            between("handling_pct", 0, 10, "setting_handling", "must be between 0 and 10 percent of the wet mass."),
            moisture("base_moisture_pct", "setting_base_moisture"),
            above_zero("propane_j_m3", "setting_propane", "must be above zero."),
        ]
        indexes = [models.Index(fields=["organization", "-effective_from", "id"], name="setting_listed")]

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Customer.of_customer(customer_id, f"{prefix}customer__")


def last_moment(batch: Batch) -> Any:
    """The end of a batch as far as it is known."""
    return batch.drying_ended_at or batch.started_at
