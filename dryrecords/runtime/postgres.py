"""The embedded PostgreSQL: a cluster in the data directory, reachable through a private Unix socket only."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import psycopg
from psycopg import sql

from dryrecords.runtime import binaries, layout, lifeline
from dryrecords.runtime.accounts import Account, can_enter, popen_options, server_account
from dryrecords.runtime.problems import DataDirectoryUnusable, EngineFailed

OWNER = "dryrecords_owner"
APPLICATION = "dryrecords_app"
DATABASE = "dryrecords"

READY_WITHIN_S = 60
LEFTOVER_GONE_WITHIN_S = 30


@dataclass(frozen=True)
class Cluster:
    """Where one cluster lives and what runs it."""

    installation: binaries.Installation
    account: Account | None
    data: Path
    sockets: Path

    def url(self, role: str) -> str:
        """The address of the application's database for one of the two roles."""
        return f"postgresql://{role}@/{DATABASE}?host={quote(os.fspath(self.sockets), safe='')}"

    def connect(self, database: str) -> psycopg.Connection:
        """A superuser's connection: the socket is private to us, which is all the authentication there is."""
        return psycopg.connect(
            host=os.fspath(self.sockets),
            port=5432,
            user="postgres",
            dbname=database,
            autocommit=True,
            connect_timeout=5,
        )


def locate(data_dir: Path) -> Cluster:
    """Find or choose the place, account and programs for the cluster of a data directory."""
    elsewhere = layout.STATE / layout.digest(data_dir)
    account = server_account(_clusters(elsewhere) + _clusters(data_dir))
    home = _home(data_dir, elsewhere, account)
    installation = binaries.choose([int(path.name[2:]) for path in _clusters(home)])
    data = home / f"pg{installation.major}"
    owner = account or Account("", os.geteuid(), os.getegid())
    return Cluster(installation, account, data, layout.socket_directory(data, owner.uid, owner.gid))


def open_line(data_dir: Path, options: Sequence[str] = ()) -> tuple[socket.socket, Cluster]:
    """Join the running server of this data directory, or start it. The line is given back with `lifeline.leave`."""
    run = layout.run_directory(data_dir)
    cluster = locate(data_dir)
    with lifeline.starting(run, "postgres"):
        line = lifeline.join(run / "postgres.line")
        if line is None:
            if data_dir not in cluster.data.parents:
                layout.say(f"{data_dir} is closed to PostgreSQL's account: the database is kept in {cluster.data}.")
            line = _start(cluster, run / "postgres.line", data_dir / "postgres.log", options)
    return line, cluster


def _clusters(home: Path) -> list[Path]:
    return sorted(path.parent for path in home.glob("pg[0-9][0-9]/PG_VERSION"))


def _home(data_dir: Path, elsewhere: Path, account: Account | None) -> Path:
    """The data directory, or a directory of our own when the server's account cannot pass into the data directory."""
    if account is None or (not _clusters(elsewhere) and can_enter(account, data_dir)):
        return data_dir
    if _clusters(data_dir):
        raise DataDirectoryUnusable(
            f"The database in {data_dir} belongs to the account {account.name}, which can no longer reach it: "
            "open the directories above it to that account, or name another data directory."
        )
    _make_open(layout.STATE)
    _make_open(elsewhere)
    return elsewhere


def _make_open(directory: Path) -> None:
    try:
        directory.mkdir()
        directory.chmod(0o755)
    except FileExistsError:
        pass
    except OSError as error:
        raise DataDirectoryUnusable(f"{directory} cannot be made: {error.strerror}.") from None


def _start(cluster: Cluster, address: Path, log: Path, options: Sequence[str]) -> socket.socket:
    installation = binaries.runnable_by(cluster.account, cluster.installation)
    if not (cluster.data / "PG_VERSION").exists():
        _initialize(cluster, installation)
    _clear_leftover(cluster.data)
    # fmt: off
    command = [
        os.fspath(installation.bin / "postgres"), "-D", os.fspath(cluster.data),
        "-c", "listen_addresses=", "-c", f"unix_socket_directories={cluster.sockets}", "-c", "port=5432",
        "-c", "unix_socket_permissions=0700", "-c", "timezone=UTC", "-c", "log_timezone=UTC",
        # A statement that fails is not written down: it holds what somebody recorded.
        "-c", "log_min_error_statement=panic", "-c", "log_error_verbosity=terse", *options,
    ]
    # fmt: on
    line = lifeline.start(address, lifeline.Server(command, signal.SIGINT, log, cluster.account))
    _wait_until_ready(cluster, line, log)
    _furnish(cluster)
    return line


def _initialize(cluster: Cluster, installation: binaries.Installation) -> None:
    """Make a new cluster beside its place and move it there whole: a killed first start leaves no half of one."""
    unfinished = cluster.data.with_name(f"{cluster.data.name}.new")
    shutil.rmtree(unfinished, ignore_errors=True)
    unfinished.mkdir(mode=0o700)
    if cluster.account:
        os.chown(unfinished, cluster.account.uid, cluster.account.gid)
    # fmt: off
    made = subprocess.run(
        [installation.bin / "initdb", "-D", unfinished, "--username=postgres", "--encoding=UTF8", "--locale=C",
         "--auth-local=trust", "--auth-host=reject", "--data-checksums", "--no-instructions"],
        capture_output=True, text=True, cwd="/", env=lifeline.server_environment(), **popen_options(cluster.account),
    )
    # fmt: on
    if made.returncode != 0:
        raise EngineFailed(f"PostgreSQL could not make a cluster in {cluster.data}: {_last_line(made.stderr)}")
    unfinished.rename(cluster.data)


def _clear_leftover(data: Path) -> None:
    """End a server whose keeper was killed, and disown a process number that by now means something else."""
    pid_file = data / "postmaster.pid"
    deadline = time.monotonic() + LEFTOVER_GONE_WITHIN_S
    while pid_file.exists() and (pid := _first_number(pid_file)) and _is_alive(pid):
        if os.fspath(data) not in _command_line(pid):
            pid_file.unlink(missing_ok=True)
            return
        if time.monotonic() > deadline:
            raise EngineFailed(f"A PostgreSQL server left over in {data} (process {pid}) does not stop.")
        os.kill(pid, signal.SIGINT)
        time.sleep(0.1)


def _first_number(pid_file: Path) -> int:
    try:
        return int(pid_file.read_text().split()[0])
    except (OSError, ValueError, IndexError):
        return 0


def _is_alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        pass
    return True


def _command_line(pid: int) -> str:
    """The command of a process; empty for one that has ended but whose parent never asked."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_text()
    except OSError:
        return subprocess.run(["ps", "-o", "command=", "-p", str(pid)], capture_output=True, text=True).stdout


def _wait_until_ready(cluster: Cluster, line: socket.socket, log: Path) -> None:
    """A process that exists proves nothing; one that lets us in is ready."""
    deadline = time.monotonic() + READY_WITHIN_S
    while True:
        try:
            cluster.connect("postgres").close()
            return
        except psycopg.OperationalError as error:
            if lifeline.is_lost(line) or time.monotonic() > deadline:
                line.close()
                reason = _last_line(log.read_text(errors="replace")) or str(error)
                raise EngineFailed(f"PostgreSQL did not start: {reason} (see {log}).") from None
            time.sleep(0.02)


def _last_line(text: str) -> str:
    lines = [line for line in text.splitlines() if line.strip()]
    fatal = [line for line in lines[-20:] if "FATAL" in line or "error" in line.lower()]
    return (fatal or lines or [""])[-1].strip()


def _furnish(cluster: Cluster) -> None:
    """Two roles and the database, repeated at every start so that a killed first start is made good."""
    with cluster.connect("postgres") as connection:
        known = {row[0] for row in connection.execute("SELECT rolname FROM pg_roles")}
        for role, right in ((OWNER, "CREATEDB"), (APPLICATION, "NOCREATEDB")):
            if role not in known:
                connection.execute(
                    sql.SQL("CREATE ROLE {} LOGIN NOSUPERUSER NOCREATEROLE {}").format(
                        sql.Identifier(role), sql.SQL(right)
                    )
                )
        if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone():
            connection.execute(
                sql.SQL("CREATE DATABASE {} OWNER {}").format(sql.Identifier(DATABASE), sql.Identifier(OWNER))
            )
    with cluster.connect(DATABASE) as connection:
        for kinds, rights in (("TABLES", "SELECT, INSERT, UPDATE, DELETE"), ("SEQUENCES", "USAGE, SELECT")):
            connection.execute(f"ALTER DEFAULT PRIVILEGES FOR ROLE {OWNER} GRANT {rights} ON {kinds} TO {APPLICATION}")
