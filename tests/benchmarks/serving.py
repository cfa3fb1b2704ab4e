"""The whole service as a process tree of its own, and connections to it."""

from __future__ import annotations

import contextlib
import http.client
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson

from dryrecords.runtime import layout

STOP_WITHIN_S = 60


@contextlib.contextmanager
def served(directory: Path) -> Iterator[int]:
    """`manage.py serve` on the database and broker of the environment; yields its port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, layout.CHECKOUT / "manage.py", "serve", "--port", str(port)]
    with (directory / "serve.log").open("w+") as errors:
        process = subprocess.Popen(
            [*command, "--data-dir", directory / "served"],
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            start_new_session=True,
            env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
        )
        try:
            if not process.stdout.readline().startswith("Serving on"):
                errors.seek(0)
                raise RuntimeError(f"The service did not start: {errors.read()}")
            yield port
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGTERM)
            process.communicate(timeout=STOP_WITHIN_S)


class Line:
    """One kept connection of a device that shows its token."""

    def __init__(self, port: int, token: str) -> None:
        self._http = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        self._headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def get(self, path: str) -> bytes:
        return self.send("GET", path)

    def post(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        answer: dict[str, Any] = orjson.loads(self.send("POST", path, orjson.dumps(body)))
        return answer

    def send(self, method: str, path: str, body: bytes | None = None) -> bytes:
        self._http.request(method, f"/api/v1/{path}", body, self._headers)
        response = self._http.getresponse()
        content = response.read()
        if response.status >= 300:
            raise RuntimeError(f"{method} {path}: {response.status} {content[:500]!r}")
        return content

    def close(self) -> None:
        self._http.close()
