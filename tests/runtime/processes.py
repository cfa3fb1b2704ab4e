"""Real processes for the tests: places for their data, commands that hold engines, and who runs where."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from dryrecords.runtime import layout

HOLD_ENGINES = Path(__file__).with_name("hold_engines.py")
WITHIN_S = 30


def environment(**extra: str) -> dict[str, str]:
    """Ours without the addresses of the engines the tests themselves run on."""
    named = ("DATABASE_URL", "DATABASE_OWNER_URL", "BROKER_URL", "DRYRECORDS_DATA_DIR", "DRYRECORDS_SCOPE_ROLE")
    kept = {name: value for name, value in os.environ.items() if name not in named}
    return kept | {"PYTHONPATH": os.fspath(layout.CHECKOUT), "PYTHONDONTWRITEBYTECODE": "1"} | extra


@contextlib.contextmanager
def open_place() -> Iterator[Path]:
    """A new directory that the server's account can enter, unlike pytest's own; nothing may run on it at the end."""
    directory = Path(tempfile.mkdtemp(prefix="dryrecords-test-", dir="/tmp"))
    directory.chmod(0o755)
    try:
        yield directory
    finally:
        left_over = {} if nothing_runs_on(directory) else running_on(directory)
        for pid in left_over:
            os.kill(pid, signal.SIGKILL)
        shutil.rmtree(directory, ignore_errors=True)
    assert not left_over, f"still running: {left_over}"


class Holder:
    """A process that holds the engines of `data_dir`; `addresses` is what it printed when they were up."""

    def __init__(
        self, data_dir: Path, python: str = sys.executable, program: Path = HOLD_ENGINES, **popen: Any
    ) -> None:
        popen.setdefault("env", environment())
        self.process = subprocess.Popen(
            [python, program, data_dir],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd="/",
            **popen,
        )
        self.addresses: dict[str, str] = json.loads(self.process.stdout.readline() or "{}")

    def leave(self) -> str:
        """End it properly; what it wrote to standard error."""
        return self.process.communicate(timeout=WITHIN_S)[1]

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()
        self.process.communicate()


def running_on(data_dir: Path) -> dict[int, str]:
    """Processes whose command or environment names `data_dir`: number and command. Ended ones have no command."""
    found = {}
    for process in Path("/proc").glob("[0-9]*"):
        try:
            command = (process / "cmdline").read_bytes()
            told = command + b"\0" + (process / "environ").read_bytes()
        except OSError:
            continue
        if command and os.fsencode(data_dir) in told and int(process.name) != os.getpid():
            found[int(process.name)] = command.replace(b"\0", b" ").decode(errors="replace").strip()
    return found


def wait_for(condition: Callable[[], bool], within_s: float = WITHIN_S) -> bool:
    """Whether `condition` came true in time."""
    deadline = time.monotonic() + within_s
    while not condition():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.02)
    return True


def nothing_runs_on(data_dir: Path) -> bool:
    """Whether every process of `data_dir` is gone, or soon will be: a database writes what it holds before it ends."""
    return wait_for(lambda: not running_on(data_dir))


def postmaster(home: Path) -> int:
    """The number of the running server's first process."""
    (pid_file,) = home.glob("pg*/postmaster.pid")
    return int(pid_file.read_text().split()[0])
