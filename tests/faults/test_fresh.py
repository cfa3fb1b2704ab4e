"""A field device that posts a batch reads its figures a moment later."""

from __future__ import annotations

from statistics import median

import pytest

from tests.faults.season import BusyYard
from tests.faults.tree import Tree

pytestmark = [pytest.mark.services, pytest.mark.slow]


def test_a_posted_batch_is_fresh_within_moments_by_its_nudge_alone(tree: Tree, yard: BusyYard) -> None:
    """Without a scheduler, so that no sweep helps. The bound is generous: other work may share the machine."""
    tree.worker()
    tree.web()
    yard.api.wait_until_fresh(yard.posted())
    waits = [yard.api.wait_until_fresh(yard.posted()) for _ in range(10)]
    assert median(waits) < 2.0, waits
    assert yard.api.result(yard.posted())["error"] is None
