"""A TCP door in front of a broker that the tests may shut or make mute without touching the broker itself."""

from __future__ import annotations

import contextlib
import socket
import threading
from urllib.parse import unquote, urlsplit


class Proxy:
    """Open it passes bytes both ways; shut it refuses connections; mute it takes them and never says a word."""

    def __init__(self, broker_url: str) -> None:
        self._broker = urlsplit(broker_url)
        # Bound but never listened on: keeps the port ours while the door is shut.
        self._place = self._bound(0)
        self.port: int = self._place.getsockname()[1]
        self._lines: set[socket.socket] = set()
        self._mute = False
        self.open()

    @property
    def url(self) -> str:
        """The broker's address through this door."""
        if self._broker.scheme == "redis+socket":
            number = self._broker.query.removeprefix("virtual_host=") or "0"
            return f"redis://127.0.0.1:{self.port}/{number}"
        login = self._broker.netloc.rpartition("@")[0]
        return self._broker._replace(netloc=f"{login}@127.0.0.1:{self.port}".lstrip("@")).geturl()

    def open(self) -> None:
        self._mute = False
        self._hang_up()
        self._listener = self._bound(self.port)
        self._listener.listen(64)
        threading.Thread(target=self._receive, args=(self._listener,), daemon=True).start()

    def shut(self) -> None:
        self._stop_listening()
        self._hang_up()

    def mute(self) -> None:
        """Like a broker that hangs, or a network that swallows packets: connections stay, answers do not come."""
        self._mute = True

    def unmute(self) -> None:
        """What was swallowed is lost, so those connections end."""
        self._mute = False
        self._hang_up()

    def close(self) -> None:
        self.shut()
        self._place.close()

    @staticmethod
    def _bound(port: int) -> socket.socket:
        place = socket.socket()
        place.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        place.bind(("127.0.0.1", port))
        return place

    def _stop_listening(self) -> None:
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()

    def _hang_up(self) -> None:
        for line in list(self._lines):
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)

    def _receive(self, listener: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while True:
                caller = listener.accept()[0]
                threading.Thread(target=self._connect, args=(caller,), daemon=True).start()

    def _connect(self, caller: socket.socket) -> None:
        with caller, self._reach_broker() as broker:
            self._lines |= {caller, broker}
            back = threading.Thread(target=self._pass_on, args=(broker, caller), daemon=True)
            back.start()
            self._pass_on(caller, broker)
            back.join()
            self._lines -= {caller, broker}

    def _reach_broker(self) -> socket.socket:
        if self._broker.scheme == "redis+socket":
            line = socket.socket(socket.AF_UNIX)
            line.connect(unquote(self._broker.path))
            return line
        default = 5672 if self._broker.scheme == "amqp" else 6379
        return socket.create_connection((self._broker.hostname, self._broker.port or default))

    def _pass_on(self, source: socket.socket, target: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while said := source.recv(65536):
                if not self._mute:
                    target.sendall(said)
        for line in (source, target):
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)
