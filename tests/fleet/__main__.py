"""A season of the fleet: `python -m tests.fleet [--devices 30] [--days 60] [--seed 7]`; fails on any difference."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tests.benchmarks.ground import own_database, own_engines

# The server tells the queries of both sides of a deadlock; otherwise it keeps what is recorded out of its log.
TELLING = ["-clog_error_verbosity=default"]


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.fleet", description=__doc__)
    parser.add_argument("--devices", type=int, default=30)
    parser.add_argument("--days", type=int, default=60)
    parser.add_argument("--seed", type=int, default=time.time_ns() % 100_000)
    parser.add_argument("--worker-dies-every", type=int, default=1, metavar="DAYS")
    parser.add_argument("--web-dies-every", type=int, default=3, metavar="DAYS")
    asked = parser.parse_args()
    print(f"--devices {asked.devices} --days {asked.days} --seed {asked.seed}", flush=True)
    with own_engines(fast=True, options=TELLING) as directory, own_database():
        # Only now, with the engines' addresses in the environment, can models be imported.
        from tests.faults.tree import Tree, deadlocks
        from tests.fleet.agreement import assert_all_agree, assert_rebuilt_the_same
        from tests.fleet.season import Fleet, Plan

        plan = Plan(asked.devices, asked.days, asked.seed, asked.worker_dies_every, asked.web_dies_every)
        logs = directory / "processes"
        logs.mkdir()
        tree, begun = Tree(logs), time.monotonic()
        try:
            fleet = Fleet(plan, tree)
            fleet.run()
            print(f"The season took {time.monotonic() - begun:.0f} s.", flush=True)
            assert_all_agree(fleet)
            tree.end()
            assert_rebuilt_the_same(fleet)
            for what, count in sorted(fleet.told().items()):
                print(f"{count:>7} {what}")
            print(f"All agree, after {time.monotonic() - begun:.0f} s. Deadlocks: {deadlocks()}.")
        finally:
            tree.end()
            print_deadlocks(directory / "postgres.log")


def print_deadlocks(log: Path) -> None:
    lines = log.read_text(errors="replace").splitlines() if log.exists() else []
    for place, line in enumerate(lines):
        if "deadlock detected" in line:
            print("\n".join(lines[place : place + 8]))


if __name__ == "__main__":
    sys.exit(main())
