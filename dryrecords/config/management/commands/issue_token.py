"""Issues a token for a device, and prints only its text: it cannot be shown again."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from dryrecords.config.management.naming import add_who, customer_named, organization_named
from dryrecords.core.errors import DomainError
from dryrecords.tenancy import scope
from dryrecords.tenancy.models import Organization
from dryrecords.tenancy.services import token_issue


class Command(BaseCommand):
    help = "Issue a token for a device. Prints only the token."

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_who(parser)
        parser.add_argument("--device", required=True, help="what the token is for, as it will stand in the history")

    @transaction.atomic
    def handle(self, **options: Any) -> None:
        organization = organization_named(options["organization"], options["create"])
        with scope.organization(organization.pk):
            self.stdout.write(self._token(organization, options))

    def _token(self, organization: Organization, options: dict[str, Any]) -> str:
        customer = customer_named(organization, options["customer"], options["create"], "issue_token")
        try:
            return token_issue(
                organization=organization, role=options["role"], device=options["device"], customer=customer
            )[1]
        except DomainError as error:
            raise CommandError(error.detail) from error
