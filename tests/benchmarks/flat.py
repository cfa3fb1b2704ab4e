"""What a pushed row costs in a table of 1,000, of 100,000 and of 1,000,000 samples, with as long a history and ledger.

The same pushes go to each size, over HTTP, through all of the service; their rows are taken out again after each. The
rows that are there already belong to other batches, because what a batch costs to compute is another matter.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Iterator
from pathlib import Path

from django.db import connection, transaction

from tests import factories as make
from tests.benchmarks.many import ManyBatches, settle_tables
from tests.benchmarks.measure import Outcome
from tests.benchmarks.push import Samples
from tests.benchmarks.serving import Line, served

SIZES = (1_000, 100_000, 1_000_000)
AT_A_TIME = 100_000
PUSHED = 2_000
# Few enough that computing them is over before the next push.
PUSHED_TO, OTHERS = 20, 1_000
ROUNDS = 9

# The table's own trigger writes the history.
SAMPLES_THERE = """
    INSERT INTO harvest_sample (id, organization_id, version, created_at, updated_at, batch_id, stage, taken_at,
        moisture_pct, meter_id)
    SELECT gen_random_uuid(), %(of)s, 1, now(), now(), (%(batches)s::uuid[])[1 + n %% cardinality(%(batches)s::uuid[])],
        'drying', now(), 14 + n %% 80 / 10.0, %(meter)s
    FROM generate_series(1, %(count)s) AS n
"""
LEDGER_THERE = """
    INSERT INTO journal_mutation (organization_id, mutation_id, push_id, fingerprint, status, resource, op, record_id,
        version, earlier, settled_by)
    SELECT %(of)s, gen_random_uuid(), 1, '', 'applied', 'samples', 'create', gen_random_uuid(), 1, '{}', ''
    FROM generate_series(1, %(count)s)
"""
TAKE_OUT = "DELETE FROM harvest_sample WHERE batch_id = ANY(%s)"


def run(directory: Path) -> Iterator[Outcome]:
    season = ManyBatches("Growing Drying", PUSHED_TO + OTHERS)
    token = make.token(make.organization("Growing Drying"))
    costs: dict[int, float] = {}
    there = 0
    with served(directory) as port:
        samples = Samples(season, PUSHED, 1, PUSHED_TO)
        for size in SIZES:
            while there < size:
                there += _fill(season, min(AT_A_TIME, size - there))
            settle_tables()
            costs[size] = _cost_us(samples, port, token)
    yield Outcome(
        "flat",
        costs[SIZES[-1]],
        costs[SIZES[0]],
        "us/row",
        f"the same push into a table of {SIZES[0]:,} rows, median of {ROUNDS} rounds; a ratio of 1 is flat",
        {f"in_{size}": cost for size, cost in costs.items()},
    )


def _fill(season: ManyBatches, count: int) -> int:
    """Not timed."""
    others = [batch.pk for batch in season.batches[PUSHED_TO:]]
    given = {"of": season.by.organization_id, "batches": others, "meter": season.meter.pk, "count": count}
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(SAMPLES_THERE, given)
        cursor.execute(LEDGER_THERE, given)
    return count


def _cost_us(samples: Samples, port: int, token: str) -> float:
    seconds = []
    for _ in range(1 + ROUNDS):
        samples.make()
        begun = time.perf_counter()
        samples.push(Line(port, token))
        seconds.append((time.perf_counter() - begun) / PUSHED)
        _take_out(samples)
    # The first one warms up.
    return 1e6 * statistics.median(seconds[1:])


def _take_out(samples: Samples) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("ALTER TABLE harvest_sample DISABLE TRIGGER USER")
        cursor.execute(TAKE_OUT, [[batch.pk for batch in samples.of]])
        cursor.execute("ALTER TABLE harvest_sample ENABLE TRIGGER USER")
