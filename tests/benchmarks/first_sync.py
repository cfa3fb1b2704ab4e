"""A device's first sync of 100,000 changes in pages of 5,000, against PostgreSQL giving the same entries as JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import orjson
from django.db import connection

from dryrecords.journal import feed
from tests import factories as make
from tests.api.client import Client
from tests.benchmarks.many import ManyBatches, settle_tables
from tests.benchmarks.measure import Outcome, Timing, in_turns
from tests.benchmarks.serving import Line, served

# With their samples and readings of tanks they make about 100,000 changes.
BATCHES = 22_500
PAGE = 5_000
ROUNDS = 5

# The records stay in SI units here: turning them is our own work.
SQL = """
SELECT json_agg(json_build_object('resource', resource, 'id', record_id, 'version', version, 'op', operation,
    'record', after))::text
FROM (SELECT * FROM journal_change WHERE organization_id = %s AND number > %s ORDER BY number LIMIT %s) AS page
"""


def run(directory: Path) -> Iterator[Outcome]:
    season = ManyBatches("Synced Drying", BATCHES)
    season.add_facts()
    settle_tables()
    organization_id = season.by.organization_id
    count = feed.head(organization_id)
    token = make.token(make.organization("Synced Drying"))
    client = Client(token)

    def peer() -> int:
        told = 0
        for number in range(0, count, PAGE):
            with connection.cursor() as cursor:
                cursor.execute(SQL, [organization_id, number, PAGE])
                told += len(cursor.fetchone()[0])
        return told

    def through(get: Callable[[str], bytes]) -> Callable[[], None]:
        def sync() -> None:
            assert follow(get) == count

        return sync

    ways = {"ours": through(lambda path: client.get(path).content), "peer": peer}
    yield _outcome("first sync", count, in_turns(ROUNDS, ways))
    with served(directory) as port:
        line = Line(port, token)
        yield _outcome("first sync over HTTP", count, in_turns(ROUNDS, {"ours": through(line.get), "peer": peer}))
        line.close()


def follow(get: Callable[[str], bytes]) -> int:
    """How many changes there are from the beginning to the end."""
    seen, cursor, more = 0, "", True
    while more:
        page = orjson.loads(get(f"sync/changes?limit={PAGE}{cursor}"))
        seen += len(page["changes"])
        cursor, more = f"&cursor={page['cursor']}", page["more"]
    return seen


def _outcome(name: str, count: int, times: dict[str, Timing]) -> Outcome:
    ours, peer = (count / times[who].best_ms * 1000 for who in ("ours", "peer"))
    of = f"PostgreSQL giving the same entries as JSON in SI units, best of {ROUNDS} rounds"
    return Outcome(name, ours, peer, "rows/s", of, {"changes": count, "page": PAGE})
