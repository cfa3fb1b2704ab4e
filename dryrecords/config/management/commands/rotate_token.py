"""Replaces the token of a device: prints the new one, and lets the old one be for a while."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from dryrecords.core.errors import DomainError
from dryrecords.tenancy import scope
from dryrecords.tenancy.models import Organization
from dryrecords.tenancy.services import token_rotate


class Command(BaseCommand):
    help = "Replace the token of a device. Prints only the new token."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--organization", required=True, help="its name")
        parser.add_argument("--device", required=True, help="the name the token was issued for")
        parser.add_argument("--grace", type=float, default=24.0, help="hours for which the old one is good (24)")

    def handle(self, **options: Any) -> None:
        try:
            organization = Organization.objects.get(name=options["organization"])
            self.stdout.write(self._done(organization, options))
        except Organization.DoesNotExist:
            raise CommandError(f"There is no organization named {options['organization']!r}.") from None
        except DomainError as error:
            raise CommandError(error.detail) from error

    def _done(self, organization: Organization, options: dict[str, Any]) -> str:
        with scope.organization(organization.pk):
            return token_rotate(organization, options["device"], timedelta(hours=options["grace"]))[1]
