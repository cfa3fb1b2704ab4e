"""The embedded PostgreSQL and broker: start, sharing, and what is left after every kind of end."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import kombu
import psycopg
import pytest

from dryrecords.runtime import binaries, layout, postgres
from dryrecords.runtime.engines import engines
from dryrecords.runtime.problems import EngineMissing
from tests.runtime.processes import Holder, environment, nothing_runs_on, postmaster, running_on, wait_for


def query(url: str, statement: str) -> list[tuple]:
    """The rows of one statement, or nothing."""
    with psycopg.connect(url, autocommit=True) as connection:
        cursor = connection.execute(statement)
        return cursor.fetchall() if cursor.description else []


def test_first_start_makes_two_plain_roles_and_a_database_of_the_owner(data_dir: Path) -> None:
    holder = Holder(data_dir)
    app, owner = holder.addresses["DATABASE_URL"], holder.addresses["DATABASE_OWNER_URL"]
    rights = "SELECT rolname, rolsuper, rolcreaterole, rolbypassrls, rolcreatedb FROM pg_roles WHERE rolname ~ '^dry'"
    assert sorted(query(app, rights)) == [
        ("dryrecords_app", False, False, False, False),
        ("dryrecords_owner", False, False, False, True),
    ]
    owned = "SELECT datname, pg_get_userbyid(datdba), datcollate FROM pg_database WHERE datname = current_database()"
    assert query(app, owned) == [("dryrecords", "dryrecords_owner", "C")]

    query(owner, "CREATE TABLE load (id bigserial PRIMARY KEY, mass_kg float)")
    query(app, "INSERT INTO load (mass_kg) VALUES (1), (2)")
    query(app, "UPDATE load SET mass_kg = 3 WHERE mass_kg = 1")
    query(app, "DELETE FROM load WHERE mass_kg = 2")
    assert query(app, "SELECT mass_kg FROM load") == [(3.0,)]
    for forbidden in ("CREATE TABLE other (id int)", "TRUNCATE load", "DROP TABLE load", "CREATE ROLE boss"):
        with pytest.raises(psycopg.errors.InsufficientPrivilege):
            query(app, forbidden)
    holder.leave()


def test_nothing_listens_on_the_network_and_the_cluster_is_closed_to_others(data_dir: Path) -> None:
    holder = Holder(data_dir)
    assert query(holder.addresses["DATABASE_URL"], "SHOW listen_addresses") == [("",)]
    (cluster,) = data_dir.glob("pg*/")
    closed = [cluster, data_dir / "run", data_dir / "secret_key"]
    assert [path.stat().st_mode & 0o077 for path in closed] == [0, 0, 0]
    holder.leave()


def test_second_start_finds_what_the_first_one_stored(data_dir: Path) -> None:
    first = Holder(data_dir)
    query(first.addresses["DATABASE_OWNER_URL"], "CREATE TABLE kept AS SELECT 42 AS n")
    key = (data_dir / "secret_key").read_text()
    first.leave()
    assert nothing_runs_on(data_dir)

    second = Holder(data_dir)
    assert query(second.addresses["DATABASE_URL"], "SELECT n FROM kept") == [(42,)]
    assert second.addresses == first.addresses
    assert (data_dir / "secret_key").read_text() == key
    second.leave()


@pytest.mark.parametrize("end_the_first", [Holder.leave, Holder.kill])
def test_two_users_share_one_server_until_the_last_is_gone(data_dir: Path, end_the_first) -> None:
    first = Holder(data_dir)
    server = postmaster(data_dir)
    second = Holder(data_dir)
    assert postmaster(data_dir) == server

    end_the_first(first)
    assert query(second.addresses["DATABASE_URL"], "SELECT 1") == [(1,)]
    assert postmaster(data_dir) == server
    second.leave()
    assert not running_on(data_dir), "leaving waits for the server's end"


def test_many_that_start_at_once_share_one_server(data_dir: Path) -> None:
    begun = [
        subprocess.Popen(
            [sys.executable, Path(__file__).with_name("hold_engines.py"), data_dir],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=environment(),
        )
        for _ in range(4)
    ]
    assert len({process.stdout.readline() for process in begun}) == 1
    assert sum("keeper.py" in command and "/postgres" in command for command in running_on(data_dir).values()) == 1
    for process in begun:
        process.communicate(timeout=30)
        assert process.returncode == 0


def test_kill_of_the_only_user_leaves_nothing_and_loses_nothing(data_dir: Path) -> None:
    holder = Holder(data_dir)
    query(holder.addresses["DATABASE_OWNER_URL"], "CREATE TABLE kept AS SELECT 7 AS n")
    holder.kill()
    again = Holder(data_dir)
    assert query(again.addresses["DATABASE_URL"], "SELECT n FROM kept") == [(7,)]
    again.kill()
    assert nothing_runs_on(data_dir)


def servers(data_dir: Path) -> dict[str, int]:
    """The numbers of the keepers and their servers by what they are."""
    found = running_on(data_dir)
    kinds = {
        "database": lambda c: "/bin/postgres -D" in c and "keeper.py" not in c,
        "database keeper": lambda c: "keeper.py" in c and "/bin/postgres" in c,
        "broker": lambda c: "valkey-server" in c and "keeper.py" not in c,
        "broker keeper": lambda c: "keeper.py" in c and "valkey-server" in c,
    }
    return {kind: pid for kind, test in kinds.items() for pid, command in found.items() if test(command)}


@pytest.mark.parametrize("victim", ["database", "database keeper", "broker", "broker keeper"])
def test_a_server_that_dies_is_started_again_for_those_who_use_it(data_dir: Path, victim: str) -> None:
    holder = Holder(data_dir)
    query(holder.addresses["DATABASE_OWNER_URL"], "CREATE TABLE kept AS SELECT 9 AS n")
    before = servers(data_dir)
    os.kill(before[victim], signal.SIGKILL)

    def is_back() -> bool:
        try:
            after = servers(data_dir)
            query(holder.addresses["DATABASE_URL"], "SELECT n FROM kept")
            with kombu.Connection(holder.addresses["BROKER_URL"]) as broker:
                broker.ensure_connection(max_retries=1, timeout=1)
        except (psycopg.OperationalError, kombu.exceptions.OperationalError):
            return False
        return after.keys() == before.keys() and after[victim] != before[victim]

    assert wait_for(is_back)
    assert "has ended unexpectedly; starting it again" in holder.leave()


def test_a_process_number_that_now_belongs_to_somebody_else_does_not_stop_the_start(data_dir: Path) -> None:
    Holder(data_dir).leave()
    (cluster,) = data_dir.glob("pg*/")
    # PostgreSQL itself takes any living process of its own account for a rival.
    account = {"user": cluster.stat().st_uid} if os.geteuid() == 0 else {}
    with subprocess.Popen(["sleep", "60"], **account) as bystander:
        (cluster / "postmaster.pid").write_text(f"{bystander.pid}\n{cluster}\n1700000000\n5432\n{cluster}\n\n")
        holder = Holder(data_dir)
        assert holder.addresses, holder.leave()
        assert query(holder.addresses["DATABASE_URL"], "SELECT 1") == [(1,)]
        holder.leave()
        assert bystander.poll() is None
        bystander.kill()


def test_half_of_a_first_start_is_thrown_away(data_dir: Path) -> None:
    half = data_dir / f"pg{binaries.installations()[0].major}.new"
    half.mkdir(parents=True)
    data_dir.chmod(0o755)
    (half / "PG_VERSION").write_text("18\n")
    holder = Holder(data_dir)
    assert query(holder.addresses["DATABASE_URL"], "SELECT 1") == [(1,)]
    assert not half.exists()
    holder.leave()


@pytest.mark.parametrize("name", ["with space & ümlaut", "d" * 90])
def test_odd_and_long_paths_work(open_directory: Path, name: str) -> None:
    holder = Holder(open_directory / name)
    assert query(holder.addresses["DATABASE_URL"], "SELECT 1") == [(1,)]
    with kombu.Connection(holder.addresses["BROKER_URL"]) as broker:
        broker.ensure_connection(max_retries=1, timeout=1)
    holder.leave()
    places = [open_directory / name / "run", *(open_directory / name).glob("pg*")]
    for stand_in in Path("/tmp").glob("dryrecords-*"):
        if stand_in.name.removeprefix("dryrecords-") in map(layout.digest, places):
            shutil.rmtree(stand_in)


def test_what_the_environment_names_is_not_embedded(data_dir: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    named = {"DATABASE_URL": "postgresql://somebody@db.invalid/x", "BROKER_URL": "amqp://mq.invalid//"}
    for name, url in named.items():
        monkeypatch.setenv(name, url)
    with engines(data_dir, with_broker=True):
        assert {name: os.environ[name] for name in named} == named
        assert not list(data_dir.glob("pg*"))
        assert not running_on(data_dir)


def test_no_postgresql_at_all_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(binaries, "installations", list)
    with pytest.raises(EngineMissing, match=r"No PostgreSQL found: pip install 'dryrecords\[embedded\]'"):
        binaries.choose([])


def test_a_cluster_of_another_major_version_is_not_passed_over(data_dir: Path) -> None:
    (data_dir / "pg11").mkdir(parents=True)
    (data_dir / "pg11" / "PG_VERSION").write_text("11\n")
    with pytest.raises(EngineMissing, match="holds a PostgreSQL 11 cluster"):
        postgres.locate(data_dir)


def test_a_directory_in_tmp_prepared_by_somebody_else_is_refused(open_directory: Path) -> None:
    trap = open_directory / "trap"
    trap.mkdir(mode=0o755)
    with pytest.raises(layout.DataDirectoryUnusable, match="belongs to somebody else"):
        layout._private(trap, os.geteuid(), os.getegid())


def test_the_distribution_s_postgresql_serves_when_the_wheel_is_missing(data_dir: Path, monkeypatch) -> None:
    monkeypatch.setattr(binaries, "_of_the_wheel", list)
    found = binaries.installations()
    if not found:
        pytest.skip(f"no PostgreSQL below {binaries.DEBIAN}")
    for name in ("DATABASE_URL", "DATABASE_OWNER_URL", "BROKER_URL"):
        monkeypatch.delenv(name, raising=False)
    with engines(data_dir, with_broker=False):
        assert query(os.environ["DATABASE_URL"], "SHOW server_version_num")[0][0].startswith(str(found[0].major))
