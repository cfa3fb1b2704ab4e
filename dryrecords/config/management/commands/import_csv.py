"""Takes a spreadsheet saved as CSV in: asks what is unclear, keeps what is right, and reports the rest row by row."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any
from zoneinfo import available_timezones

from django.core.management.base import BaseCommand, CommandError

from api.imports.plan import Options
from api.imports.reports import errors_csv, reason
from api.imports.sheets import decoded
from api.imports.taking_in import BY_NAME, bring, take_in
from dryrecords.core.errors import DomainError
from dryrecords.harvest.models import Import
from dryrecords.tenancy import scope
from dryrecords.tenancy.models import Organization
from dryrecords.tenancy.services import access_of_command

REASONS_SHOWN = 10


class Command(BaseCommand):
    help = "Take a spreadsheet saved as CSV into an organization's records. Rows that are right land, the rest is told."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", choices=list(BY_NAME), metavar="KIND", help=f"one of {', '.join(BY_NAME)}")
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--organization", required=True, help="its name")
        parser.add_argument("--dry-run", action="store_true", help="only tell what would come of it")
        order = parser.add_mutually_exclusive_group()
        for name, text in (("day-first", "6/10 is in October"), ("month-first", "10/6 is in October")):
            order.add_argument(f"--{name}", dest="dates", action="store_const", const=name.replace("-", "_"), help=text)
        parser.add_argument("--errors", type=Path, metavar="FILE", help="where to write the refused rows, and why")
        parser.add_argument(
            "--map",
            action="append",
            default=[],
            metavar="THEIRS=OURS",
            help='what a column is, for example "Wt in=wet_mass_lb"; "Theirs=" leaves it out; may be repeated',
        )
        parser.add_argument("--timezone", default="", metavar="ZONE", help="of times without offset: America/Chicago")
        parser.add_argument("--decimal", choices=["comma", "point"], default="", help="how numbers are written")
        parser.add_argument(
            "--new-ids",
            action="store_true",
            help="the file is another organization's export: give each id one of its own here, always the same",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        organization = self._organization(options["organization"])
        with scope.organization(organization.pk):
            job = self._take_in(organization, options)
        word = "would be new" if options["dry_run"] else "new"
        self.stdout.write(
            f"{job.rows} rows: {job.created} {word}, {job.duplicates} there already, {len(job.refused)} refused."
        )
        if held := sum("held" in refused for refused in job.refused):
            self.stdout.write(f"Held, to be corrected there or in the sheet: {held}. See GET /api/v1/sync/held.")
        for refused in job.refused[:REASONS_SHOWN]:
            self.stdout.write(f"  row {refused['row']}: {reason(refused)}")
        if len(job.refused) > REASONS_SHOWN:
            self.stdout.write(f"  and {len(job.refused) - REASONS_SHOWN} more; --errors FILE writes them all.")
        if options["errors"]:
            options["errors"].write_text(errors_csv(job), newline="")

    def _organization(self, name: str) -> Organization:
        try:
            return Organization.objects.get(name=name)
        except Organization.DoesNotExist:
            raise CommandError(f"There is no organization named {name!r}.") from None

    def _take_in(self, organization: Organization, options: dict[str, Any]) -> Import:
        try:
            content = decoded(options["file"].read_bytes())
            access = access_of_command(organization, "import_csv")
            job = bring(access, options["kind"], content, self._options(options), options["file"].name, taken_up=True)
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be read: {error.strerror}.") from error
        except DomainError as error:
            told = [each.detail for each in error.errors] or [error.detail]
            raise CommandError("Nothing was taken in.\n  " + "\n  ".join(told) + f"\n{HOW_TO_SAY}") from error
        take_in(job)
        job.refresh_from_db()
        if job.state == Import.State.FAILED:
            raise CommandError(job.error)
        return job

    def _options(self, options: dict[str, Any]) -> Options:
        if options["timezone"] and options["timezone"] not in available_timezones():
            raise CommandError(f"{options['timezone']!r} is no IANA time zone; one is America/Chicago.")
        columns = dict(each.rpartition("=")[::2] for each in options["map"])
        if "" in columns:
            raise CommandError('--map takes "their column=our_field".')
        return Options(
            dates=options["dates"] or "",
            decimal=options["decimal"],
            timezone=options["timezone"],
            columns=columns,
            dry_run=options["dry_run"],
            new_ids=options["new_ids"],
        )


HOW_TO_SAY = "Say it with --day-first or --month-first, --decimal, --timezone, or --map."
