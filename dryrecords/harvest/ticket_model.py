"""The table of scale tickets: a load that a buyer weighed, tested and settled, in the figures of the ticket itself."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from django.db import models
from django.db.models import Q

from dryrecords.core.clock import FIRST_MONTH_OF_A_SEASON
from dryrecords.harvest.lot_model import HIGHEST_MOISTURE_PCT, Crop, Lot
from dryrecords.tenancy.models import Customer
from dryrecords.tenancy.records import Record, between, record_constraints

STATED = ("net_bu", "shrink_bu", "moisture_discount_usd", "drying_charge_usd", "net_amount_usd")


def exact(digits: int, places: int, *, null: bool = False) -> models.DecimalField[Any, Any]:
    return models.DecimalField(max_digits=digits, decimal_places=places, null=null)


class Ticket(Record):
    """Weights, moisture and money are decimals in the units of the ticket: what is audited to the cent is kept so.

    The same number may stand on two tickets: that is for an audit to find.
    """

    resource = "tickets"
    listed_by = "delivered_at"
    customer_paths = ("lot__customer", "customer")

    class Disposition(models.TextChoices):
        SOLD = "sold"
        STORED = "stored"

    number = models.CharField(max_length=100)
    buyer = models.CharField(max_length=200)
    crop = models.CharField(max_length=10, choices=Crop)
    delivered_at = models.DateTimeField()
    disposition = models.CharField(max_length=6, choices=Disposition, default=Disposition.SOLD)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, null=True, related_name="tickets")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, null=True, related_name="tickets")
    gross_lb = exact(9, 2)
    tare_lb = exact(9, 2)
    moisture_pct = exact(5, 3)
    test_weight_lb_bu = exact(5, 2, null=True)
    price_usd_bu = exact(10, 6, null=True)
    stated_net_bu = exact(10, 4, null=True)
    stated_shrink_bu = exact(10, 4, null=True)
    stated_moisture_discount_usd = exact(12, 2, null=True)
    stated_drying_charge_usd = exact(12, 2, null=True)
    stated_net_amount_usd = exact(12, 2, null=True)

    class Meta:
        constraints = [
            *record_constraints("ticket"),
            *[
                between(field, 0, 9_999_999, f"ticket_{field}", "must be between 0 and 9,999,999 pounds.")
                for field in ("gross_lb", "tare_lb")
            ],
            models.CheckConstraint(
                condition=Q(gross_lb__gt=models.F("tare_lb")),
                name="ticket_tare_below_gross",
                violation_error_code="weights_out_of_order",
                violation_error_message="tare_lb|must be below gross_lb.",
            ),
            between("moisture_pct", 0, HIGHEST_MOISTURE_PCT, "ticket_moisture", "must be between 0 and 60 percent."),
            between("test_weight_lb_bu", 10, 100, "ticket_test_weight", "must be between 10 and 100 pounds a bushel."),
            between("price_usd_bu", 0, 1_000, "ticket_price", "must be between 0 and 1,000 dollars a bushel."),
        ]
        indexes = [
            models.Index(fields=["organization", "-delivered_at", "id"], name="ticket_listed"),
            models.Index(fields=["organization", "buyer", "crop", "delivered_at"], name="ticket_of_buyer"),
        ]

    def __str__(self) -> str:
        return f"{self.number} ({self.buyer})"

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        """Grain of a lot is its customer's; without a lot it is that of the customer whom the ticket names."""
        without_lot = Q(**{f"{prefix}lot__isnull": True, f"{prefix}customer_id": customer_id})
        return Lot.of_customer(customer_id, f"{prefix}lot__") | without_lot

    @classmethod
    def of_season(cls, season: int) -> Q:
        """The lot's harvest year; without a lot, what was delivered from its beginning to that of the next."""
        begins, ends = (datetime(year, FIRST_MONTH_OF_A_SEASON, 1, tzinfo=UTC) for year in (season, season + 1))
        delivered = Q(lot__isnull=True, delivered_at__gte=begins, delivered_at__lt=ends)
        return Q(lot__season=season) | delivered
