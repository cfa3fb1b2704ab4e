"""Directories that the server's account can enter, unlike pytest's own, and that leave nothing running."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.runtime.processes import open_place


@pytest.fixture
def open_directory() -> Iterator[Path]:
    """A new directory that everybody may pass through."""
    with open_place() as directory:
        yield directory


@pytest.fixture
def data_dir(open_directory: Path) -> Path:
    """The place of a data directory that does not exist yet."""
    return open_directory / "data"
