"""The process tree of `serve` and `demo`: migrations, then Celery worker, beat and web server, watched until a signal.

Runs inside `engines(...)`, which manage.py has entered. Every child is a group of its own, so that Ctrl-C reaches
this process alone and the stop keeps its order, and ends with its parent even when that one is killed.
"""

from __future__ import annotations

import argparse
import contextlib
import fcntl
import http.client
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

from django.db import DatabaseError, connection, connections
from django.db.migrations.executor import MigrationExecutor

from dryrecords.runtime import layout
from dryrecords.runtime.lifeline import dying_with_parent
from dryrecords.runtime.problems import (
    AlreadyServing,
    DatabaseNewer,
    DatabaseUnreachable,
    NeverReady,
    PortBusy,
)

READY_WITHIN_S = 60
PORT_FREE_WITHIN_S = 6
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
# A child that ran this long was well; the next pause starts small again.
HEALTHY_AFTER_S = 60


@dataclass(frozen=True)
class Options:
    """Where to listen."""

    host: str = "127.0.0.1"
    port: int = 8000

    @property
    def bind(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"


@dataclass
class Child:
    """One member of the tree. `stop_signal` asks it to finish; `death_signal` reaches it when its parent is killed."""

    name: str
    command: list[str]
    stop_signal: signal.Signals
    death_signal: signal.Signals
    patience_s: float
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    start_again_at: float | None = None
    pause_s: float = field(default=FIRST_PAUSE_S)

    def start(self) -> None:
        self.started_at, self.start_again_at = time.monotonic(), None
        self.process = subprocess.Popen(
            dying_with_parent(self.death_signal, self.command),
            stdin=subprocess.DEVNULL,
            stdout=sys.stderr,
            start_new_session=True,
            cwd=layout.CHECKOUT,
            env=_child_environment(),
        )

    def look_after(self) -> None:
        """Notice an end, and start again after a pause that doubles while the trouble lasts."""
        now = time.monotonic()
        if self.start_again_at is not None:
            if now >= self.start_again_at:
                self.start()
        elif self.process and self.process.poll() is not None:
            self.kill_group()
            if now - self.started_at > HEALTHY_AFTER_S:
                self.pause_s = FIRST_PAUSE_S
            layout.say(f"{self.name} ended with {self.process.returncode}; starting it again in {self.pause_s:.0f} s.")
            self.start_again_at = now + self.pause_s
            self.pause_s = min(2 * self.pause_s, LONGEST_PAUSE_S)

    def stop(self) -> None:
        if self.process is None:
            return
        with contextlib.suppress(subprocess.TimeoutExpired):
            if self.process.poll() is None:
                self.process.send_signal(self.stop_signal)
                self.process.wait(self.patience_s)
        self.kill_group()
        self.process.wait()

    def kill_group(self) -> None:
        """End what a killed child left behind: its own children are still in its group."""
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self.process.pid, signal.SIGKILL)  # type: ignore[union-attr]


class _Stop(BaseException):
    """Raised by the signal handler wherever the main thread happens to be."""


def run_tree(
    options: Options,
    *,
    prepare: Callable[[], None] | None = None,
    after_ready: Callable[[], None] | None = None,
    once: bool = False,
) -> None:
    """Migrate, start everything, and stay until SIGINT or SIGTERM.

    `prepare` runs after the migrations and before any child; `after_ready` runs once the web server answers, on a
    thread of its own, so that the tree is looked after meanwhile. With `once` the tree ends when `after_ready` has
    returned. What either of them raises ends the tree and is raised here.
    """
    data_dir = layout.data_directory()
    with _only_one(data_dir):
        _wait_for_port(options)
        children = _children(options, data_dir)
        try:
            with _signals_stop():
                bring_up_to_date()
                if prepare:
                    prepare()
                connections.close_all()
                for child in reversed(children):
                    child.start()
                _wait_until_live(options, children)
                _look_after(children, _Afterwards(after_ready), once)
        except _Stop:
            pass
        finally:
            with _signals_ignored():
                for child in children:
                    child.stop()


class _Afterwards(threading.Thread):
    """Runs `after_ready` and keeps what it raised for the main thread."""

    def __init__(self, work: Callable[[], None] | None) -> None:
        super().__init__(name="after-ready", daemon=True)
        self._work = work
        self.error: BaseException | None = None

    def run(self) -> None:
        try:
            if self._work:
                self._work()
        except BaseException as error:
            self.error = error
        finally:
            connections.close_all()


def _look_after(children: list[Child], afterwards: _Afterwards, once: bool) -> None:
    afterwards.start()
    while not (once and not afterwards.is_alive()):
        for child in children:
            child.look_after()
        if afterwards.error:
            raise afterwards.error
        time.sleep(0.1)
    if afterwards.error:
        raise afterwards.error


def _children(options: Options, data_dir: Path) -> list[Child]:
    """In the order in which they are stopped: first those who take work in, last the one who does it."""
    celery = [sys.executable, "-m", "celery", "--quiet", "-A", "dryrecords.config.celery:app"]
    # fmt: off
    web = [
        sys.executable, "-m", "gunicorn", "dryrecords.config.wsgi:application", "--bind", options.bind,
        "--worker-class", "gthread", "--workers", "2", "--threads", "4", "--reuse-port", "--no-control-socket",
        "--graceful-timeout", "5", "--log-level", "warning",
    ]
    beat = [*celery, "beat", "--loglevel", "WARNING", "--schedule", os.fspath(data_dir / "beat-schedule"), "--pidfile="]
    worker = [
        *celery, "worker", "--loglevel", "WARNING", "--pool", "prefork", "--concurrency", "2",
        "--max-tasks-per-child", "1000", "--without-gossip", "--without-mingle",
    ]
    # fmt: on
    return [
        Child("web server", web, signal.SIGTERM, signal.SIGINT, patience_s=8),
        Child("scheduler", beat, signal.SIGTERM, signal.SIGTERM, patience_s=5),
        Child("worker", worker, signal.SIGTERM, signal.SIGQUIT, patience_s=15),
    ]


def _child_environment() -> dict[str, str]:
    """The application's role only: no child has any business with the owner's."""
    kept = {name: value for name, value in os.environ.items() if name != "DATABASE_OWNER_URL"}
    python_path = filter(None, [os.fspath(layout.CHECKOUT), os.environ.get("PYTHONPATH")])
    # Root needs no lecture from Celery: in a container it is the usual account.
    return {"PYTHONWARNINGS": "ignore:You're running the worker"} | kept | {"PYTHONPATH": os.pathsep.join(python_path)}


@contextlib.contextmanager
def _only_one(data_dir: Path) -> Iterator[None]:
    """The kernel gives the lock back when its holder is killed."""
    with (layout.run_directory(data_dir) / "serve.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise AlreadyServing(
                f"Another serve or demo is running on {data_dir}: stop it first, or name another --data-dir."
            ) from None
        yield


def port_number(text: str) -> int:
    """The port on a command line."""
    if not text.isdecimal() or not 0 < int(text) < 65536:
        raise argparse.ArgumentTypeError(f"a port is a number from 1 to 65535, not {text}")
    return int(text)


def _wait_for_port(options: Options) -> None:
    """Busy for a moment may be the web server of a tree that was just killed; busy for longer is somebody else."""
    deadline = time.monotonic() + PORT_FREE_WITHIN_S
    while True:
        try:
            family, _, _, _, address = socket.getaddrinfo(options.host, options.port, type=socket.SOCK_STREAM)[0]
            with socket.socket(family) as probe:
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                probe.bind(address)
            return
        except OSError as error:
            if time.monotonic() > deadline or isinstance(error, socket.gaierror | PermissionError):
                raise PortBusy(
                    f"{options.bind} cannot be listened on ({error.strerror}): choose another with --port or --host."
                ) from None
        time.sleep(0.1)


def bring_up_to_date() -> None:
    """Apply what is missing, as the owner; refuse what a newer version has already applied."""
    try:
        executor = MigrationExecutor(connection)
        unknown = sorted(set(executor.loader.applied_migrations) - set(executor.loader.disk_migrations))
        pending = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError as error:
        raise DatabaseUnreachable(f"The database cannot be used: {_first_line(error)}") from None
    if unknown:
        raise DatabaseNewer(
            f"The database is newer than this code: it has {'.'.join(unknown[0])}, which this version does not know. "
            "Install the version that wrote it, or restore an older backup."
        )
    if pending:
        _migrate()


def _migrate() -> None:
    owner = os.environ.get("DATABASE_OWNER_URL") or os.environ["DATABASE_URL"]
    command = [sys.executable, "-m", "django", "migrate", "--no-input", "--verbosity", "0"]
    done = subprocess.run(
        dying_with_parent(signal.SIGTERM, command),
        cwd=layout.CHECKOUT,
        env=_child_environment() | {"DATABASE_URL": owner},
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    if done.returncode != 0:
        raise DatabaseUnreachable(
            f"The migrations failed: {(done.stderr.strip().splitlines() or ['no reason given'])[-1]}"
        )


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0]


def _wait_until_live(options: Options, children: list[Child]) -> None:
    host = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(options.host, options.host)
    deadline = time.monotonic() + READY_WITHIN_S
    while not _is_live(host, options.port):
        for child in children:
            child.look_after()
        if time.monotonic() > deadline:
            raise NeverReady(f"The web server on {options.bind} did not answer within {READY_WITHIN_S} s.")
        time.sleep(0.05)


def _is_live(host: str, port: int) -> bool:
    client = http.client.HTTPConnection(host, port, timeout=5)
    try:
        client.request("GET", "/health/live")
        # A host name that is not allowed here gets 400, which proves as much as 200.
        return client.getresponse().status < 500
    except (OSError, http.client.HTTPException):
        return False
    finally:
        client.close()


@contextlib.contextmanager
def _signals_stop() -> Iterator[None]:
    def stop(_: int, __: FrameType | None) -> None:
        raise _Stop

    with _handling(stop):
        yield


@contextlib.contextmanager
def _signals_ignored() -> Iterator[None]:
    """A second Ctrl-C must not leave half a tree behind."""
    with _handling(lambda *_: None):
        yield


@contextlib.contextmanager
def _handling(handler: Callable[[int, FrameType | None], None]) -> Iterator[None]:
    before = {number: signal.signal(number, handler) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)
