"""Stale batches in a season of 10,000 worked off, against the numeric core alone and reading the same rows.

What is not counted is raising the marks; what is counted is everything until the last site's season is summed anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

import numpy as np
from django.db import connection

from dryrecords.grain.batch import batch_figures
from dryrecords.journal import kinds, stale
from dryrecords.season import services
from dryrecords.season.assemble import assemble
from dryrecords.season.facts import load_facts
from dryrecords.season.models import BatchResult
from tests.benchmarks.many import ManyBatches, settle_tables
from tests.benchmarks.measure import Outcome, in_turns

BATCHES = 10_000
STALE_AND_ROUNDS = {100: 9, 1_000: 5, 10_000: 3}

ROWS_OF_BATCHES = (
    "SELECT b.*, d.*, t.fuel, t.capacity_m3, l.base_moisture_pct FROM harvest_batch b"
    " JOIN equipment_dryer d ON d.id = b.dryer_id LEFT JOIN equipment_tank t ON t.id = d.tank_id"
    " LEFT JOIN harvest_lot l ON l.id = b.lot_id WHERE b.id = ANY(%s)"
)
ROWS_OF_SAMPLES = "SELECT * FROM harvest_sample WHERE batch_id = ANY(%s)"


def run(directory: Path) -> Iterator[Outcome]:
    season = ManyBatches("Recomputed Drying", BATCHES)
    season.add_facts()
    ids = [batch.pk for batch in season.batches]
    # A season does not come within a second: by then the database knows its tables.
    settle_tables()
    make_stale(season, ids)
    _work_off(season)
    settle_tables()
    per_batch = {}
    for count, rounds in STALE_AND_ROUNDS.items():
        outcome = _recomputed(season, np.random.default_rng(count).permutation(ids)[:count].tolist(), rounds)
        per_batch[count] = outcome.ours
        yield outcome
    few, many = min(per_batch), max(per_batch)
    yield Outcome(
        "recompute growth", per_batch[many], per_batch[few], "ms per batch", f"{many} stale batches against {few}"
    )


def make_stale(season: ManyBatches, ids: list[UUID]) -> None:
    stale.raise_marks(season.by.organization_id, [stale.Mark(kinds.BATCH, str(batch_id)) for batch_id in ids])


def _work_off(season: ManyBatches) -> None:
    assert services.work_off() is False
    assert services.all_failures() == []
    assert services.everything_fresh(season.by.organization_id)
    assert BatchResult.objects.filter(complete=True).count() == BATCHES


def _recomputed(season: ManyBatches, ids: list[UUID], rounds: int) -> Outcome:
    inputs = assemble(load_facts(season.by.organization_id, ids)).inputs
    things = {"ours": services.work_off, "core": lambda: batch_figures(inputs), "read": lambda: _read(ids)}
    times = in_turns(rounds, things, before=lambda: make_stale(season, ids))
    _work_off(season)
    ours, core, read = times["ours"], times["core"].best_ms, times["read"].best_ms
    return Outcome(
        f"recompute {len(ids)}",
        ours.best_ms / len(ids),
        (core + read) / len(ids),
        "ms per batch",
        f"numeric core and reading the rows, best of {rounds} rounds",
        {
            "all_ms": ours.best_ms,
            "all_median_ms": ours.median_ms,
            "core_ms": core,
            "read_ms": read,
            "ratio_to_core": ours.best_ms / core,
            "ratio_to_read": ours.best_ms / read,
        },
    )


def _read(ids: list[UUID]) -> None:
    with connection.cursor() as cursor:
        for sql in (ROWS_OF_BATCHES, ROWS_OF_SAMPLES):
            cursor.execute(sql, [ids])
            cursor.fetchall()
