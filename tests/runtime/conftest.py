"""Directories that the server's account can enter, unlike pytest's own, and that leave nothing running."""

from __future__ import annotations

import os
import shutil
import signal
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.runtime.processes import nothing_runs_on, running_on


@pytest.fixture
def open_directory() -> Iterator[Path]:
    """A new directory that everybody may pass through."""
    directory = Path(tempfile.mkdtemp(prefix="dryrecords-test-", dir="/tmp"))
    directory.chmod(0o755)
    yield directory
    left_over = {} if nothing_runs_on(directory) else running_on(directory)
    for pid in left_over:
        os.kill(pid, signal.SIGKILL)
    shutil.rmtree(directory, ignore_errors=True)
    assert not left_over, f"still running: {left_over}"


@pytest.fixture
def data_dir(open_directory: Path) -> Path:
    """The place of a data directory that does not exist yet."""
    return open_directory / "data"
