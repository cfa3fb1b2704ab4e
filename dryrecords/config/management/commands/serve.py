"""`manage.py serve`: database, broker, migrations, worker, sweep and web server in one process tree."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from dryrecords.runtime import layout
from dryrecords.runtime.process_tree import Options, port_number, run_tree


class Command(BaseCommand):
    """Runs until Ctrl-C or SIGTERM, and leaves nothing running."""

    help = "Run the whole service: database, broker, migrations, worker, periodic sweep and web server."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
        parser.add_argument("--port", type=port_number, default=8000, help="port to listen on (8000)")
        # Taken by manage.py before Django starts; named here for the help text.
        parser.add_argument("--data-dir", help="where the embedded database lives (.dryrecords in the checkout)")

    def handle(self, *args: Any, host: str, port: int, **_: Any) -> None:
        options = Options(host, port)
        run_tree(options, after_ready=lambda: self._announce(options))

    def _announce(self, options: Options) -> None:
        self.stdout.write(
            f"Serving on http://{options.bind}, data in {layout.data_directory()}.\n"
            f"Pages: http://{options.bind}/office (manage.py add_person lets somebody in). "
            f"Every route: http://{options.bind}/api/v1/docs. Ctrl-C stops everything, which takes some seconds."
        )
        self.stdout.flush()
