"""The table of discount schedules: what a buyer takes off for moisture, from when until when."""

from __future__ import annotations

from datetime import datetime

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateTimeRangeField, IntegerRangeField
from django.db import models
from django.db.models import Case, F, Func, Q, When

from dryrecords.harvest.models import Crop, InForce
from dryrecords.tenancy.records import record_constraints

# Sold grain is the part of the range from 0 to 1, stored grain from 1 to 2, any grain both of them.
_DISPOSITIONS = Func(
    Case(When(disposition="stored", then=1), default=0),
    Case(When(disposition="sold", then=1), default=2),
    function="int4range",
    output_field=IntegerRangeField(),
)
_PERIOD = Func(F("effective_from"), F("effective_to"), function="tstzrange", output_field=DateTimeRangeField())


class Schedule(InForce):
    """In force from a moment on and until another one, which no longer belongs to it.

    Moments and not days: a ticket knows when its load was delivered, and nothing knows a buyer's time zone.
    """

    resource = "schedules"
    # The organization's own, like its meters: which buyers others deliver to is none of a customer's business.
    customer_paths = ()

    class Disposition(models.TextChoices):
        ANY = "any"
        SOLD = "sold"
        STORED = "stored"

    buyer = models.CharField(max_length=200)
    crop = models.CharField(max_length=10, choices=Crop)
    effective_to = models.DateTimeField(null=True)
    disposition = models.CharField(max_length=6, choices=Disposition, default=Disposition.ANY)
    jurisdiction = models.CharField(max_length=100, blank=True, default="")
    # As it was given; rules.rules_of reads it.
    rules = models.JSONField()

    class Meta:
        constraints = [
            *record_constraints("schedule"),
            models.CheckConstraint(
                condition=Q(effective_to__gt=F("effective_from")) | Q(effective_to__isnull=True),
                name="schedule_ends_after_it_begins",
                violation_error_code="times_out_of_order",
                violation_error_message="effective_to|must be after effective_from.",
            ),
            ExclusionConstraint(
                name="schedule_one_at_a_time",
                expressions=[
                    ("organization", "="),
                    ("buyer", "="),
                    ("crop", "="),
                    (_DISPOSITIONS, "&&"),
                    (_PERIOD, "&&"),
                ],
                condition=Q(deleted_at__isnull=True),
                violation_error_code="overlaps",
                violation_error_message="effective_from|overlaps a schedule of this buyer, crop and disposition.",
            ),
        ]
        indexes = [models.Index(fields=["organization", "-effective_from", "id"], name="schedule_listed")]

    def __str__(self) -> str:
        until = f"to {self.effective_to.isoformat()}" if self.effective_to else "on"
        return f"{self.buyer}, {self.crop}, {self.disposition}, from {self.effective_from.isoformat()} {until}"

    @classmethod
    def in_force(cls, moment: datetime) -> Q:
        return Q(effective_from__lte=moment) & (Q(effective_to__gt=moment) | Q(effective_to__isnull=True))

    def overlaps(self, other: Schedule) -> bool:
        same_grain = self.disposition == other.disposition or self.Disposition.ANY in (
            self.disposition,
            other.disposition,
        )
        begins_before = other.effective_to is None or self.effective_from < other.effective_to
        ends_after = self.effective_to is None or other.effective_from < self.effective_to
        return (self.buyer, self.crop) == (other.buyer, other.crop) and same_grain and begins_before and ends_after
