"""Locks a device out: every token it has is void at once."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from dryrecords.core.errors import DomainError
from dryrecords.tenancy import scope
from dryrecords.tenancy.models import Organization
from dryrecords.tenancy.services import device_revoke


class Command(BaseCommand):
    help = "Revoke every token of a device."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--organization", required=True, help="its name")
        parser.add_argument("--device", required=True, help="the name the token was issued for")

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
            return f"{device_revoke(organization, options['device'])} revoked."
