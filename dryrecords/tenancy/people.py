"""Who signs in with a password: in which organizations, in which role, and how somebody is let in."""

from __future__ import annotations

import secrets
from typing import Any

from django.contrib.auth.models import AbstractUser, User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from dryrecords.core.errors import Conflict, Invalid
from dryrecords.journal.trail import Actor
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Access, Role
from dryrecords.tenancy.models import Customer, Membership, Organization

# 96 bits, in 16 characters that can be read over a telephone.
PASSWORD_BYTES = 12
# With the organization's row in the same breath: every page asks this.
OF_A_PERSON = (
    "SELECT m.*, o.name, o.currency FROM tenancy_memberships_of(%s) m"
    " JOIN tenancy_organization o ON o.id = m.organization_id ORDER BY o.name, m.id"
)


def memberships_of(person: AbstractUser) -> list[Membership]:
    """Every organization that the person may be in, by name."""
    # A function of the database finds them: which organization is wanted, is not known yet.
    found: list[Any] = list(Membership.objects.raw(OF_A_PERSON, [person.pk]))
    for each in found:
        each.organization = Organization(pk=each.organization_id, name=each.name, currency=each.currency)
    return found


def access_of_member(membership: Membership, person: AbstractUser, request_id: str = "") -> Access:
    """The same Access that a token of this role has, in the person's own name."""
    return Access(
        organization_id=membership.organization_id,
        role=membership.role,
        actor=Actor(name=person.get_full_name() or person.get_username(), device="office", request_id=request_id),
        customer_id=membership.customer_id,
    )


def person_add(
    *, organization: Organization, role: str, name: str, customer: Customer | None = None, password: str = ""
) -> tuple[Membership, str]:
    """Let somebody in. Who has no account yet gets one, with this password or a new one, which is handed back once."""
    if (role == Role.CUSTOMER) != (customer is not None):
        raise Invalid("A person of the role customer belongs to a customer; no other role does.")
    with transaction.atomic():
        person = User.objects.filter(username=name).first()
        given = ""
        if person is None:
            given = password or new_password()
            person = User(username=name)
            _set_password(person, given)
        with scope.organization(organization.pk):
            if Membership.objects.filter(user=person, organization=organization).exists():
                raise Conflict(f"{name!r} is in this organization already.")
            membership = Membership.objects.create(user=person, organization=organization, role=role, customer=customer)
    return membership, given


def new_password() -> str:
    return secrets.token_urlsafe(PASSWORD_BYTES)


def password_renew(name: str) -> str:
    """A new password for somebody who has an account; every session of the old one ends."""
    person = User.objects.get(username=name)
    _set_password(person, given := new_password())
    return given


def _set_password(person: User, password: str) -> None:
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise Invalid(" ".join(error.messages)) from error
    person.set_password(password)
    person.save()
