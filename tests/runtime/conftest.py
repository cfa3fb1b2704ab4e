"""Directories that the server's account can enter, unlike pytest's own, and that leave nothing running."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from dryrecords.runtime import layout
from tests.runtime.processes import environment, open_place


@pytest.fixture
def open_directory() -> Iterator[Path]:
    """A new directory that everybody may pass through."""
    with open_place() as directory:
        yield directory


@pytest.fixture
def data_dir(open_directory: Path) -> Path:
    """The place of a data directory that does not exist yet."""
    return open_directory / "data"


@pytest.fixture(scope="session")
def copy_of_used() -> Iterator[Callable[[Path], Path]]:
    """Puts a data directory whose database is up to date at a place: making one anew costs each test seconds."""
    with open_place() as place:
        command = [sys.executable, layout.CHECKOUT / "manage.py", "migrate", "--data-dir", place / "data"]
        subprocess.run(command, check=True, capture_output=True, env=environment())

        def copy(to: Path) -> Path:
            # With its owners and modes: the server refuses a directory that is not its own.
            subprocess.run(["cp", "-a", os.fspath(place / "data"), os.fspath(to)], check=True)
            return to

        yield copy


@pytest.fixture
def used_data_dir(open_directory: Path, copy_of_used: Callable[[Path], Path]) -> Path:
    """A data directory whose database is up to date."""
    return copy_of_used(open_directory / "data")
