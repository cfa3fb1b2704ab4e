"""Who asks, in which organization, in which role, and what that role may write."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.db import models

from dryrecords.core.errors import Forbidden
from dryrecords.journal.trail import Actor


class Role(models.TextChoices):
    OWNER = "owner"
    OFFICE = "office"
    OPERATOR = "operator"
    AUDITOR = "auditor"
    CUSTOMER = "customer"


# What happened in the yard: an operator records it; everything else is the office's.
YARD = frozenset(
    {"batches", "readings", "samples", "tickets", "fuel-readings", "fuel-deliveries", "power-readings", "lots"}
)
WRITES_EVERYTHING = frozenset({Role.OWNER, Role.OFFICE})


@dataclass(frozen=True)
class Access:
    """The one thing every service and selector takes first."""

    organization_id: UUID
    role: str
    actor: Actor
    customer_id: UUID | None = None
    token_id: UUID | None = None

    def may_write(self, resource: str) -> bool:
        return self.role in WRITES_EVERYTHING or (self.role == Role.OPERATOR and resource in YARD)

    def must_write(self, resource: str) -> None:
        if not self.may_write(resource):
            raise Forbidden(f"The role {self.role} may not write {resource}.")
