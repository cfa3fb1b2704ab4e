"""Lets a person sign in to the office pages of an organization; a new account gets a password, asked for or made."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from dryrecords.config.management.naming import add_who, customer_named, organization_named
from dryrecords.core.errors import DomainError
from dryrecords.tenancy import scope
from dryrecords.tenancy.people import person_add


class Command(BaseCommand):
    help = "Let a person sign in at /office. A new account's password is asked for, or made and printed once."

    def add_arguments(self, parser: ArgumentParser) -> None:
        add_who(parser)
        parser.add_argument("--user", required=True, help="the name to sign in with; it will stand in the history")
        parser.add_argument("--generate", action="store_true", help="make a password and print it, ask for none")

    def handle(self, **options: Any) -> None:
        password = "" if options["generate"] or not sys.stdin.isatty() else self._asked()
        try:
            made = self._add(options, password)
        except DomainError as error:
            raise CommandError(error.detail) from error
        self.stderr.write(f"{options['user']} may sign in at /office as {options['role']}.")
        if made and not password:
            self.stderr.write("The password, shown this once:")
            self.stdout.write(made)

    @transaction.atomic
    def _add(self, options: dict[str, Any], password: str) -> str:
        organization = organization_named(options["organization"], options["create"])
        with scope.organization(organization.pk):
            customer = customer_named(organization, options["customer"], options["create"], "add_person")
            return person_add(
                organization=organization,
                role=options["role"],
                name=options["user"],
                customer=customer,
                password=password,
            )[1]

    def _asked(self) -> str:
        """Nothing entered stands for one to be made."""
        first = getpass("Password of a new account (empty: make one): ")
        if first and first != getpass("The same again: "):
            raise CommandError("The two are not the same. Nothing was done.")
        return first
