"""Issues a token for a device, and prints only its text: it cannot be shown again."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from dryrecords.core.errors import DomainError
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Role
from dryrecords.tenancy.models import Customer, Organization
from dryrecords.tenancy.services import access_of_command, customers, token_issue


class Command(BaseCommand):
    help = "Issue a token for a device. Prints only the token."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--organization", required=True, help="its name")
        parser.add_argument("--role", required=True, choices=Role.values)
        parser.add_argument("--device", required=True, help="what the token is for, as it will stand in the history")
        parser.add_argument("--customer", help="name of the customer; goes with the role customer, and only with it")
        parser.add_argument("--create", action="store_true", help="create the organization and customer if missing")

    @transaction.atomic
    def handle(self, **options: Any) -> None:
        organization = self._organization(options["organization"], options["create"])
        with scope.organization(organization.pk):
            self.stdout.write(self._token(organization, options))

    def _token(self, organization: Organization, options: dict[str, Any]) -> str:
        customer = self._customer(organization, options["customer"], options["create"])
        try:
            return token_issue(
                organization=organization, role=options["role"], device=options["device"], customer=customer
            )[1]
        except DomainError as error:
            raise CommandError(error.detail) from error

    def _organization(self, name: str, create: bool) -> Organization:
        if create:
            return Organization.objects.get_or_create(name=name)[0]
        try:
            return Organization.objects.get(name=name)
        except Organization.DoesNotExist:
            raise CommandError(f"There is no organization named {name!r}; --create makes it.") from None

    def _customer(self, organization: Organization, name: str | None, create: bool) -> Customer | None:
        if name is None:
            return None
        access = access_of_command(organization, "issue_token")
        found = list(Customer.objects.visible_to(access).filter(name=name)[:2])
        if len(found) > 1:
            raise CommandError(f"More than one customer is named {name!r}.")
        if found:
            return found[0]
        if create:
            return customers.create(access, {"name": name})
        raise CommandError(f"There is no customer named {name!r}; --create makes it.")
