"""1,000,000 tickets settled at once in integers, against decimals ticket by ticket; and how the time grows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from pathlib import Path
from time import process_time_ns
from typing import Any

import numpy as np

from dryrecords.settlement.fixed_point import INPUT_SCALES, SCALES, settle_many
from dryrecords.settlement.rules import Load, rules_of, settle
from tests.benchmarks.measure import Outcome, in_turns

TICKETS = 1_000_000
SAMPLE = 10_000  # settled as decimals, and scaled up
ROUNDS = 7
GROWTH = (10_000, 100_000, 1_000_000)
# Every rule at once: shrink with handling, a discount in dollars and of the price, charges in bands, a minimum.
RULES = {
    "base_moisture_pct": "15",
    "moisture_rounding": {"step_pct": "0.1", "mode": "half_up"},
    "shrink": {"method": "factor", "factor_pct_per_point": "1.4", "base_moisture_pct": "14.5", "handling_pct": "0.25"},
    "discount": [
        {"above_pct": "15", "up_to_pct": "18", "step_pct": "0.5", "per_step_usd_bu": "0.01"},
        {"above_pct": "18", "step_pct": "0.5", "per_step_pct_of_price": "0.25"},
    ],
    "drying_charge": {
        "bands": [
            {"above_pct": "15", "up_to_pct": "15.5", "step_pct": "0.5", "per_step_usd_bu": "0.06"},
            {"above_pct": "15.5", "up_to_pct": "17.5", "step_pct": "0.5", "per_step_usd_bu": "0.01"},
            {"above_pct": "17.5", "step_pct": "0.5", "per_step_usd_bu": "0.02"},
        ],
        "on": "wet_bu",
        "minimum_usd_bu": "0.05",
    },
    "reject_above_pct": "30",
    "rounding": {"bu": "0.01", "usd": {"step": "0.01", "mode": "half_even"}},
}


def run(_directory: Path | None = None) -> Iterator[Outcome]:
    rules, tickets = rules_of(RULES), _tickets(TICKETS)
    loads = [_load(tickets, number) for number in range(SAMPLE)]
    settled = settle_many(rules, **tickets)
    for number in range(0, SAMPLE, 10):
        one = settle(rules, loads[number])
        assert all(settled.decimal(name, number) == getattr(one, name) for name in SCALES), loads[number]
    times = in_turns(
        ROUNDS,
        {"ours": lambda: settle_many(rules, **tickets), "peer": lambda: [settle(rules, load) for load in loads]},
    )
    ours, peer = times["ours"].best_ms, times["peer"].best_ms * TICKETS / SAMPLE
    details = {"times_faster": peer / ours, "median_ms": times["ours"].median_ms}
    yield Outcome(
        "settle, 1M",
        ours,
        peer,
        "ms",
        f"decimals ticket by ticket, from {SAMPLE:,}, best of {ROUNDS} rounds",
        details,
    )
    yield _growth(rules, tickets)


def _growth(rules: Any, tickets: dict[str, Any]) -> Outcome:
    """A ticket among the most against one among the fewest: 1 is linear.

    In CPU time: a short run slips between what else the machine does, a long one does not.
    """
    each = {}
    for count in GROWTH:
        part = {name: values[:count] for name, values in tickets.items()}
        each[count] = min(_cpu_ns(lambda part=part: settle_many(rules, **part)) for _ in range(ROUNDS)) / count
    fewest, most = GROWTH[0], GROWTH[-1]
    of = f"a ticket among {most:,} against one among {fewest:,}, CPU, best of {ROUNDS} rounds"
    return Outcome("settle, growth", each[most], each[fewest], "ns", of, {f"ns_of_{GROWTH[1]}": each[GROWTH[1]]})


def _cpu_ns(do: Callable[[], Any]) -> int:
    begun = process_time_ns()
    do()
    return process_time_ns() - begun


def _tickets(count: int) -> dict[str, Any]:
    """Trucks of corn as a buyer takes them in: a price for each day, moisture in hundredths."""
    random = np.random.default_rng(20251006)
    price = random.integers(350, 480, 60) * 10_000
    return {
        "gross": random.integers(2_500, 4_000, count) * 20 * INPUT_SCALES["gross"],
        "tare": random.integers(1_100, 1_500, count) * 20 * INPUT_SCALES["tare"],
        "moisture": random.integers(1_300, 3_050, count) * 10,
        "price": price[np.sort(random.integers(0, price.size, count))],
        "bushel": np.full(count, 56 * INPUT_SCALES["bushel"]),
    }


def _load(tickets: dict[str, Any], number: int) -> Load:
    gross, tare, moisture, price, bushel = (
        Decimal(int(values[number])) / INPUT_SCALES[name] for name, values in tickets.items()
    )
    return Load(gross, tare, moisture, price, bushel)
