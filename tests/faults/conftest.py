"""A tree of processes and a yard on a database of the test's own; both gone before that is emptied."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.proxy import Proxy
from tests.faults.season import BusyYard
from tests.faults.tree import Tree


@pytest.fixture
def tree(transactional_db: None, tmp_path: Path) -> Iterator[Tree]:
    tree = Tree(tmp_path)
    yield tree
    tree.end()


@pytest.fixture
def yard(tree: Tree) -> BusyYard:
    return BusyYard(tree.port)


@pytest.fixture
def door() -> Iterator[Proxy]:
    """A door to the broker that this run uses."""
    door = Proxy(os.environ["BROKER_URL"])
    yield door
    door.close()
