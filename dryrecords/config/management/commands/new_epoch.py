"""After the database was set back to a backup: devices begin their sync anew instead of missing what was lost."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from dryrecords.journal.feed import begin_epoch


class Command(BaseCommand):
    help = "Void every sync cursor. Run it once after the database was restored from a backup."

    def handle(self, **options: Any) -> None:
        begin_epoch()
        self.stdout.write("Every device will sync from the beginning.")
