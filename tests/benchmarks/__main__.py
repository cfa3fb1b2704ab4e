"""Runs benchmarks and prints a line for each outcome: `python -m tests.benchmarks [NAME...] [--json] [--fast]`."""

from __future__ import annotations

import argparse
import importlib
import sys

from tests.benchmarks.ground import own_database, own_engines

# Each a module here, and why it is here.
BENCHMARKS = {
    "list": ("list_batches", "200 batches through the view, against PostgreSQL building the same JSON"),
    "recompute": ("recompute", "stale batches in a season of 10,000, against the numeric core and reading the rows"),
    "allocate": ("allocate", "what tanks gave, shared out to 10,000 batches, against SciPy interval by interval"),
    "bed": ("bed", "forecasts of a bed, against SciPy on its equations and compiled loops of the same model"),
    "rules": ("audit_rules", "1,000,000 tickets settled in integers, against decimals ticket by ticket; growth"),
    "wall": ("wall", "requests and background work behind row-level security, against the same without it"),
    "fresh": ("post_to_fresh", "from post to fresh result at 50 posts a second, against 1 post a second"),
    "sync": ("first_sync", "a first sync of 100,000 changes, against PostgreSQL giving the same entries as JSON"),
    "pages": ("pages", "the office pages in a season of 10,000 batches, against the API's answers from the same rows"),
    "audit": ("audit", "1,000,000 tickets audited from the database, against merely reading the same rows"),
    "push": ("push", "10,000 samples pushed over HTTP, against COPY of the same rows into the same tables"),
    "flat": ("flat", "a pushed row in a table of 100,000 and of 1,000,000 rows, against one in a table of 1,000"),
}


def main() -> None:
    told = "".join(f"\n  {name:<10} {what}" for name, (_, what) in BENCHMARKS.items())
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description=f"Benchmarks on engines of their own, or on those DATABASE_URL and BROKER_URL name.\n{told}",
    )
    parser.add_argument("names", nargs="*", metavar="NAME", help="which; all when none is named")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.add_argument("--fast", action="store_true", help="the embedded PostgreSQL does not wait for its disk")
    asked = parser.parse_args()
    if unknown := set(asked.names) - set(BENCHMARKS):
        parser.error(f"there is no benchmark {', '.join(sorted(unknown))}; known are {', '.join(BENCHMARKS)}")
    with own_engines(fast=asked.fast) as directory:
        for name in asked.names or BENCHMARKS:
            with own_database():
                # Only now, with the engines' addresses in the environment, can models be imported.
                module = importlib.import_module(f"tests.benchmarks.{BENCHMARKS[name][0]}")
                for outcome in module.run(directory):
                    print(outcome.as_json() if asked.json else outcome.as_line(), flush=True)


if __name__ == "__main__":
    sys.exit(main())
