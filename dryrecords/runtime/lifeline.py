"""A user's side of a keeper: join a running server, start one, leave it. See keeper.py for the other end."""

from __future__ import annotations

import contextlib
import fcntl
import functools
import json
import os
import select
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from dryrecords.runtime.accounts import Account, popen_options
from dryrecords.runtime.problems import EngineFailed

KEEPER = Path(__file__).with_name("keeper.py")
ANSWER_WITHIN_S = 90


@dataclass(frozen=True)
class Server:
    """What a keeper is told: the command, the account it runs under, how to stop it, where its words go."""

    command: list[str]
    stop_signal: signal.Signals
    log: Path
    account: Account | None = None


@contextlib.contextmanager
def starting(run: Path, name: str) -> Iterator[None]:
    """One at a time joins or starts a server, so that two who find nothing do not both start one."""
    with (run / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def join(address: Path) -> socket.socket | None:
    """A line to the keeper at `address`; None when none is there. Waits out one that is just stopping its server."""
    line = socket.socket(socket.AF_UNIX)
    line.settimeout(ANSWER_WITHIN_S)
    try:
        line.connect(os.fspath(address))
        if line.recv(1):
            return line
    except OSError:
        pass
    line.close()
    return None


def start(address: Path, server: Server) -> socket.socket:
    """Start a keeper with its server. Only under `starting`, and only when `join` found nobody."""
    address.unlink(missing_ok=True)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(os.fspath(address))
        listener.listen(64)
        line = socket.socket(socket.AF_UNIX)
        # Connected before the keeper exists: should this process die now, the keeper finds its only user gone.
        line.connect(os.fspath(address))
        _run_keeper(listener.fileno(), server)
    line.settimeout(ANSWER_WITHIN_S)
    if not line.recv(1):
        raise EngineFailed(f"{server.command[0]} could not be run: see {server.log}.")
    return line


def leave(line: socket.socket) -> None:
    """Give up the server. Returns at once while others use it, else when it has stopped."""
    with contextlib.suppress(OSError), line:
        line.settimeout(ANSWER_WITHIN_S)
        line.shutdown(socket.SHUT_WR)
        line.recv(1)


def is_lost(line: socket.socket) -> bool:
    """Whether the server at the other end has ended by itself."""
    return bool(select.select([line], [], [], 0)[0])


def dying_with_parent(death_signal: signal.Signals, command: list[str]) -> list[str]:
    """`command`, told to end when its parent does, where the system can do that (util-linux; not on macOS)."""
    setpriv = _setpriv()
    return [setpriv, "--pdeathsig", death_signal.name.removeprefix("SIG"), *command] if setpriv else command


@functools.cache
def _setpriv() -> str | None:
    path = shutil.which("setpriv")
    known = path and subprocess.run([path, "--pdeathsig", "INT", "true"], capture_output=True).returncode == 0
    return path if known else None


def _run_keeper(listener: int, server: Server) -> None:
    order = {
        "command": dying_with_parent(server.stop_signal, server.command),
        "stop_signal": server.stop_signal,
        "popen": {"cwd": "/", **popen_options(server.account)},
    }
    with server.log.open("ab") as log:
        keeper = subprocess.Popen(
            [sys.executable, "-I", "-S", os.fspath(KEEPER), json.dumps(order), str(listener)],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            pass_fds=[listener],
            start_new_session=True,
            env=server_environment(),
        )
    # It may outlive this process, so nobody waits for it; the reference keeps Python from complaining about that.
    _keepers.append(keeper)


_keepers: list[subprocess.Popen[bytes]] = []


def server_environment() -> dict[str, str]:
    """The servers' environment: none of the caller's PG* or LC_* settings, times in UTC."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PG", "LC_", "LANG"))}
    return kept | {"LC_ALL": "C", "TZ": "UTC"}
