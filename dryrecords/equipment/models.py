"""Tables: fuel tanks, dryers, bins, moisture meters."""

from __future__ import annotations

from uuid import UUID

from django.db import models
from django.db.models import Q

from dryrecords.tenancy.models import Site
from dryrecords.tenancy.records import Record, above_zero, between, record_constraints


class Fuel(models.TextChoices):
    PROPANE = "propane"
    NATURAL_GAS = "natural_gas"
    DIESEL = "diesel"


class SiteEquipment(Record):
    """What stands at a site and belongs to the site's customer."""

    customer_paths = ("site__customer",)

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="%(class)ss")
    name = models.CharField(max_length=200)

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.name

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Site.of_customer(customer_id, f"{prefix}site__")


class Tank(SiteEquipment):
    """Where a dryer's fuel is read: a tank, or the gas meter of a natural gas supply."""

    resource = "tanks"

    fuel = models.CharField(max_length=11, choices=Fuel)
    capacity_m3 = models.FloatField(null=True)

    class Meta:
        constraints = [
            *record_constraints("tank"),
            above_zero("capacity_m3", "tank_capacity", "must be above zero."),
        ]


class Dryer(SiteEquipment):
    resource = "dryers"

    class Type(models.TextChoices):
        BATCH_IN_BIN = "batch_in_bin"
        IN_BIN = "in_bin"
        COLUMN_BATCH = "column_batch"
        CONTINUOUS_FLOW = "continuous_flow"

    type = models.CharField(max_length=15, choices=Type)
    tank = models.ForeignKey(Tank, on_delete=models.PROTECT, null=True, related_name="dryers")
    diameter_m = models.FloatField(null=True)
    bed_area_m2 = models.FloatField(null=True)
    bed_depth_m = models.FloatField(null=True)
    holding_capacity_m3 = models.FloatField(null=True)
    burner_max_w = models.FloatField(null=True)
    sensor_height_m = models.FloatField(null=True)
    # [{purpose, power_w, diameter_m, airflow_m3_s, static_pressure_pa}]: parts of the dryer, replaced with it.
    fans = models.JSONField(default=list)

    class Meta:
        constraints = [
            *record_constraints("dryer"),
            *[
                above_zero(field, f"dryer_{field}", "must be above zero.")
                for field in (
                    "diameter_m",
                    "bed_area_m2",
                    "bed_depth_m",
                    "holding_capacity_m3",
                    "burner_max_w",
                )
            ],
            between("sensor_height_m", 0, 50, "dryer_sensor_height", "must be between 0 and 50 m."),
        ]


class Bin(SiteEquipment):
    resource = "bins"

    class Bottom(models.TextChoices):
        FLAT = "flat"
        HOPPER = "hopper"

    diameter_m = models.FloatField(null=True)
    eave_height_m = models.FloatField(null=True)
    bottom = models.CharField(max_length=6, choices=Bottom, default=Bottom.FLAT)

    class Meta:
        constraints = [
            *record_constraints("bin"),
            above_zero("diameter_m", "bin_diameter", "must be above zero."),
            above_zero("eave_height_m", "bin_eave_height", "must be above zero."),
        ]


class Meter(Record):
    """A moisture meter. Without a figure of its own it is taken to be within the published tolerance."""

    resource = "meters"

    name = models.CharField(max_length=200)
    serial_number = models.CharField(max_length=100, blank=True, default="")
    standard_uncertainty_pct = models.FloatField(null=True)

    class Meta:
        constraints = [
            *record_constraints("meter"),
            between("standard_uncertainty_pct", 0.001, 10, "meter_uncertainty", "must be above 0 and at most 10."),
        ]

    def __str__(self) -> str:
        return self.name
