"""A command on a data directory where nothing was ever started sets the database up itself."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from dryrecords.runtime import layout
from dryrecords.runtime.problems import DatabaseUnreachable
from tests.runtime.processes import environment, open_place

pytestmark = pytest.mark.slow

ISSUE = ["issue_token", "--organization", "New", "--role", "owner", "--device", "pc", "--create"]


def run(*words: str | Path, **env: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, layout.CHECKOUT / "manage.py", *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, env=environment(**env))


def test_token_can_be_issued_before_the_first_serve() -> None:
    with open_place() as place:
        first, second = (run(*ISSUE, "--data-dir", place / "data") for _ in range(2))
        assert (first.returncode, second.returncode) == (0, 0), first.stderr
        assert first.stdout.count("\n") == second.stdout.count("\n") == 1
        assert first.stdout != second.stdout


def test_database_of_somebody_else_is_theirs_to_migrate() -> None:
    if "DATABASE_OWNER_URL" not in os.environ:
        pytest.skip("needs the embedded server of this run, for a database without tables")
    empty = os.environ["DATABASE_OWNER_URL"]
    with open_place() as place:
        done = run(*ISSUE, "--data-dir", place / "data", DATABASE_URL=empty)
    assert done.returncode == DatabaseUnreachable.status
    assert "run `manage.py migrate`" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("port", ["0", "65536", "web"])
def test_port_out_of_range_is_one_sentence(port: str) -> None:
    with open_place() as place:
        done = run("serve", "--port", port, "--data-dir", place / "data")
    assert done.returncode != 0
    assert "a port is a number from 1 to 65535" in done.stderr
    assert "Traceback" not in done.stderr
