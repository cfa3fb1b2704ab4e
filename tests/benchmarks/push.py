"""10,000 samples pushed over HTTP in two calls, against COPY of the same rows into the same table.

The push is decoded, validated, entered in the ledger and answered, each sample for itself; the table has its indexes,
foreign keys and the trigger that writes history and change feed. The peer is one COPY for each call, of text prepared
beforehand, into the very same table; once more with the history's trigger off.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import orjson
from django.db import connection, transaction
from django.db.models import F

from dryrecords.core.ids import new_id
from dryrecords.harvest.models import Sample
from dryrecords.journal.models import Mutation, StaleMark
from dryrecords.tenancy.bulk import columns_given
from tests import factories as make
from tests.benchmarks.many import ManyBatches, settle_tables
from tests.benchmarks.measure import Outcome, in_turns
from tests.benchmarks.serving import Line, served

BATCHES = 1_000
SAMPLES = 10_000
CALLS = 2
ROUNDS = 9
WITHIN_S = 60.0


def run(directory: Path) -> Iterator[Outcome]:
    season = ManyBatches("Pushing Drying", BATCHES)
    settle_tables()
    token = make.token(make.organization("Pushing Drying"))
    with served(directory) as port:
        samples = Samples(season)
        things = {
            "ours": lambda: samples.push(Line(port, token)),
            "copied": samples.copy,
            "without": samples.copy_without_history,
            "entered": samples.copy_with_ledger,
        }
        for do in things.values():
            samples.prepare()
            do()
        times = in_turns(ROUNDS, things, before=samples.prepare)
    ours, copied, without = (SAMPLES / times[name].best_ms * 1000 for name in ("ours", "copied", "without"))
    yield Outcome(
        "push",
        ours,
        copied,
        "rows/s",
        f"COPY of the same rows into the same table, history on, best of {ROUNDS} rounds; a ratio of 1 is as fast",
        {
            "ours_ms": times["ours"].best_ms,
            "ours_median_ms": times["ours"].median_ms,
            "copy_ms": times["copied"].best_ms,
            "copy_median_ms": times["copied"].median_ms,
            "copy_without_history_ms": times["without"].best_ms,
            "ratio_without_history": ours / without,
            "copy_with_ledger_ms": times["entered"].best_ms,
            "ratio_with_ledger": times["entered"].best_ms / times["ours"].best_ms,
        },
    )


class Samples:
    """The same samples again and again, with ids of their own each time."""

    def __init__(self, season: ManyBatches, count: int = SAMPLES, calls: int = CALLS, batches: int = BATCHES) -> None:
        self.season, self.count, self.calls, self.of = season, count, calls, season.batches[:batches]
        self.bodies: list[bytes] = []
        self.texts: list[str] = []
        self.entries: list[str] = []
        stamped = (*columns_given(Sample), "organization_id", "version", "created_at", "updated_at")
        self.columns = ", ".join(stamped)

    def prepare(self) -> None:
        """Not timed. What the push before made stale is worked off first."""
        until = time.monotonic() + WITHIN_S
        while StaleMark.objects.filter(wanted__gt=F("done")).exists():
            assert time.monotonic() < until, "the worker does not get done"
            time.sleep(0.05)
        self.make()

    def make(self) -> None:
        rows = [self._row(number) for number in range(self.count)]
        of_a_call = self.count // self.calls
        calls = [rows[place : place + of_a_call] for place in range(0, self.count, of_a_call)]
        self.bodies = [orjson.dumps({"mutations": [self._mutation(row) for row in call]}) for call in calls]
        self.texts = ["".join(self._line(row) for row in call) for call in calls]
        self.entries = ["".join(self._entry(row) for row in call) for call in calls]

    def push(self, line: Line) -> None:
        for body in self.bodies:
            results = orjson.loads(line.send("POST", "sync/push", body))["results"]
            assert {result["status"] for result in results} == {"applied"}
        line.close()

    def copy(self) -> None:
        for text in self.texts:
            with transaction.atomic(), connection.cursor() as cursor:
                self._copy(cursor, text)

    def copy_without_history(self) -> None:
        with connection.cursor() as cursor:
            cursor.execute("ALTER TABLE harvest_sample DISABLE TRIGGER USER")
            self.copy()
            cursor.execute("ALTER TABLE harvest_sample ENABLE TRIGGER USER")

    def copy_with_ledger(self) -> None:
        """The push writes two tables: the samples, and the ledger that makes each happen once."""
        columns = "organization_id, push_id, mutation_id, fingerprint, resource, op, record_id, status, version"
        for text, entries in zip(self.texts, self.entries, strict=True):
            with transaction.atomic(), connection.cursor() as cursor:
                with cursor.copy(f"COPY {Mutation._meta.db_table} ({columns}, earlier, settled_by) FROM STDIN") as copy:
                    copy.write(entries)
                self._copy(cursor, text)

    def _copy(self, cursor: Any, text: str) -> None:
        with cursor.copy(f"COPY harvest_sample ({self.columns}) FROM STDIN") as copy:
            copy.write(text)

    def _row(self, number: int) -> dict[str, Any]:
        batch = self.of[number % len(self.of)]
        taken = batch.started_at + timedelta(minutes=number // len(self.of))
        return {
            "id": new_id(),
            "batch": batch.pk,
            "stage": "drying",
            "taken_at": taken,
            "tested_at": taken + timedelta(minutes=5),
            "moisture_pct": 14 + number % 80 / 10,
            "grain_temp_f": 60.0 + number % 30,
            "meter": self.season.meter.pk,
            "probes": 3,
        }

    def _mutation(self, row: dict[str, Any]) -> dict[str, Any]:
        return {"id": new_id(), "resource": "samples", "op": "create", "record": row}

    def _line(self, row: dict[str, Any]) -> str:
        given = {f"{name}_id" if name in ("batch", "meter") else name: value for name, value in row.items()}
        given["grain_temp_c"] = (given.pop("grain_temp_f") - 32) / 1.8
        given |= {"organization_id": self.season.by.organization_id, "version": 1}
        given |= {"created_at": make.START, "updated_at": make.START}
        return "\t".join(str(given.get(name, r"\N")) for name in self.columns.split(", ")) + "\n"

    def _entry(self, row: dict[str, Any]) -> str:
        fingerprint = r"\\x" + row["id"].hex
        of, sample = self.season.by.organization_id, row["id"]
        entry = (of, 1, sample, fingerprint, "samples", "create", sample, "applied", 1, "{}", "")
        return "\t".join(map(str, entry)) + "\n"
