"""`manage.py demo`: loads the invented season, has the worker compute it, prints the season table, then serves."""

from __future__ import annotations

import functools
from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand

from dryrecords.config import demo
from dryrecords.runtime.process_tree import Options, port_number, run_tree


class Command(BaseCommand):
    help = "Load an invented season, compute it, print the season table and serve it."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (127.0.0.1)")
        parser.add_argument("--port", type=port_number, default=8000, help="port to listen on (8000)")
        # Taken by manage.py before Django starts; named here for the help text.
        parser.add_argument("--data-dir", help="where the embedded database lives (.dryrecords in the checkout)")
        parser.add_argument("--once", action="store_true", help="end after the table")

    def handle(self, *args: Any, host: str, port: int, once: bool, **_: Any) -> None:
        options = Options(host, port)
        show = functools.partial(self._show, options, once)
        run_tree(options, prepare=self._load, after_ready=show, once=once)

    def _load(self) -> None:
        new = demo.load()
        self.stdout.write(f"{new} records loaded." if new else "The invented season is loaded already.")

    def _show(self, options: Options, once: bool) -> None:
        demo.wait_until_computed()
        statement = demo.statement()
        self.stdout.write(f"\n{demo.ORGANIZATION} (invented), season {demo.SEASON}\n\n{demo.season_table()}\n")
        self.stdout.write(f"\n{demo.NOTE}\n\n{demo.CAUTION}\n")
        self.stdout.write(f"\nStatement {statement} of {statement.customer}: {statement.total_usd:,} USD.\n")
        if not once:
            self._tell_how_to_look(f"http://{options.bind}", statement.pk)
        self.stdout.flush()

    def _tell_how_to_look(self, address: str, statement_id: UUID) -> None:
        token = demo.new_token()
        api = f"{address}/api/v1"
        header = f"-H 'Authorization: Bearer {token}'"
        self.stdout.write(
            f"\nToken for this demo: {token}\n\n"
            f"  curl {header} '{api}/seasons/{demo.SEASON}'\n"
            f"  curl {header} '{api}/batches?limit=3'\n"
            f"  curl {header} '{api}/batches/{demo.a_batch()}/result'\n"
            f"  curl {header} -o statement.pdf '{api}/statements/{statement_id}.pdf'\n\n"
            f"Pages: {address}/office, signed in as {demo.PERSON} with the password {demo.new_password()}\n"
            f"Every route, to try in the browser: {api}/docs\nCtrl-C stops everything.\n"
        )
