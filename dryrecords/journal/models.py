"""Tables of the trail. Plain ids instead of foreign keys: the trail outlives what it tells about."""

from __future__ import annotations

import uuid

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.utils import timezone


class Head(models.Model):
    """The newest change number of an organization, taken by the last statement of a writing transaction."""

    organization_id = models.UUIDField(primary_key=True)
    number = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.number} changes"


class Epoch(models.Model):
    """One row: the name of this history. A database set back to a backup gets a new one, and old cursors are void."""

    id = models.SmallIntegerField(primary_key=True, default=1)
    name = models.UUIDField(default=uuid.uuid4)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="one_epoch")]

    def __str__(self) -> str:
        return str(self.name)


class Change(models.Model):
    """One write to one record: who, when, before and after. Written by a trigger, and only ever added to."""

    class Operation(models.TextChoices):
        CREATE = "create"
        UPDATE = "update"
        DELETE = "delete"
        RESTORE = "restore"

    organization_id = models.UUIDField()
    # Commit-ordered and free of gaps inside an organization: what a device that syncs keeps as its place.
    number = models.BigIntegerField()
    resource = models.CharField(max_length=40)
    record_id = models.UUIDField()
    version = models.IntegerField()
    operation = models.CharField(max_length=7, choices=Operation)
    changed_at = models.DateTimeField(default=timezone.now)
    actor = models.CharField(max_length=200)
    device = models.CharField(max_length=200, blank=True)
    request_id = models.CharField(max_length=64, blank=True)
    # Where it changed hands: the customer who saw the record before, or the organization if it was no customer's.
    left_customer_id = models.UUIDField(null=True)
    # Columns in SI units. A removed record is null.
    before = models.JSONField(null=True)
    after = models.JSONField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organization_id", "number"], name="change_number_once"),
        ]
        indexes = [
            models.Index(fields=["organization_id", "record_id", "number"], name="change_of_record"),
        ]

    def __str__(self) -> str:
        return f"{self.operation} of {self.resource} {self.record_id}"


class StaleMark(models.Model):
    """One thing whose derived figures are wanted anew: `wanted` is raised by writes, `done` by whoever computed.

    The row stays. A worker reads `wanted` before it reads the data, and saves only over an older generation, so a
    write that lands while it computes is never lost and never waits.
    """

    organization_id = models.UUIDField()
    kind = models.CharField(max_length=20)
    key = models.CharField(max_length=80)
    wanted = models.BigIntegerField(default=1)
    done = models.BigIntegerField(default=0)
    # For marks that stand for many batches: the span of time that the unfinished writes touched.
    since = models.DateTimeField()
    until = models.DateTimeField()
    raised_at = models.DateTimeField(default=timezone.now)
    run_after = models.DateTimeField(default=timezone.now)
    # Counted in a transaction of their own: a worker that is killed leaves its attempt behind.
    attempts = models.IntegerField(default=0)
    last_error = models.TextField(blank=True, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organization_id", "kind", "key"], name="stale_mark_once"),
        ]
        indexes = [
            models.Index(fields=["kind", "run_after"], name="stale_mark_open", condition=Q(wanted__gt=F("done"))),
            models.Index(
                fields=["organization_id", "kind"],
                name="stale_mark_open_by_org",
                condition=Q(wanted__gt=F("done")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class GivenAnswer(models.Model):
    """The answer given to a request that carried an Idempotency-Key, written with the effect it reports."""

    organization_id = models.UUIDField()
    key = models.CharField(max_length=200)
    # SHA-256 of method, path and body: the same key for another request is refused.
    fingerprint = models.CharField(max_length=64)
    status = models.IntegerField(null=True)
    body = models.JSONField(null=True)
    headers = models.JSONField(default=dict)
    given_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["organization_id", "key"], name="given_answer_once"),
        ]
        indexes = [models.Index(fields=["given_at"], name="given_answer_age")]

    def __str__(self) -> str:
        return f"answer {self.status} to {self.key}"


class Push(models.Model):
    """One call of a device that brings what it wrote while it was offline: who, when by its clock, when by ours."""

    organization_id = models.UUIDField()
    token_id = models.UUIDField(null=True)
    role = models.CharField(max_length=10)
    customer_id = models.UUIDField(null=True)
    actor = models.CharField(max_length=200)
    device = models.CharField(max_length=200, blank=True)
    request_id = models.CharField(max_length=64, blank=True)
    sent_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "pushes"
        indexes = [models.Index(fields=["organization_id", "token_id", "-id"], name="push_of_token")]

    def __str__(self) -> str:
        return f"{self.device} {self.received_at:%Y-%m-%d %H:%M}"


class Mutation(models.Model):
    """One write that a device made offline, and what came of it. The id is the device's own, so it happens once."""

    class Status(models.TextChoices):
        APPLIED = "applied"
        # The record was there already, just so.
        DUPLICATE = "duplicate"
        # The record had been changed by somebody else: both versions are kept, this one here.
        CONFLICT = "conflict"
        HELD = "held"
        DISMISSED = "dismissed"

    pk = models.CompositePrimaryKey("organization_id", "mutation_id")
    organization_id = models.UUIDField()
    mutation_id = models.UUIDField()
    push = models.ForeignKey(Push, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    # Tells another content under the same id.
    fingerprint = models.BinaryField(max_length=16)
    status = models.CharField(max_length=9, choices=Status)
    resource = models.CharField(max_length=40)
    op = models.CharField(max_length=6)
    record_id = models.UUIDField(null=True)
    version = models.IntegerField(null=True)
    # The whole mutation as it was sent, unless it became a record at once. Text, because not all JSON is jsonb.
    payload = models.TextField(null=True)
    problem = models.TextField(null=True)
    warnings = models.TextField(null=True)
    # The records without which it cannot be applied.
    waiting_for = ArrayField(models.UUIDField(), null=True)
    # Other payloads that were sent under the same id, oldest first.
    earlier = ArrayField(models.TextField(), default=list)
    settled_by = models.CharField(max_length=200, blank=True)
    settled_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [
            models.Index(
                fields=["organization_id", "push", "mutation_id"],
                name="mutation_open",
                condition=Q(status__in=["held", "conflict"]),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.op} {self.resource} {self.status}"
