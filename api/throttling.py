"""How many requests a token and an address may make.

Buckets in the memory of each web process, not counters in a broker or a table: they are there whatever the broker is,
cost no round trip, and guard what is to be guarded, the process itself. With n processes a client is let through up to
n times as often, and a restart forgets; neither matters where the point is that one runaway device does not take the
service from the others. Tokens cannot be guessed at any rate; sign-ins can, and are counted in the database.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from time import monotonic

from django.conf import settings
from django.http import HttpRequest
from rest_framework.exceptions import Throttled

from dryrecords.core.callers import address_of

# After a pause so many seconds' worth of requests may come at once: a phone that was offline has something to tell.
BURST_S = 10
MOST_KEPT = 10_000


class Buckets:
    """A bucket for each key, refilled all the time; the ones not used for longest are forgotten."""

    def __init__(self) -> None:
        self._held: OrderedDict[Hashable, tuple[float, float]] = OrderedDict()
        self._lock = threading.Lock()

    def take(self, key: Hashable, per_s: float) -> float:
        """Seconds to wait; 0 if one was there to take."""
        now = monotonic()
        with self._lock:
            left, since = self._held.pop(key, (per_s * BURST_S, now))
            left = min(per_s * BURST_S, left + (now - since) * per_s)
            wait = 0.0 if left >= 1 else (1 - left) / per_s
            self._held[key] = (left if wait else left - 1, now)
            while len(self._held) > MOST_KEPT:
                self._held.popitem(last=False)
        return wait


buckets = Buckets()


def check(kind: str, key: Hashable, per_s: float) -> None:
    """0 requests a second stands for no limit."""
    if per_s and (wait := buckets.take((kind, key), per_s)):
        raise Throttled(wait)


def check_address(request: HttpRequest) -> None:
    check("address", address_of(request), settings.ADDRESS_REQUESTS_PER_S)


def check_token(token_id: Hashable) -> None:
    check("token", token_id, settings.TOKEN_REQUESTS_PER_S)
