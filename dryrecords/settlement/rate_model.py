"""Table: what a drying company charges, and what it gives back of commingled grain, from a day on."""

from __future__ import annotations

from decimal import Decimal
from uuid import UUID

from django.db import models
from django.db.models import Q
from django.db.models.expressions import RawSQL
from django.db.models.fields import NOT_PROVIDED

from dryrecords.harvest.models import Crop, InForce
from dryrecords.tenancy.models import Customer
from dryrecords.tenancy.records import above_zero, between, once_in_force, record_constraints


def amount(*, null: bool = False, default: Decimal | type[NOT_PROVIDED] = NOT_PROVIDED) -> models.DecimalField:
    """Money, percent or bushels of a contract, in the contract's own units."""
    return models.DecimalField(max_digits=12, decimal_places=6, null=null, default=default)


def increment(field: str, name: str) -> models.CheckConstraint:
    return models.CheckConstraint(
        condition=Q(**{f"{field}__gt": 0, f"{field}__lte": 1}),
        name=name,
        violation_error_code="out_of_range",
        violation_error_message=f"{field}|must be above 0 and at most 1.",
    )


class Rate(InForce):
    """A row for a customer or a crop goes before one for all. Money is per bushel unless its name says otherwise."""

    resource = "rates"
    customer_paths = ("customer",)

    class Bushels(models.TextChoices):
        WET = "wet_bu"
        DRY = "dry_bu"

    class Points(models.TextChoices):
        REMOVED = "removed"
        # What is dried below the base is not charged.
        TO_BASE = "to_base"

    class Per(models.TextChoices):
        BATCH = "batch"
        BUSHEL = "bu"

    class Gas(models.TextChoices):
        PROPANE = "propane"
        NATURAL_GAS = "natural_gas"
        DIESEL = "diesel"

    class Shrink(models.TextChoices):
        ACTUAL = "actual"
        FACTOR = "factor"

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, null=True, related_name="rates")
    crop = models.CharField(max_length=10, choices=Crop, blank=True, default="")
    # Either so much for every point, or bands of points that add up:
    # [{above_points, up_to_points, step_points, per_step_usd_bu}], decimals as text.
    drying_per_point_usd_bu = amount(null=True)
    bands = models.JSONField(default=list)
    drying_on = models.CharField(max_length=6, choices=Bushels)
    points_counted = models.CharField(max_length=7, choices=Points, default=Points.REMOVED)
    # Left out, the base of the batch's own lot or of the settings.
    base_moisture_pct = amount(null=True)
    moisture_rounding_pct = amount(default=Decimal("0.1"))
    bushel_rounding_bu = amount(default=Decimal("0.01"))
    minimum_usd = amount(null=True)
    minimum_per = models.CharField(max_length=5, choices=Per, blank=True, default="")
    # For every started step of the price of gas above the base price, so much per point and bushel.
    surcharge_fuel = models.CharField(max_length=11, choices=Gas, blank=True, default="")
    surcharge_above_usd = amount(null=True)
    surcharge_step_usd = amount(null=True)
    surcharge_per_step_usd_bu = amount(null=True)
    in_usd_bu = amount(null=True)
    out_usd_bu = amount(null=True)
    # Left out, the grain is not commingled: what came out is what goes back.
    shrink = models.CharField(max_length=6, choices=Shrink, blank=True, default="")
    shrink_factor_pct_per_point = amount(null=True)
    shrink_handling_pct = amount(null=True)

    class Meta:
        constraints = [
            *record_constraints("rate"),
            once_in_force("rate_once", "customer", "crop"),
            *[
                between(field, 0, 1000, f"rate_{field}", "must be between 0 and 1,000.")
                for field in (
                    "drying_per_point_usd_bu",
                    "surcharge_above_usd",
                    "surcharge_per_step_usd_bu",
                    "in_usd_bu",
                    "out_usd_bu",
                )
            ],
            between("minimum_usd", 0, 100_000, "rate_minimum_usd", "must be between 0 and 100,000."),
            above_zero("surcharge_step_usd", "rate_surcharge_step_usd", "must be above zero."),
            between("base_moisture_pct", 0, 60, "rate_base_moisture", "must be between 0 and 60 percent wet basis."),
            increment("moisture_rounding_pct", "rate_moisture_rounding"),
            increment("bushel_rounding_bu", "rate_bushel_rounding"),
            between("shrink_factor_pct_per_point", 0, 10, "rate_shrink_factor", "must be between 0 and 10 percent."),
            between("shrink_handling_pct", 0, 10, "rate_shrink_handling", "must be between 0 and 10 percent."),
            models.CheckConstraint(
                condition=Q(
                    RawSQL(
                        "num_nonnulls(drying_per_point_usd_bu, nullif(bands, '[]')) = 1",
                        (),
                        output_field=models.BooleanField(),
                    )
                ),
                name="rate_one_charge",
                violation_error_code="one_charge",
                violation_error_message="drying_per_point_usd_bu|or bands: exactly one of them is needed.",
            ),
            models.CheckConstraint(
                condition=Q(minimum_usd__isnull=True, minimum_per="")
                | (Q(minimum_usd__isnull=False) & ~Q(minimum_per="")),
                name="rate_minimum_is_per_something",
                violation_error_code="minimum_incomplete",
                violation_error_message="minimum_per|goes with minimum_usd: a minimum is per batch or per bushel.",
            ),
            models.CheckConstraint(
                condition=Q(
                    surcharge_fuel="",
                    surcharge_above_usd__isnull=True,
                    surcharge_step_usd__isnull=True,
                    surcharge_per_step_usd_bu__isnull=True,
                )
                | (
                    ~Q(surcharge_fuel="")
                    & Q(
                        surcharge_above_usd__isnull=False,
                        surcharge_step_usd__isnull=False,
                        surcharge_per_step_usd_bu__isnull=False,
                    )
                ),
                name="rate_surcharge_is_whole",
                violation_error_code="surcharge_incomplete",
                violation_error_message="surcharge_fuel|and the other three fields of the surcharge go together.",
            ),
            models.CheckConstraint(
                condition=Q(shrink="factor", shrink_factor_pct_per_point__isnull=False)
                | (~Q(shrink="factor") & Q(shrink_factor_pct_per_point__isnull=True, shrink_handling_pct__isnull=True)),
                name="rate_factor_shrink_has_a_factor",
                violation_error_code="shrink_incomplete",
                violation_error_message="shrink|factor goes with shrink_factor_pct_per_point, and with no other.",
            ),
        ]
        indexes = [models.Index(fields=["organization", "-effective_from", "id"], name="rate_listed")]

    def __str__(self) -> str:
        return f"{self.crop or 'all crops'} from {self.effective_from:%Y-%m-%d}"

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        """A customer sees what it is charged by: its own rates, and those for all."""
        return Q(**{f"{prefix}customer_id": customer_id}) | Q(**{f"{prefix}customer_id__isnull": True})
