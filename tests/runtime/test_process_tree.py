"""`manage.py serve` with real processes: start, end, restart, and each reason not to start."""

from __future__ import annotations

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import psycopg
import pytest

from dryrecords.runtime import layout
from tests.runtime.processes import Holder, environment, nothing_runs_on, open_place, running_on, wait_for

pytestmark = pytest.mark.slow

START_WITHIN_S = 60


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Serve:
    """A running `manage.py serve`."""

    def __init__(self, data_dir: Path, port: int | None = None, **env: str) -> None:
        self.data_dir, self.port = data_dir, port or free_port()
        self.errors = tempfile.TemporaryFile("w+")  # noqa: SIM115 - closed with the process
        command = [sys.executable, layout.CHECKOUT / "manage.py", "serve"]
        self.process = subprocess.Popen(
            [*command, "--port", str(self.port), "--data-dir", data_dir],
            stdout=subprocess.PIPE,
            stderr=self.errors,
            text=True,
            start_new_session=True,
            env=environment(**env),
        )

    def ready(self) -> Serve:
        """Wait for the line that says so."""
        said = self.process.stdout.readline()
        assert said.startswith(f"Serving on http://127.0.0.1:{self.port}"), self.told()
        return self

    def is_live(self) -> bool:
        client = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
        try:
            client.request("GET", "/health/live")
            return client.getresponse().status == 200
        except (OSError, http.client.HTTPException):
            return False
        finally:
            client.close()

    def end(self, number: signal.Signals) -> int:
        self.process.send_signal(number)
        return self.process.wait(START_WITHIN_S)

    def finish(self) -> None:
        if self.process.poll() is None:
            self.end(signal.SIGTERM)
        self.process.stdout.close()
        self.errors.close()

    def told(self) -> str:
        self.errors.seek(0)
        return self.errors.read()

    def child(self, part: str) -> int:
        """The number of the direct child whose command contains `part`."""
        listed = subprocess.run(
            ["ps", "-ww", "-o", "pid=,args=", "--ppid", str(self.process.pid)], capture_output=True, text=True
        )
        return next(int(line.split()[0]) for line in listed.stdout.splitlines() if part in line)


@pytest.fixture
def serve(used_data_dir: Path) -> Iterator[Callable[..., Serve]]:
    begun: list[Serve] = []

    def begin(where: Path = used_data_dir, **options) -> Serve:
        begun.append(Serve(where, **options))
        return begun[-1]

    yield begin
    for one in begun:
        one.finish()


@pytest.fixture(scope="module")
def running(copy_of_used: Callable[[Path], Path]) -> Iterator[Serve]:
    """One tree for all tests that leave it as they found it."""
    with open_place() as directory:
        one = Serve(copy_of_used(directory / "data")).ready()
        yield one
        one.finish()


def refused(one: Serve) -> tuple[int, str]:
    """Exit status and the one sentence of a serve that does not start."""
    status = one.process.wait(START_WITHIN_S)
    told = one.told().strip()
    assert told.count("\n") == 0, told
    assert one.process.stdout.read() == ""
    return status, told


def terminate(process: subprocess.Popen[str]) -> None:
    process.send_signal(signal.SIGTERM)


def press_control_c(process: subprocess.Popen[str]) -> None:
    """A terminal signals the whole foreground group, twice when somebody is impatient."""
    os.killpg(process.pid, signal.SIGINT)
    time.sleep(0.3)
    os.killpg(process.pid, signal.SIGINT)


PARTS = ("gunicorn", " beat ", " worker ", "valkey-server", "postgres -D")


def order_of_ends(one: Serve) -> list[str]:
    """The parts of a tree that is stopping, in the order in which they were last seen: all were there before."""
    seen: dict[str, None] = dict.fromkeys(PARTS)
    while one.process.poll() is None:
        commands = " ".join(command for command in running_on(one.data_dir).values() if "keeper.py" not in command)
        for part in reversed(PARTS):
            if part in commands:
                seen.pop(part, None)
                seen[part] = None
    return list(seen)


@pytest.mark.parametrize("end", [terminate, press_control_c])
def test_a_signal_ends_the_whole_tree_in_order(
    serve, used_data_dir: Path, end: Callable[[subprocess.Popen[str]], None]
) -> None:
    one = serve().ready()
    assert one.is_live()
    assert {os.getpgid(one.child(part)) for part in PARTS[:3]}.isdisjoint({os.getpgid(one.process.pid)})
    end(one.process)
    assert order_of_ends(one) == list(PARTS)
    assert one.process.returncode == 0
    assert running_on(used_data_dir) == {}
    assert "Traceback" not in one.told()


def test_the_tree_outlives_no_kill_and_starts_again_at_once(serve, used_data_dir: Path) -> None:
    one = serve().ready()
    one.end(signal.SIGKILL)
    again = serve(port=one.port)
    begun = time.monotonic()
    again.ready()
    assert time.monotonic() - begun < 20
    assert again.is_live()
    again.end(signal.SIGKILL)
    assert nothing_runs_on(used_data_dir)


def test_the_web_and_worker_processes_know_only_the_plain_role(running: Serve) -> None:
    for part in (" worker ", " beat ", "gunicorn"):
        told = Path(f"/proc/{running.child(part)}/environ").read_text()
        assert "DATABASE_URL=postgresql://dryrecords_app@" in told
        assert "dryrecords_owner" not in told
    holder = Holder(running.data_dir)
    with psycopg.connect(holder.addresses["DATABASE_URL"]) as connection:
        owners = "SELECT DISTINCT tableowner FROM pg_tables WHERE schemaname = 'public'"
        assert connection.execute(owners).fetchall() == [("dryrecords_owner",)]
    holder.leave()


@pytest.mark.parametrize(
    ("part", "name"), [("gunicorn", "web server"), (" worker ", "worker"), (" beat ", "scheduler")]
)
def test_a_child_that_dies_is_started_again(running: Serve, part: str, name: str) -> None:
    victim = running.child(part)
    os.kill(victim, signal.SIGKILL)
    assert wait_for(lambda: f"{name} ended with -9; starting it again in 1 s." in running.told())

    def is_back() -> bool:
        try:
            return running.child(part) != victim and running.is_live()
        except StopIteration:
            return False

    assert wait_for(is_back)


def test_a_busy_port_is_refused(serve) -> None:
    with socket.socket() as busy:
        busy.bind(("127.0.0.1", 0))
        busy.listen()
        port = busy.getsockname()[1]
        status, told = refused(serve(port=port))
    assert status == 6
    assert told == (
        f"dryrecords: 127.0.0.1:{port} cannot be listened on (Address already in use): "
        "choose another with --port or --host."
    )


def test_an_unwritable_data_directory_is_refused(serve, open_directory: Path) -> None:
    (open_directory / "file").touch()
    status, told = refused(serve(open_directory / "file" / "data"))
    assert status == 5
    assert re.match(r"dryrecords: The data directory .*/file/data cannot be written", told)


def test_a_database_newer_than_the_code_is_refused(serve, used_data_dir: Path) -> None:
    holder = Holder(used_data_dir)
    with psycopg.connect(holder.addresses["DATABASE_OWNER_URL"]) as connection:
        later = "INSERT INTO django_migrations (app, name, applied) VALUES ('harvest', '9999_later', now())"
        connection.execute(later)
    holder.leave()
    status, told = refused(serve())
    assert status == 8
    assert "newer than this code: it has harvest.9999_later" in told


def test_a_second_serve_on_the_same_data_is_refused(running: Serve, serve) -> None:
    status, told = refused(serve(running.data_dir))
    assert status == 7
    assert "Another serve or demo is running on" in told
    assert running.is_live()


def test_a_database_that_does_not_answer_is_refused(serve) -> None:
    named = {"DATABASE_URL": "postgresql://somebody@127.0.0.1:1/x", "BROKER_URL": "memory://"}
    status, told = refused(serve(**named))
    assert status == 9
    assert "The database cannot be used" in told


def test_servers_named_by_the_environment_are_used_and_left_running(serve, open_directory: Path) -> None:
    ours = Holder(open_directory / "servers")
    named = {"DATABASE_URL": ours.addresses["DATABASE_OWNER_URL"], "BROKER_URL": ours.addresses["BROKER_URL"]}
    one = serve(open_directory / "files", **named).ready()
    assert one.is_live()
    assert not list((open_directory / "files").glob("pg*"))
    assert one.end(signal.SIGTERM) == 0
    with psycopg.connect(ours.addresses["DATABASE_URL"]) as connection:
        assert connection.execute("SELECT count(*) > 0 FROM django_migrations").fetchone() == (True,)
    ours.leave()


def test_a_command_beside_a_running_serve_shares_its_database(running: Serve) -> None:
    manage = [sys.executable, layout.CHECKOUT / "manage.py"]
    command = [*manage, "showmigrations", "--plan", "--data-dir", running.data_dir]
    done = subprocess.run(command, capture_output=True, text=True, env=environment())
    assert (done.returncode, done.stderr) == (0, "")
    assert "[X]  harvest.0001_initial" in done.stdout
    assert "[ ]" not in done.stdout
    assert running.is_live()
