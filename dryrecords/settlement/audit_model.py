"""Tables: audits of a buyer's tickets, how far each went, and what it found."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from dryrecords.core.ids import new_id
from dryrecords.tenancy.jobs import Job
from dryrecords.tenancy.records import record_constraints


class Audit(Job):
    """One buyer's tickets of one crop and season, or of a time. Findings and how far it went are written together."""

    class State(models.TextChoices):
        WAITING = "waiting"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"
        CANCELLED = "cancelled"

    buyer = models.CharField(max_length=200)
    crop = models.CharField(max_length=10)
    # Either a harvest year, or a time that may be open at an end.
    season = models.IntegerField(null=True)
    delivered_from = models.DateTimeField(null=True)
    delivered_to = models.DateTimeField(null=True)
    state = models.CharField(max_length=9, choices=State, default=State.WAITING)
    # How many there are is counted when the work begins.
    tickets = models.IntegerField(null=True)
    tickets_done = models.IntegerField(default=0)
    findings = models.IntegerField(default=0)
    # The last ticket that was looked at, in the order of their delivery.
    after_delivered_at = models.DateTimeField(null=True)
    after_id = models.UUIDField(null=True)
    # Whole numbers that add up from one turn to the next: see settlement.audit_tally.
    tally = models.JSONField(default=dict)

    class Meta:
        constraints = [*record_constraints("audit")]
        indexes = [
            models.Index(fields=["organization", "-created_at", "id"], name="audit_listed"),
            models.Index(fields=["run_after"], name="audit_open", condition=Q(state__in=["waiting", "running"])),
        ]

    def __str__(self) -> str:
        return f"{self.buyer} {self.crop} {self.created_at:%Y-%m-%d %H:%M}"


class Finding(models.Model):
    """One thing that is not as the schedule, the law or our own samples say. Without a ticket it is of many."""

    class Kind(models.TextChoices):
        NO_SCHEDULE = "no_schedule"
        STATUTORY_SHRINK = "statutory_shrink"
        NET_BUSHELS = "net_bushels"
        SHRINK = "shrink"
        DISCOUNT = "discount"
        DRYING_CHARGE = "drying_charge"
        AMOUNT = "amount"
        DUPLICATE = "duplicate"
        MOISTURE_DISAGREEMENT = "moisture_disagreement"
        ROUNDING_BIAS = "rounding_bias"
        METER_BIAS = "meter_bias"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    organization = models.ForeignKey("tenancy.Organization", on_delete=models.PROTECT, db_index=False, related_name="+")
    audit = models.ForeignKey(Audit, on_delete=models.CASCADE, db_index=False, related_name="+")
    # Running number: the same one twice is refused, so no finding is written twice.
    place = models.IntegerField()
    kind = models.CharField(max_length=21, choices=Kind)
    # Of another finding of the same ticket that this one only follows from.
    consequence_of = models.CharField(max_length=21, choices=Kind, blank=True, default="")
    # Plain ids: a finding never keeps a record from being changed.
    ticket_id = models.UUIDField(null=True)
    schedule_id = models.UUIDField(null=True)
    number = models.CharField(max_length=100, blank=True, default="")
    delivered_at = models.DateTimeField(null=True)
    unit = models.CharField(max_length=10, blank=True, default="")
    expected = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    stated = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    difference = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    # What it makes of the amount paid: below zero the seller was paid too little.
    effect_usd = models.DecimalField(max_digits=18, decimal_places=4, null=True)
    rule = models.TextField()
    # Other rules by which the whole ticket comes out as it is stated.
    explanations = models.JSONField(default=list)
    # Of an aggregate: its statistics.
    figures = models.JSONField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["audit", "place"], name="finding_once"),
        ]
        indexes = [
            models.Index(fields=["audit", "kind", "-place"], name="finding_of_kind"),
            models.Index(fields=["audit", "ticket_id"], name="finding_of_ticket"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.number}"
