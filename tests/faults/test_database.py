"""The database ends every session, as a restart or a failover does; web server and worker go on with new ones."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.db import OperationalError, connection

from dryrecords.runtime import postgres
from dryrecords.season import facts, services
from dryrecords.season.models import BatchResult
from tests.faults.season import BusyYard, assert_computed_once_and_right
from tests.faults.tree import QUICK, Tree, at_once, database_url, end_other_sessions
from tests.runtime.processes import wait_for
from tests.season.scene import Yard

pytestmark = [pytest.mark.services, pytest.mark.slow]


def end_sessions() -> None:
    assert end_other_sessions() > 0


def session_has_ended() -> bool:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        return False
    except OperationalError:
        return True


def kill_a_backend() -> None:
    """A server process that dies makes PostgreSQL end every session and recover."""
    with pytest.raises(psycopg.OperationalError), psycopg.connect(database_url(), autocommit=True) as victim:
        # Tests run without waiting for the log to be written; a real server's answered writes are in it.
        victim.execute("SET synchronous_commit = on")
        victim.execute("SELECT pg_current_xact_id()")
        os.kill(victim.info.backend_pid, signal.SIGKILL)
        victim.execute("SELECT 1")
    assert wait_for(session_has_ended)
    connection.close()
    assert wait_for(can_connect)


def can_connect() -> bool:
    try:
        connection.ensure_connection()
        return True
    except OperationalError:
        return False


def embedded() -> bool:
    """Whether the server is the one that this test run has started."""
    cluster = postgres.locate(Path(os.environ["DRYRECORDS_DATA_DIR"]))
    return os.environ["DATABASE_URL"] == cluster.url("postgres")


not_ours = pytest.mark.skipif(not embedded(), reason="the machine's own PostgreSQL is not ours to crash")
not_alone = pytest.mark.skipif(
    "PYTEST_XDIST_WORKER" in os.environ, reason="crashes the server of all: run it without -n"
)


@pytest.mark.parametrize("end", [end_sessions, pytest.param(kill_a_backend, marks=[not_ours, not_alone])])
def test_web_server_and_worker_survive_the_end_of_every_session(
    end: Callable[[], None], tree: Tree, yard: BusyYard
) -> None:
    tree.worker(**QUICK)
    tree.scheduler(**QUICK)
    tree.web()
    at_once(yard.posted, range(8), threads=8)
    for _ in range(3):
        # The worker is in the middle of these.
        yard.make_batches(50)
        end()
        # As many at once as the web server has threads, each of which held a session.
        at_once(yard.posted, range(8), threads=8)
    yard.wait_until_fresh(tree, 40)
    assert tree.all_run(), tree.told()
    tree.end()
    assert_computed_once_and_right(yard, 8 + 3 * (50 + 8))


@pytest.mark.django_db(transaction=True)
def test_a_worker_whose_session_ends_finishes_what_it_has_claimed(monkeypatch: pytest.MonkeyPatch) -> None:
    """At once, in a new session, and not when the lease is over."""
    yard = Yard()
    for n in range(3):
        yard.dried(25.0, 15.0, start=5 * n)
    load = facts._samples

    def loses_its_session(ids: Any) -> Any:
        monkeypatch.undo()
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(pg_backend_pid())")
        return load(ids)

    monkeypatch.setattr(facts, "_samples", loses_its_session)
    services.work_off()
    assert services.everything_fresh(yard.by.organization_id)
    assert BatchResult.objects.count() == 3
