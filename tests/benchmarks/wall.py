"""What the second wall costs: the same requests and the same background work with it, and with nothing said or held.

Without it there is no policy, no change of role, no statement that names the organization and no transaction around
the handler; the scope in Python stands in both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np

from api.views import Route
from dryrecords.season import services
from dryrecords.tenancy import scope
from tests import factories as make
from tests.api.client import Client
from tests.benchmarks.many import ManyBatches, settle_tables
from tests.benchmarks.measure import Outcome, in_turns
from tests.benchmarks.recompute import make_stale

BATCHES = 10_000
STALE = 1_000
ROUNDS = {"read": 300, "list": 60, "post": 200, "recompute": 5}


def run(directory: Path) -> Iterator[Outcome]:
    season = ManyBatches("Walled Drying", BATCHES)
    season.add_facts()
    ManyBatches("Another Drying", BATCHES)
    ids = [batch.pk for batch in season.batches]
    stale_ids = np.random.default_rng(1).permutation(ids)[:STALE].tolist()
    make_stale(season, ids)
    services.work_off()
    settle_tables()
    client = Client(make.token(make.organization("Walled Drying")))
    sample = {"batch": str(ids[0]), "stage": "wet", "taken_at": make.START.isoformat(), "moisture_pct": 20.5}
    yield _outcome("read", lambda: client.get(f"batches/{ids[0]}"))
    yield _outcome("list", lambda: client.get("batches?limit=200"))
    yield _outcome("post", lambda: client.post("samples", sample))
    yield _outcome("recompute", services.work_off, before=lambda: make_stale(season, stale_ids))


def without_wall(do: Callable[[], Any]) -> None:
    unscoped = mock.patch.object(scope, "_scoped", lambda _: nullcontext())
    with unscoped, mock.patch.object(Route, "one_transaction", False):
        do()


def _outcome(name: str, do: Callable[[], Any], before: Callable[[], Any] = int) -> Outcome:
    rounds = ROUNDS[name]
    times = in_turns(rounds, {"ours": do, "peer": lambda: without_wall(do)}, before)
    medians = {"ours_median_ms": times["ours"].median_ms, "peer_median_ms": times["peer"].median_ms}
    of = f"without the wall, best of {rounds} rounds"
    return Outcome(f"wall {name}", times["ours"].best_ms, times["peer"].best_ms, "ms", of, medians)
