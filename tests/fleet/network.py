"""A network that fails in every way there is, and says so only in its counts."""

from __future__ import annotations

import contextlib
import http.client
import random
import socket
import struct
import threading
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import orjson

TIMEOUT_S = 30


class Lost(Exception):
    """No answer came. Whether the server did what it was asked, nobody knows."""


class Network:
    """All lines of a fleet: how often what happens, what went wrong, and the copies that are still on their way."""

    def __init__(self, port: int, chance: random.Random) -> None:
        self.port, self.chance = port, chance
        self.counts: Counter[str] = Counter()
        self.complaints: list[str] = []
        self.bad = True
        self._late: list[bytes] = []
        self._lock = threading.Lock()
        self._beside = ThreadPoolExecutor(4)

    def count(self, what: str) -> None:
        with self._lock:
            self.counts[what] += 1

    def complain(self, what: str) -> None:
        with self._lock:
            self.complaints.append(what)

    def keep(self, request: bytes) -> None:
        """To be delivered some time later, when its sender has long given it up or been answered."""
        with self._lock:
            self._late.append(request)

    def beside(self, request: bytes) -> None:
        """At the same time, on a connection of its own."""
        self._beside.submit(self.deliver, request)

    def deliver_late(self, share: float) -> None:
        with self._lock:
            self.chance.shuffle(self._late)
            count = round(share * len(self._late))
            now, self._late = self._late[:count], self._late[count:]
        for request in now:
            self.count("delivered late")
            self.beside(request)

    def calm_down(self) -> None:
        """Nothing is lost any more, and nothing is on its way."""
        self.bad = False
        self.deliver_late(1.0)
        self._beside.shutdown()

    def deliver(self, request: bytes) -> None:
        """Nobody hears the answer."""
        with contextlib.suppress(OSError, http.client.HTTPException), self.sent(request) as line:
            self.received(line)

    def sent(self, request: bytes) -> socket.socket:
        line = socket.create_connection(("127.0.0.1", self.port), timeout=TIMEOUT_S)
        try:
            line.sendall(request)
        except OSError:
            line.close()
            raise
        return line

    def received(self, line: socket.socket) -> tuple[int, bytes]:
        answer = http.client.HTTPResponse(line)
        answer.begin()
        status, body = answer.status, answer.read()
        if status >= 500:
            self.complain(f"{status} {body[:600]!r}")
        return status, body


class Line:
    """What one device has of the network."""

    def __init__(self, network: Network, token: str, chance: random.Random) -> None:
        self._network, self._token, self._chance = network, token, chance

    def get(self, path: str) -> Any:
        return self._call("GET", path, b"")

    def post(self, path: str, body: Any) -> Any:
        return self._call("POST", path, orjson.dumps(body))

    def _call(self, method: str, path: str, body: bytes) -> Any:
        request = (
            f"{method} /api/v1/{path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer {self._token}\r\n"
            f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\nConnection: close\r\n\r\n"
        ).encode() + body
        ways: list[tuple[float, Callable[[bytes], tuple[int, bytes]]]] = [
            (0.04, self._never_leaves),
            (0.04, self._breaks_off),
            (0.05, self._answer_lost),
            (0.03, self._gone_at_once),
            (0.04, self._half_an_answer),
            (0.05, self._late),
            (0.06, self._again_later),
            (0.06, self._twice_at_once),
        ]
        dice = self._chance.random() if self._network.bad else 1.0
        do = self._well
        for share, way in ways:
            if 0 <= dice < share:
                do = way
            dice -= share
        try:
            status, answer = do(request)
        except (OSError, http.client.HTTPException) as error:
            self._network.count("connections broken by the server")
            raise Lost from error
        if status >= 500:
            raise Lost
        assert status in (200, 201, 204), (method, path, status, answer[:600])
        return orjson.loads(answer) if answer else None

    def _well(self, request: bytes) -> tuple[int, bytes]:
        with self._network.sent(request) as line:
            return self._network.received(line)

    def _never_leaves(self, request: bytes) -> tuple[int, bytes]:
        self._network.count("dropped before the server")
        raise Lost

    def _breaks_off(self, request: bytes) -> tuple[int, bytes]:
        with self._network.sent(request[: self._chance.randrange(1, len(request))]) as line:
            _reset(line)
        self._network.count("dropped before the server")
        raise Lost

    def _answer_lost(self, request: bytes) -> tuple[int, bytes]:
        """It is done, and the answer is there: the connection ends all the same."""
        with self._network.sent(request) as line:
            line.recv(1)
            _reset(line)
        self._network.count("dropped after the commit")
        raise Lost

    def _gone_at_once(self, request: bytes) -> tuple[int, bytes]:
        """The server works for somebody who is not there any more."""
        with self._network.sent(request):
            pass
        self._network.count("sender gone meanwhile")
        raise Lost

    def _half_an_answer(self, request: bytes) -> tuple[int, bytes]:
        with self._network.sent(request) as line:
            answer = http.client.HTTPResponse(line)
            answer.begin()
            answer.read(answer.length // 2 if answer.length else 1)
            _reset(line)
        self._network.count("partial answers")
        raise Lost

    def _late(self, request: bytes) -> tuple[int, bytes]:
        """The device gives up; the request comes in after whatever it sends next."""
        self._network.keep(request)
        self._network.count("given up and late")
        raise Lost

    def _again_later(self, request: bytes) -> tuple[int, bytes]:
        self._network.keep(request)
        self._network.count("repeated")
        return self._well(request)

    def _twice_at_once(self, request: bytes) -> tuple[int, bytes]:
        self._network.beside(request)
        self._network.count("repeated")
        return self._well(request)


def _reset(line: socket.socket) -> None:
    """As when a phone leaves the cell: no farewell, what is in the buffers is gone."""
    line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
