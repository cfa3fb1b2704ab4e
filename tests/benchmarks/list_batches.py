"""A list of 200 batches through the whole of Django, and over HTTP, against PostgreSQL building the same JSON."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
from django.db import connection

from tests import factories as make
from tests.api.client import Client
from tests.benchmarks.many import ManyBatches, settle_tables
from tests.benchmarks.measure import Outcome, in_turns
from tests.benchmarks.serving import Line, served

BATCHES_OF_EACH_ORGANIZATION = 12_000
ROWS = 200
ROUNDS = 60
PATH = f"batches?limit={ROWS}"
SQL = Path(__file__).with_suffix(".sql").read_text()
# The API rounds to twelve significant digits, PostgreSQL does not.
RELATIVE = 1e-9


def run(directory: Path) -> Iterator[Outcome]:
    season = ManyBatches("Listed Drying", BATCHES_OF_EACH_ORGANIZATION)
    ManyBatches("Another Drying", BATCHES_OF_EACH_ORGANIZATION)
    settle_tables()
    token = make.token(make.organization("Listed Drying"))
    client = Client(token)
    details = {"rows": ROWS, "table_rows": 2 * BATCHES_OF_EACH_ORGANIZATION}

    def view() -> bytes:
        return client.get(PATH).content

    def peer() -> bytes:
        with connection.cursor() as cursor:
            cursor.execute(SQL, [season.by.organization_id])
            return cursor.fetchone()[0].encode()

    compare(view(), peer())
    times = in_turns(ROUNDS, {"ours": view, "peer": peer})
    yield _outcome("list", times, details)
    with served(directory) as port:
        line = Line(port, token)
        compare(line.get(PATH), peer())
        times = in_turns(ROUNDS, {"ours": lambda: line.get(PATH), "peer": peer})
        line.close()
    yield _outcome("list over HTTP", times, details)


def _outcome(name: str, times: Any, details: dict[str, Any]) -> Outcome:
    medians = {"ours_median_ms": times["ours"].median_ms, "peer_median_ms": times["peer"].median_ms}
    of = f"PostgreSQL building the same JSON, best of {ROUNDS} rounds"
    return Outcome(name, times["ours"].best_ms, times["peer"].best_ms, "ms", of, details | medians)


def compare(ours: bytes, peer: bytes) -> None:
    """Both tell the same of the same batches. The address of the next page is ours alone."""
    told, expected = orjson.loads(ours)["results"], orjson.loads(peer)["results"]
    assert len(expected) == ROWS
    assert same(told, expected), "the two bodies differ"


def same(ours: Any, peer: Any) -> bool:
    if isinstance(ours, dict) and isinstance(peer, dict):
        return ours.keys() == peer.keys() and all(same(ours[name], peer[name]) for name in ours)
    if isinstance(ours, list) and isinstance(peer, list):
        return len(ours) == len(peer) and all(map(same, ours, peer))
    if isinstance(ours, float) and isinstance(peer, int | float):
        return math.isclose(ours, peer, rel_tol=RELATIVE)
    return type(ours) is type(peer) and bool(ours == peer)
