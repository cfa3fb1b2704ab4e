"""What `manage.py` does: engines first, then Django, whose settings read the addresses the engines exported.

Every command runs inside `engines(...)` for its own duration and shares servers that already run; `serve` and
`demo` are ordinary Django commands that find their engines (broker included) running and add the process tree.
`--data-dir DIR` may stand anywhere on the line of any command; it is the same as DRYRECORDS_DATA_DIR=DIR.
"""

from __future__ import annotations

import argparse
import os
import secrets
import signal
import sys
from pathlib import Path
from types import FrameType

from django.core.management import execute_from_command_line
from django.db import ProgrammingError

from dryrecords.runtime import layout
from dryrecords.runtime.engines import engines
from dryrecords.runtime.problems import CannotStart, DatabaseUnreachable

WITHOUT_ENGINES = {"help", "version", "check", "makemessages", "compilemessages", "startapp", "collectstatic"}
WITH_BROKER = {"serve", "demo"}
AS_OWNER = {"migrate", "makemigrations", "sqlmigrate", "flush", "dbshell"}


def main(arguments: list[str]) -> int:
    """Run one command; the exit status is the command's, or that of the reason why it could not start."""
    data_dir, rest = _take_data_directory(arguments)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dryrecords.config.settings")
    os.environ["DRYRECORDS_DATA_DIR"] = os.fspath(data_dir)
    command = rest[1] if len(rest) > 1 else "help"
    signal.signal(signal.SIGTERM, _leave)
    try:
        if command in WITHOUT_ENGINES or {"-h", "--help", "--version"} & set(rest):
            _name_no_engines()
            execute_from_command_line(rest)
            return 0
        with engines(data_dir, with_broker=command in WITH_BROKER):
            _choose_role(command)
            try:
                execute_from_command_line(rest)
            except ProgrammingError as error:
                # A table or column that is not there: nobody has migrated yet, or not since the last upgrade.
                _migrate_own(error)
                execute_from_command_line(rest)
        return 0
    except CannotStart as problem:
        layout.say(str(problem))
        return problem.status
    except KeyboardInterrupt:
        return 128 + signal.SIGINT


def _take_data_directory(arguments: list[str]) -> tuple[Path, list[str]]:
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    parser.add_argument("--data-dir")
    known, rest = parser.parse_known_args(arguments)
    return layout.data_directory(known.data_dir), rest


def _name_no_engines() -> None:
    """Addresses that nobody connects to: the settings must load for a help text too."""
    os.environ.setdefault("DATABASE_URL", "postgresql:///dryrecords")
    os.environ.setdefault("BROKER_URL", "memory://")
    os.environ.setdefault("DRYRECORDS_SECRET_KEY", secrets.token_urlsafe(50))


def _choose_role(command: str) -> None:
    """What changes tables runs as their owner where there is one; everything else as the plain application role."""
    if command in AS_OWNER:
        os.environ["DATABASE_URL"] = os.environ.get("DATABASE_OWNER_URL") or os.environ["DATABASE_URL"]


def _migrate_own(error: ProgrammingError) -> None:
    """Bring the embedded database up to date, as serve would; somebody else's is theirs to migrate."""
    from dryrecords.runtime.process_tree import bring_up_to_date

    if not os.environ.get("DATABASE_OWNER_URL"):
        reason = str(error).strip().splitlines()[0]
        raise DatabaseUnreachable(f"The database is not up to date, run `manage.py migrate`: {reason}.")
    bring_up_to_date()


def _leave(number: int, _: FrameType | None) -> None:
    sys.exit(128 + number)
