"""Starts a throw-away PostgreSQL and broker before Django reads its settings, unless the environment names others.

Only the pytest process itself does so; workers of pytest-xdist inherit the addresses. The cluster is kept between
runs, because making one takes longer than most tests; runs that overlap each get their own.
"""

from __future__ import annotations

import contextlib
import fcntl
import itertools
import os
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

import django
import pytest
from django.db import connection

from dryrecords.runtime import layout
from dryrecords.runtime.engines import engines
from tests import plain_role

# Nothing here has to survive a power cut.
FAST = [f"-c{name}=off" for name in ("fsync", "synchronous_commit", "full_page_writes")]

_running = contextlib.ExitStack()


def _free_directory() -> tuple[Path, IO[str]]:
    """A data directory no other test run is using, and the lock that says so."""
    for number in itertools.count():
        directory = layout.CHECKOUT / ".dryrecords-test" / str(number)
        directory.mkdir(parents=True, exist_ok=True)
        lock = (directory / "in-use").open("w")
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return directory, lock
        except BlockingIOError:
            lock.close()
    raise AssertionError


def _start_engines() -> None:
    directory, lock = _free_directory()
    _running.enter_context(lock)
    _running.enter_context(engines(directory, with_broker=True, postgres_options=FAST))
    os.environ["DRYRECORDS_DATA_DIR"] = os.fspath(directory)
    plain_role.name_roles()


def _take_own_broker() -> None:
    """Workers of pytest-xdist share the servers: each has a numbered database of the broker to itself."""
    url, number = os.environ["BROKER_URL"], os.environ["PYTEST_XDIST_WORKER"].removeprefix("gw")
    if url.startswith("redis+socket:"):
        os.environ["BROKER_URL"] = f"{url}?virtual_host={1 + int(number) % 15}"


if "PYTEST_XDIST_WORKER" in os.environ:
    _take_own_broker()
else:
    _start_engines()
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dryrecords.config.settings")
django.setup()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes() -> None:
    """Workers name their settings themselves, after the broker: pytest-django reads those that are named at once."""
    del os.environ["DJANGO_SETTINGS_MODULE"]


def pytest_unconfigure(config: pytest.Config) -> None:
    _running.close()


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    with django_db_blocker.unblock():
        plain_role.let_in()


@pytest.fixture(autouse=True, scope="session")
def _history_may_be_emptied_between_tests() -> None:
    """Tests that commit are followed by a TRUNCATE of every table, which some of them refuse as they do any other."""
    operations = type(connection.ops)
    empty = operations.sql_flush

    def sql_flush(self: Any, *args: Any, **options: Any) -> list[str]:
        switches = [
            f"ALTER TABLE {table} {{}} TRIGGER {trigger}"
            for table, trigger in (("journal_change", "journal_keep"), ("settlement_statement", "settlement_keep"))
        ]
        off, on = ([switch.format(way) for switch in switches] for way in ("DISABLE", "ENABLE"))
        return [*off, *empty(self, *args, **options), *on]

    operations.sql_flush = sql_flush


@pytest.fixture
def plain(farm: Any) -> Iterator[None]:
    """As a service runs: with a role that is never more than the application's, in a scope or out of it."""
    with connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL ROLE {plain_role.ROLE}")
    yield
    with connection.cursor() as cursor:
        cursor.execute("RESET ROLE")
