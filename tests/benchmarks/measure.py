"""Times a thing and its peer in turns, and says what came of it."""

from __future__ import annotations

import gc
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from statistics import median
from time import perf_counter
from typing import Any


@dataclass(frozen=True)
class Outcome:
    """`ours` and `peer` in `unit`; `of` says what the peer is and which of the rounds is told."""

    name: str
    ours: float
    peer: float
    unit: str
    of: str
    details: dict[str, Any] = field(default_factory=dict)

    @property
    def ratio(self) -> float:
        return self.ours / self.peer

    def as_line(self) -> str:
        details = ", ".join(f"{name} {_short(value)}" for name, value in self.details.items())
        return (
            f"{self.name:<16} ours {_short(self.ours)} {self.unit}  peer {_short(self.peer)} {self.unit}"
            f"  ratio {self.ratio:.2f}  ({self.of}{'; ' + details if details else ''})"
        )

    def as_json(self) -> str:
        head = {"name": self.name, "ours": self.ours, "peer": self.peer, "ratio": self.ratio, "unit": self.unit}
        return json.dumps(head | {"of": self.of} | self.details)


def _short(value: Any) -> str:
    return f"{value:.3g}" if isinstance(value, float) and value < 1000 else f"{value:.0f}" if value == value else "-"


@dataclass(frozen=True)
class Timing:
    """Seconds of each round."""

    rounds: list[float]

    @property
    def best_ms(self) -> float:
        return 1000 * min(self.rounds)

    @property
    def median_ms(self) -> float:
        return 1000 * median(self.rounds)


def in_turns(
    rounds: int, things: Mapping[str, Callable[[], Any]], before: Callable[[], Any] = int
) -> dict[str, Timing]:
    """Each thing once a round, so that what else the machine does meets all of them; `before` each is not timed."""
    seconds: dict[str, list[float]] = {name: [] for name in things}
    # What the preparation left behind is not what a web process or a worker would carry around.
    gc.freeze()
    for _ in range(rounds):
        for name, do in things.items():
            before()
            gc.collect()
            begun = perf_counter()
            do()
            seconds[name].append(perf_counter() - begun)
    gc.unfreeze()
    return {name: Timing(spent) for name, spent in seconds.items()}
