"""The tables of lots, and what other tables of harvest share: crops, and ranges of what is measured of grain."""

from __future__ import annotations

from uuid import UUID

from django.db import models
from django.db.models import Q

from dryrecords.tenancy.models import Customer
from dryrecords.tenancy.records import Record, between, record_constraints

HIGHEST_MOISTURE_PCT = 60


def test_weight(name: str) -> models.CheckConstraint:
    # 10 to 100 pounds a bushel, about: sunflower and heavy beans lie inside, kilograms in the place of pounds do not.
    detail = "must be between 10 and 100 pounds a bushel."
    return between("test_weight_kg_m3", 128, 1288, name, detail)


def moisture(field: str, name: str) -> models.CheckConstraint:
    return between(field, 0, HIGHEST_MOISTURE_PCT, name, "must be between 0 and 60 percent wet basis.")


class Crop(models.TextChoices):
    """The crops that the numeric core knows."""

    CORN = "corn"
    SOYBEAN = "soybean"
    WHEAT = "wheat"
    SORGHUM = "sorghum"
    BARLEY = "barley"
    OATS = "oats"
    RYE = "rye"
    FLAX = "flax"
    CANOLA = "canola"
    ROUGH_RICE = "rough_rice"
    SUNFLOWER = "sunflower"


class Lot(Record):
    """Grain of one customer, crop and season that is accounted for together."""

    resource = "lots"
    customer_paths = ("customer",)

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="lots")
    crop = models.CharField(max_length=10, choices=Crop)
    season = models.IntegerField()
    name = models.CharField(max_length=200)
    base_moisture_pct = models.FloatField(null=True)

    class Meta:
        constraints = [
            *record_constraints("lot"),
            moisture("base_moisture_pct", "lot_base_moisture"),
            between("season", 1900, 2200, "lot_season", "must be a year."),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Customer.of_customer(customer_id, f"{prefix}customer__")
