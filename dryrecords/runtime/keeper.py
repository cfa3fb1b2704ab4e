"""Keeps one server alive for as long as somebody holds a connection to the keeper's socket, and no longer.

Run by path, with nothing but the standard library, as `python -I -S keeper.py '{"command": [...], ...}' LISTENER_FD`.
A command that ends, however it ends, loses its connection: the kernel closes it on kill -9 too. The first command
that needs a server starts a keeper, others join it, and the server is stopped when the last one is gone. It cannot
be a child of the first command instead: a server bound to its parent's life would die under those who joined.
"""

from __future__ import annotations

import contextlib
import json
import select
import signal
import socket
import subprocess
import sys

STOP_WITHIN_S = 60


def main() -> None:
    order = json.loads(sys.argv[1])
    listener = socket.socket(fileno=int(sys.argv[2]))
    ended, alarm = socket.socketpair()
    alarm.setblocking(False)
    signal.set_wakeup_fd(alarm.fileno())
    # Whoever signals a whole session means the commands; the keeper follows when they are gone. Handlers rather
    # than SIG_IGN: an ignored signal would stay ignored in the server, which then could not be stopped.
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGCHLD):
        signal.signal(number, lambda *_: None)
    server = subprocess.Popen(order["command"], **order["popen"])
    users: set[socket.socket] = set()
    if _serve(listener, ended, users, server):
        _stop(server, order["stop_signal"])


def _serve(
    listener: socket.socket,
    ended: socket.socket,
    users: set[socket.socket],
    server: subprocess.Popen[bytes],
) -> bool:
    """True when the last user has left, False when the server has ended by itself."""
    while True:
        # The listener comes first: who joins while the last one leaves keeps the server alive.
        ready, _, _ = select.select([listener, ended, *users], [], [])
        for one in ready:
            if one is listener:
                users.add(_welcome(listener))
            elif one is ended:
                ended.recv(64)
            elif _has_left(one):
                if len(users) == 1:
                    # Left open: it closes with this process, which tells the leaver that the server is gone.
                    return True
                users.discard(one)
                one.close()
        if server.poll() is not None:
            return False


def _welcome(listener: socket.socket) -> socket.socket:
    user, _ = listener.accept()
    with contextlib.suppress(OSError):
        user.send(b"+")
    return user


def _has_left(user: socket.socket) -> bool:
    try:
        return not user.recv(64)
    except OSError:
        return True


def _stop(server: subprocess.Popen[bytes], stop_signal: int) -> None:
    server.send_signal(stop_signal)
    try:
        server.wait(STOP_WITHIN_S)
    except subprocess.TimeoutExpired:
        server.send_signal(signal.SIGQUIT)
        server.wait()


if __name__ == "__main__":
    main()
