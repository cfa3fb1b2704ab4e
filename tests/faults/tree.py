"""Web servers, workers and schedulers as processes of their own on the test's database, and a client to them."""

from __future__ import annotations

import contextlib
import http.client
import os
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit
from uuid import UUID

import orjson
from django.db import connection

from dryrecords.runtime import layout, process_tree
from dryrecords.runtime.lifeline import dying_with_parent
from tests.plain_role import as_plain_role
from tests.runtime.processes import environment, wait_for

START_WITHIN_S = 30
# For rigged workers and schedulers: waits that are right for a farm are long for a test.
QUICK = {"FAULTS_LEASE_S": "0.5", "FAULTS_SWEEP_S": "1"}


def database_url() -> str:
    """Where the test database is, for other processes."""
    named = urlsplit(os.environ["DATABASE_URL"])
    return as_plain_role(named._replace(path="/" + quote(str(connection.settings_dict["NAME"]))).geturl())


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Tree:
    """The commands of `serve`, each started when a test asks for it; nothing of it outlives the test."""

    def __init__(self, directory: Path) -> None:
        self.port, self._directory = _free_port(), directory
        children = process_tree._children(process_tree.Options(port=self.port), directory)
        self._commands = {child.name: child.command for child in children}
        self._begun: list[subprocess.Popen[bytes]] = []

    def web(self, broker_url: str | None = None) -> subprocess.Popen[bytes]:
        """A web server that answers."""
        process = self._start(self._commands["web server"], broker_url)
        assert wait_for(self._is_live, START_WITHIN_S), self.told()
        return process

    def worker(self, broker_url: str | None = None, **faults: str) -> subprocess.Popen[bytes]:
        name = ["--hostname", f"worker{len(self._begun)}@%h"]
        return self._start([*self._commands["worker"], *name], broker_url, **faults)

    def scheduler(self, broker_url: str | None = None, **faults: str) -> subprocess.Popen[bytes]:
        return self._start(self._commands["scheduler"], broker_url, **faults)

    def _start(self, command: list[str], broker_url: str | None, **faults: str) -> subprocess.Popen[bytes]:
        named = {"DATABASE_URL": database_url(), "BROKER_URL": broker_url or os.environ["BROKER_URL"]}
        if faults:
            command = [part.replace("dryrecords.config.celery", "tests.faults.rigged") for part in command]
        with (self._directory / f"{len(self._begun)}.log").open("wb") as log:
            process = subprocess.Popen(
                dying_with_parent(signal.SIGTERM, command),
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
                cwd=layout.CHECKOUT,
                env=environment(**named, **faults),
            )
        self._begun.append(process)
        return process

    def _is_live(self) -> bool:
        try:
            return Api(self.port, "").call("GET", "/health/live").status == 200
        except OSError:
            return False

    def all_run(self) -> bool:
        """Whether everything that was started still runs, and is what was started."""
        return all(process.poll() is None for process in self._begun)

    @staticmethod
    def kill(process: subprocess.Popen[bytes]) -> None:
        """The process and its children, at once and without a word."""
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()

    def end(self) -> None:
        """Kill everything, and wait until the database has noticed: it is about to be emptied."""
        for process in self._begun:
            self.kill(process)
        assert wait_for(lambda: end_other_sessions() == 0)

    def told(self) -> str:
        """Everything that every process said."""
        return "\n".join(path.read_text(errors="replace") for path in sorted(self._directory.glob("*.log")))


def end_other_sessions() -> int:
    """Tell every other session on the test database to end; how many there were."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )
        return int(cursor.fetchone()[0])


def deadlocks() -> int:
    """How many the server has broken in the test database."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()")
        return int(cursor.fetchone()[0])


class Answer:
    def __init__(self, status: int, body: bytes, took_s: float) -> None:
        self.status, self._body, self.took_s = status, body, took_s

    def json(self) -> Any:
        return orjson.loads(self._body)

    def __repr__(self) -> str:
        return f"{self.status} after {self.took_s:.3f} s: {self._body[:500]!r}"


class Api:
    """JSON with a token, over a connection per thread that is kept open as a field device would."""

    def __init__(self, port: int, token: str) -> None:
        self._port, self._token, self._own = port, token, threading.local()

    def call(self, method: str, path: str, body: Any = None) -> Answer:
        headers = {"Authorization": f"Bearer {self._token}", "Content-Type": "application/json"}
        begun = time.monotonic()
        line = self._line(begun)
        try:
            line.request(method, path, None if body is None else orjson.dumps(body), headers)
            response = line.getresponse()
            return Answer(response.status, response.read(), time.monotonic() - begun)
        except (OSError, http.client.HTTPException) as error:
            line.close()
            raise ConnectionError(f"{method} {path}: {error!r}") from error

    def _line(self, now: float) -> http.client.HTTPConnection:
        """This thread's connection; a new one after a pause, in which the server may have ended the old one."""
        if now - getattr(self._own, "used_at", 0.0) > 1:
            self._own.line = http.client.HTTPConnection("127.0.0.1", self._port, timeout=30)
        self._own.used_at = now
        return self._own.line

    def post(self, path: str, body: Any) -> Answer:
        return self.call("POST", f"/api/v1/{path}", body)

    def patch(self, path: str, body: Any) -> Answer:
        return self.call("PATCH", f"/api/v1/{path}", body)

    def get(self, path: str) -> Any:
        answer = self.call("GET", f"/api/v1/{path}")
        assert answer.status == 200, answer
        return answer.json()

    def result(self, batch_id: UUID | str) -> Any:
        return self.get(f"batches/{batch_id}/result")

    def wait_until_fresh(self, batch_id: UUID | str, within_s: float = 30) -> float:
        """How long it took."""
        begun = time.monotonic()
        assert wait_for(lambda: self.result(batch_id)["fresh"], within_s), self.result(batch_id)
        return time.monotonic() - begun


def at_once(work: Callable[[Any], Any], on: Iterable[Any], threads: int = 4) -> list[Any]:
    """`work` on each, several at a time, as several devices would. The first that fails ends it."""
    with ThreadPoolExecutor(threads) as pool:
        futures = [pool.submit(work, one) for one in on]
        try:
            return [future.result() for future in futures]
        finally:
            pool.shutdown(cancel_futures=True)
