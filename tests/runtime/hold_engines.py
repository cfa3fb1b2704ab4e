"""A command for the tests: holds the engines of a data directory until its standard input closes.

Prints the addresses as one line of JSON once they are up. STATE_DIR stands in for /var/lib/dryrecords.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

from dryrecords.runtime import layout
from dryrecords.runtime.engines import engines
from dryrecords.runtime.problems import CannotStart

if "STATE_DIR" in os.environ:
    layout.STATE = Path(os.environ["STATE_DIR"])
try:
    with engines(Path(sys.argv[1]), with_broker=True):
        names = ("DATABASE_URL", "DATABASE_OWNER_URL", "BROKER_URL")
        print(json.dumps({name: os.environ.get(name) for name in names}), flush=True)
        sys.stdin.read()
except CannotStart as problem:
    layout.say(str(problem))
    sys.exit(problem.status)
