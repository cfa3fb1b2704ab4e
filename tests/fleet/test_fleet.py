"""The short form: a few days of a small fleet. `python -m tests.fleet` has the long one."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.tree import Tree, deadlocks
from tests.fleet.agreement import assert_all_agree, assert_rebuilt_the_same
from tests.fleet.season import Fleet, Plan

pytestmark = [pytest.mark.services, pytest.mark.slow]

SEED = int(os.environ.get("DRYRECORDS_FLEET_SEED", "1"))


@pytest.fixture
def tree(transactional_db: None, tmp_path: Path) -> Iterator[Tree]:
    tree = Tree(tmp_path)
    yield tree
    tree.end()


def test_a_fleet_on_a_bad_network_loses_nothing_and_doubles_nothing(tree: Tree) -> None:
    print(f"DRYRECORDS_FLEET_SEED={SEED}")
    before = deadlocks()
    fleet = Fleet(Plan(devices=12, days=6, seed=SEED, worker_dies_every=2, web_dies_every=3), tree)
    fleet.run()
    assert_all_agree(fleet)
    tree.end()
    assert_rebuilt_the_same(fleet)
    assert deadlocks() == before
    told = fleet.told()
    print(told)
    assert min(told["mutations"] - 100, told["dropped after the commit"], told["repeated"], told["conflicts"]) > 0
    assert told["workers killed"] > 0
