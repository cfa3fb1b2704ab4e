"""Throws derived figures away and computes them anew; they come out the same to the last bit."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from dryrecords.season import services


class Command(BaseCommand):
    help = "Compute all batch results and site seasons anew."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--season", type=int, help="only this harvest year")

    def handle(self, **options: Any) -> None:
        count = services.rebuild(options["season"])
        # A worker that runs at the same time takes its share of the marks; here we see that none is left.
        services.work_off()
        failed = services.all_failures()
        if failed:
            kind, key, error = failed[0]
            raise CommandError(f"{len(failed)} could not be computed; the first: {kind} {key}: {error}")
        self.stdout.write(f"{count} batches computed anew.")
