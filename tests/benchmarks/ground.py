"""Engines and databases that belong to one run of the benchmarks and are gone after it."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from urllib.parse import quote, urlsplit

import django
from django.db import connection, connections
from django.test.utils import setup_test_environment

from dryrecords.runtime.engines import engines
from tests import plain_role
from tests.runtime.processes import open_place

# Otherwise PostgreSQL runs with its own, durable settings, as it does for users.
FAST = [f"-c{name}=off" for name in ("fsync", "synchronous_commit", "full_page_writes")]


@contextlib.contextmanager
def own_engines(*, fast: bool, options: Sequence[str] = ()) -> Iterator[Path]:
    """Start what the environment does not name, and set Django up on it; yields a directory for files."""
    options = [*(FAST if fast else ()), *options]
    with open_place() as directory, engines(directory, with_broker=True, postgres_options=options):
        os.environ["DRYRECORDS_DATA_DIR"] = os.fspath(directory)
        plain_role.name_roles()
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dryrecords.config.settings")
        django.setup()
        setup_test_environment(debug=False)
        yield directory


@contextlib.contextmanager
def own_database() -> Iterator[None]:
    """A new, migrated database for what happens within; DATABASE_URL names it for processes that are started."""
    before, url = connection.settings_dict["NAME"], os.environ["DATABASE_URL"]
    connection.settings_dict["TEST"]["NAME"] = f"dryrecords_benchmark_{os.getpid()}"
    name = connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
    os.environ["DATABASE_URL"] = urlsplit(url)._replace(path=f"/{quote(name)}").geturl()
    plain_role.let_in()
    try:
        yield
    finally:
        os.environ["DATABASE_URL"] = url
        connections.close_all()
        connection.creation.destroy_test_db(before, verbosity=0)
        connections.close_all()
