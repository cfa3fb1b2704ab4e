"""How commands find what is named to them: organizations and customers, made where that is asked for."""

from __future__ import annotations

from argparse import ArgumentParser

from django.core.management.base import CommandError

from dryrecords.tenancy.access import Role
from dryrecords.tenancy.models import Customer, Organization
from dryrecords.tenancy.services import access_of_command, customers


def add_who(parser: ArgumentParser) -> None:
    """Whoever is let in, with a token or a password, is let in somewhere and in a role."""
    parser.add_argument("--organization", required=True, help="its name")
    parser.add_argument("--role", required=True, choices=Role.values)
    parser.add_argument("--customer", help="name of the customer; goes with the role customer, and only with it")
    parser.add_argument("--create", action="store_true", help="create the organization and customer if missing")


def organization_named(name: str, create: bool) -> Organization:
    if create:
        return Organization.objects.get_or_create(name=name)[0]
    try:
        return Organization.objects.get(name=name)
    except Organization.DoesNotExist:
        raise CommandError(f"There is no organization named {name!r}; --create makes it.") from None


def customer_named(organization: Organization, name: str | None, create: bool, command: str) -> Customer | None:
    """In the organization's scope."""
    if name is None:
        return None
    access = access_of_command(organization, command)
    found = list(Customer.objects.visible_to(access).filter(name=name)[:2])
    if len(found) > 1:
        raise CommandError(f"More than one customer is named {name!r}.")
    if found:
        return found[0]
    if create:
        return customers.create(access, {"name": name})
    raise CommandError(f"There is no customer named {name!r}; --create makes it.")
