"""Tables: organizations, members and tokens; customers and sites."""

from __future__ import annotations

from uuid import UUID

from django.conf import settings
from django.db import models
from django.db.models import Q

from dryrecords.core.ids import new_id
from dryrecords.tenancy.access import Role
from dryrecords.tenancy.records import Record, between, record_constraints


class Organization(models.Model):
    """A custom drying company, a co-op, a farm: the wall around its records."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    name = models.CharField(max_length=200, unique=True)
    # ISO 4217; every `_usd` figure is in the organization's currency.
    currency = models.CharField(max_length=3, default="USD")
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class Customer(Record):
    resource = "customers"

    name = models.CharField(max_length=200)
    reference = models.CharField(max_length=100, blank=True, default="")

    class Meta:
        constraints = [*record_constraints("customer")]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Q(**{f"{prefix}id": customer_id})


class Site(Record):
    resource = "sites"
    customer_paths = ("customer",)

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(max_length=200)
    # IANA time zone: a season and a day are the site's own.
    timezone = models.CharField(max_length=64)
    latitude = models.FloatField(null=True)
    longitude = models.FloatField(null=True)
    elevation_m = models.FloatField(null=True)

    class Meta:
        constraints = [
            *record_constraints("site"),
            between("latitude", -90, 90, "site_latitude", "must be between -90 and 90 degrees."),
            between("longitude", -180, 180, "site_longitude", "must be between -180 and 180 degrees."),
            between("elevation_m", -500, 6000, "site_elevation", "must be between -500 and 6000 m."),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def of_customer(cls, customer_id: UUID, prefix: str = "") -> Q:
        return Q(**{f"{prefix}customer_id": customer_id})


class Membership(models.Model):
    """A person who signs in to an organization, in a role."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships")
    organization = models.ForeignKey(Organization, on_delete=models.CASCADE, related_name="memberships")
    role = models.CharField(max_length=10, choices=Role)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "organization"], name="membership_once"),
            models.CheckConstraint(
                condition=Q(role=Role.CUSTOMER, customer__isnull=False)
                | (~Q(role=Role.CUSTOMER) & Q(customer__isnull=True)),
                name="membership_customer_role_names_customer",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.role}, {self.organization})"


class Token(models.Model):
    """A device's key. Only its SHA-256 is kept; the text is shown once, when it is issued."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    organization = models.ForeignKey(Organization, on_delete=models.CASCADE, related_name="tokens")
    role = models.CharField(max_length=10, choices=Role)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, null=True, blank=True)
    device = models.CharField(max_length=200)
    digest = models.CharField(max_length=64, unique=True)
    issued_at = models.DateTimeField(auto_now_add=True)
    last_used_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    # A token that was replaced opens doors until then, so that its device has time to be given the new one.
    valid_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(role=Role.CUSTOMER, customer__isnull=False)
                | (~Q(role=Role.CUSTOMER) & Q(customer__isnull=True)),
                name="token_customer_role_names_customer",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.device} ({self.role})"


class SignIn(models.Model):
    """An attempt to sign in that has not succeeded: by name and by address, each only as a digest."""

    name = models.CharField(max_length=64)
    address = models.CharField(max_length=64)
    at = models.DateTimeField()

    class Meta:
        indexes = [
            models.Index(fields=["name", "at"], name="sign_in_by_name"),
            models.Index(fields=["address", "at"], name="sign_in_by_address"),
        ]

    def __str__(self) -> str:
        return f"sign-in at {self.at:%Y-%m-%d %H:%M}"
