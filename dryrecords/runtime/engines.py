"""Starts what the environment does not name, exports the addresses, and keeps it running while a command lasts."""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from dryrecords.runtime import broker, layout, lifeline, postgres
from dryrecords.runtime.problems import CannotStart

LONGEST_PAUSE_S = 30.0


@dataclass
class _Held:
    """A server in use and the way to have it again should it die."""

    name: str
    line: socket.socket
    reopen: Callable[[], socket.socket]


@contextlib.contextmanager
def engines(data_dir: Path, *, with_broker: bool, postgres_options: Sequence[str] = ()) -> Iterator[None]:
    """Within this, DATABASE_URL, DATABASE_OWNER_URL and BROKER_URL name servers that run.

    What the environment names already is left alone. Without `with_broker` the embedded broker's address is exported,
    so that a command's nudges reach the broker of a running `serve`, but none is started.
    """
    layout.prepare(data_dir)
    os.environ.setdefault("DRYRECORDS_SECRET_KEY", layout.secret_key(data_dir))
    with contextlib.ExitStack() as stack:
        held = []
        if not os.environ.get("DATABASE_URL"):
            held.append(_hold_postgres(stack, data_dir, postgres_options))
        if not os.environ.get("BROKER_URL"):
            os.environ["BROKER_URL"] = broker.url(data_dir)
            if with_broker:
                held.append(_hold(stack, "the broker", lambda: broker.open_line(data_dir)))
        with _watched(held):
            yield


def _hold_postgres(stack: contextlib.ExitStack, data_dir: Path, options: Sequence[str]) -> _Held:
    held = _hold(stack, "PostgreSQL", lambda: postgres.open_line(data_dir, options)[0])
    cluster = postgres.locate(data_dir)
    os.environ["DATABASE_URL"] = cluster.url(postgres.APPLICATION)
    os.environ["DATABASE_OWNER_URL"] = cluster.url(postgres.OWNER)
    return held


def _hold(stack: contextlib.ExitStack, name: str, reopen: Callable[[], socket.socket]) -> _Held:
    held = _Held(name, reopen(), reopen)
    stack.callback(lambda: lifeline.leave(held.line))
    return held


@contextlib.contextmanager
def _watched(held: list[_Held]) -> Iterator[None]:
    """Reopen what dies meanwhile, on a thread of its own: the command is busy with what it is for."""
    closing, close = socket.socketpair()
    watcher = threading.Thread(target=_watch, args=(held, closing), name="engines", daemon=True)
    watcher.start()
    try:
        yield
    finally:
        close.close()
        watcher.join()
        closing.close()


def _watch(held: list[_Held], closing: socket.socket) -> None:
    while True:
        ready, _, _ = select.select([closing, *(one.line for one in held)], [], [])
        if closing in ready:
            return
        for one in held:
            if one.line in ready:
                layout.say(f"{one.name} has ended unexpectedly; starting it again.")
                if not _reopened(one, closing):
                    return


def _reopened(lost: _Held, closing: socket.socket) -> bool:
    """Try until the server is back; False when the command ends before that."""
    lost.line.close()
    pause = 0.1
    while True:
        try:
            lost.line = lost.reopen()
            return True
        except CannotStart as problem:
            layout.say(f"{problem} Trying again in {pause:.1f} s.")
        if select.select([closing], [], [], pause)[0]:
            return False
        pause = min(2 * pause, LONGEST_PAUSE_S)
