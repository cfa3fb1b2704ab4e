"""1,000,000 tickets of a buyer audited from the database, against merely reading the same rows, and against decimals.

One ticket in a hundred states something wrong, and one in fifty was sampled by us. What is timed is everything a worker
does: reading, recomputing, comparing, writing findings and progress, and what shows only at the end.
"""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from time import perf_counter, process_time
from typing import Any, NamedTuple

import numpy as np
from django.db import connection, transaction

from dryrecords.core.ids import new_id
from dryrecords.harvest.models import Ticket
from dryrecords.settlement import audit_run, audits
from dryrecords.settlement.audit_rows import STATED, TicketRows, read_rows
from dryrecords.settlement.audit_schedules import AuditSchedule, schedules_of
from dryrecords.settlement.audit_tally import Tally
from dryrecords.settlement.audit_turn import Turn
from dryrecords.settlement.fixed_point import SCALES, settle_many
from dryrecords.settlement.models import Audit, Finding
from dryrecords.settlement.rules import Load, rules_of, settle
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Access
from tests import factories as make
from tests.benchmarks.audit_rules import RULES, _tickets
from tests.benchmarks.measure import Outcome

TICKETS, ROUNDS = 1_000_000, 3
GROWTH = (10_000, 100_000)
SAMPLE = 5_000  # recomputed as decimals, and scaled up
WRONG_EVERY, SAMPLED_EVERY = 100, 50
FIRST = datetime(2025, 9, 1, tzinfo=UTC)
APART = timedelta(seconds=10)
BUYER = "Invented Elevator"
_STATED = [f"stated_{name}" for name in STATED]
COLUMNS = ("id", "delivered_at", "disposition", "gross_lb", "tare_lb", "moisture_pct", "price_usd_bu", *_STATED)
_TABLE_COLUMNS = (*COLUMNS, "number", "buyer", "crop", "organization_id", "version", "created_at", "updated_at")


def run(directory: Path) -> Iterator[Outcome]:
    by = make.access(make.organization("Audited Drying"))
    make.schedule(by, buyer=BUYER, effective_from=FIRST, rules=RULES)
    _fill(by, make.meter(by).pk)
    reads, copies, ours = [], [], []
    peak_mb = 0.0
    for _ in range(ROUNDS):
        reads.append(_timed(lambda: _read(by)))
        copies.append(_timed(lambda: _copied(by)))
        _forget_peak()
        before = _memory_mb("VmRSS")
        ours.append(_timed(lambda: _audit(by)))
        peak_mb = max(peak_mb, _memory_mb("VmHWM") - before)
    audit, read, copied = min(ours), min(reads), min(copies)
    yield Outcome(
        "audit, 1M read",
        audit.wall_s,
        read.wall_s,
        "s",
        f"psycopg fetching the same columns of the same rows, best of {ROUNDS} rounds",
        {
            "cpu_s": audit.cpu_s,
            "read_cpu_s": read.cpu_s,
            "ratio_to_binary_copy": audit.wall_s / copied.wall_s,
            "findings": Finding.objects.count(),
            "peak_mb_more": peak_mb,
        },
    )
    decimals = min(_timed(lambda: _decimals(by)) for _ in range(ROUNDS)).times(TICKETS / SAMPLE)
    faster = {"times_faster": decimals.wall_s / audit.wall_s, "times_less_cpu": decimals.cpu_s / audit.cpu_s}
    of = f"decimals ticket by ticket, from {SAMPLE:,}, read as records"
    yield Outcome("audit, 1M", audit.wall_s, decimals.wall_s, "s", of, faster)
    sample, turns, schedules = _sample(by), _copied(by), schedules_of(by, BUYER, "corn")
    memory = min(_timed(lambda: _in_memory(turns, schedules)) for _ in range(ROUNDS))
    of = f"decimals ticket by ticket, CPU, from {SAMPLE:,}, reading and writing in neither"
    settled = min(_timed(lambda: _settle_one_by_one(sample)) for _ in range(ROUNDS)).times(TICKETS / SAMPLE)
    yield Outcome(
        "audit, in memory", memory.cpu_s, settled.cpu_s, "s", of, {"times_faster": settled.cpu_s / memory.cpu_s}
    )
    each = {n: min(_timed(lambda n=n: _audit(by, n)) for _ in range(ROUNDS)).cpu_s / n for n in GROWTH}
    few, middle = GROWTH
    of = f"a ticket among {TICKETS:,} against one among {few:,}, CPU, best of {ROUNDS} rounds"
    told = {f"us_of_{middle}": 1e6 * each[middle]}
    yield Outcome("audit, growth", 1e6 * audit.cpu_s / TICKETS, 1e6 * each[few], "us", of, told)


class Spent(NamedTuple):
    """By the clock, and by this process alone: other work on the machine stretches the first."""

    wall_s: float
    cpu_s: float

    def times(self, count: float) -> Spent:
        return Spent(self.wall_s * count, self.cpu_s * count)


def _timed(do: Callable[[], Any]) -> Spent:
    gc.collect()
    wall, cpu = perf_counter(), process_time()
    do()
    return Spent(perf_counter() - wall, process_time() - cpu)


def _audit(by: Access, count: int = TICKETS) -> None:
    with scope.organization(by.organization_id):
        Audit.objects.all().delete()
        made = audits.ask(by, buyer=BUYER, crop="corn", delivered_from=FIRST, delivered_to=FIRST + count * APART)
        taken = audits.take_up()
        assert taken is not None and audit_run.run(taken)
        made.refresh_from_db()
    assert (made.state, made.tickets_done) == ("done", count), made.error
    assert made.findings >= count // WRONG_EVERY


def _rows(by: Access) -> Any:
    return Ticket.objects.visible_to(by).filter(buyer=BUYER, crop="corn")


def _read(by: Access) -> None:
    sql, parameters = _rows(by).order_by("delivered_at", "pk").values_list(*COLUMNS).query.sql_with_params()
    with transaction.atomic(), connection.connection.cursor(name="read") as cursor:
        cursor.itersize = audit_run.TICKETS_AT_A_TIME
        cursor.execute(sql, parameters)
        assert sum(1 for _ in cursor) == TICKETS


def _copied(by: Access) -> list[TicketRows]:
    """As an audit reads them."""
    turns: list[TicketRows] = []
    with transaction.atomic():
        while sum(rows.count for rows in turns) < TICKETS:
            after = (turns[-1].delivered_at(-1), turns[-1].uuid(-1)) if turns else None
            turns.append(read_rows(_rows(by), after, audit_run.TICKETS_AT_A_TIME))
    return turns


def _in_memory(turns: list[TicketRows], schedules: list[AuditSchedule]) -> None:
    tally = Tally({})
    for rows in turns:
        Turn("corn", rows, schedules, tally).examine_lines()


def _decimals(by: Access) -> None:
    _settle_one_by_one(_sample(by))


def _sample(by: Access) -> list[Any]:
    return list(_rows(by).order_by("delivered_at", "pk").values_list(*COLUMNS)[:SAMPLE])


def _settle_one_by_one(rows: list[Any]) -> None:
    rules, bushel = rules_of(RULES), Decimal(56)
    for row in rows:
        gross, tare, moisture, price, *stated = row[3:]
        settled = settle(rules, Load(gross, tare, moisture, price, bushel))
        _ = [value - getattr(settled, name) for name, value in zip(STATED, stated, strict=True)]


def _fill(by: Access, meter_id: Any) -> None:
    """Past the triggers: a million entries of history are not what is measured here."""
    tickets = _tickets(TICKETS)
    many = settle_many(rules_of(RULES), **tickets)
    stated = [getattr(many, name).copy() for name in STATED]
    stated[0][::WRONG_EVERY] += 10_000
    ids = [new_id() for _ in range(TICKETS)]
    random = np.random.default_rng(5)
    stamp = f"{by.organization_id}\t1\t{FIRST.isoformat()}\t{FIRST.isoformat()}"
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        with cursor.copy(f"COPY harvest_ticket ({', '.join(_TABLE_COLUMNS)}) FROM STDIN") as copy:
            figures = [tickets[name].tolist() for name in ("gross", "tare", "moisture", "price")]
            lines = zip(ids, *figures, *(each.tolist() for each in stated), strict=True)
            for n, (ticket_id, gross, tare, moisture, price, *said) in enumerate(lines):
                told = "\t".join(f"{value / SCALES[name]:.4f}" for name, value in zip(STATED, said, strict=True))
                copy.write(
                    f"{ticket_id}\t{(FIRST + n * APART).isoformat()}\tsold\t{gross / 100}\t{tare / 100}\t"
                    f"{moisture / 1000}\t{price / 1e6}\t{told}\t{n}\t{BUYER}\tcorn\t{stamp}\n"
                )
        columns = (
            "id, ticket_id, stage, taken_at, moisture_pct, meter_id, organization_id, version, created_at, updated_at"
        )
        with cursor.copy(f"COPY harvest_sample ({columns}) FROM STDIN") as copy:
            for n in range(0, TICKETS, SAMPLED_EVERY):
                own = tickets["moisture"][n] / 1000 + random.normal(0.0, 0.3)
                taken = (FIRST + n * APART).isoformat()
                copy.write(f"{new_id()}\t{ids[n]}\tdelivered\t{taken}\t{own:.2f}\t{meter_id}\t{stamp}\n")
    with connection.cursor() as cursor:
        cursor.execute("VACUUM ANALYZE harvest_ticket, harvest_sample")


def _memory_mb(name: str) -> float:
    """VmRSS is what the process holds, VmHWM the most it held since it was forgotten last. Linux only."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith(name))


def _forget_peak() -> None:
    Path("/proc/self/clear_refs").write_text("5")
