"""The broker only nudges: while it is down or deaf every write is taken as fast as ever, and nothing is lost."""

from __future__ import annotations

import time
from collections.abc import Callable
from statistics import median

import pytest

from dryrecords.journal import nudge
from dryrecords.season.models import BatchResult
from tests.faults.proxy import Proxy
from tests.faults.season import BusyYard, assert_computed_once_and_right
from tests.faults.tree import Tree, at_once

pytestmark = [pytest.mark.services, pytest.mark.slow]

BEFORE, DURING = 20, 200
# The first requests of a web process load much; waiting for a broker would take longer still.
SLOWEST_S = 3.0
# Celery tries its broker again after 2, 4, 6 ... s, the sweep comes every 5 s.
RECOVERED_WITHIN_S = 90  # Celery waits longer between tries to reconnect the longer a broker was away

Outage = tuple[Callable[[Proxy], None], Callable[[Proxy], None]]


def post(yard: BusyYard, count: int) -> list[float]:
    """How long each request took; none may be refused or slow."""

    def one(_: int) -> list[float]:
        _, answers = yard.post_batch()
        assert [answer for answer in answers if answer.status != 201 or answer.took_s > SLOWEST_S] == []
        return [answer.took_s for answer in answers]

    return [took_s for several in at_once(one, range(count)) for took_s in several]


def let_tasks_end() -> None:
    """One that is under way would go on with whatever arrives meanwhile."""
    time.sleep(1.5)


@pytest.mark.parametrize(
    "outage", [(Proxy.shut, Proxy.open), (Proxy.mute, Proxy.unmute)], ids=["refuses connections", "does not answer"]
)
def test_batches_posted_without_a_broker_are_taken_at_once_and_computed_when_it_is_back(
    outage: Outage, tree: Tree, yard: BusyYard, door: Proxy
) -> None:
    tree.worker(door.url)
    tree.scheduler(door.url)
    tree.web(door.url)
    before = post(yard, BEFORE)
    yard.wait_until_fresh(tree, RECOVERED_WITHIN_S)
    fail, recover = outage
    fail(door)
    let_tasks_end()
    during = post(yard, DURING)
    assert median(during) < 3 * median(before) + 0.02
    assert BatchResult.objects.count() == BEFORE
    recover(door)
    yard.wait_until_fresh(tree, RECOVERED_WITHIN_S)
    # And nudges get through again: the sweep alone would take 2.5 s on average.
    assert median(yard.api.wait_until_fresh(yard.posted()) for _ in range(3)) < 2.0
    yard.wait_until_fresh(tree, RECOVERED_WITHIN_S)
    tree.end()
    assert_computed_once_and_right(yard, BEFORE + DURING + 3)


def test_the_sweep_alone_finds_everything_when_no_nudge_ever_arrives(tree: Tree, yard: BusyYard, door: Proxy) -> None:
    """The web server's way to the broker stays cut off; worker and scheduler have theirs."""
    door.shut()
    tree.web(door.url)
    tree.worker()
    # The yard itself was made in this process, which does nudge.
    nudge.nudge()
    yard.wait_until_fresh(tree, RECOVERED_WITHIN_S)
    let_tasks_end()
    post(yard, DURING)
    assert BatchResult.objects.count() == 0
    tree.scheduler()
    yard.wait_until_fresh(tree, RECOVERED_WITHIN_S)
    tree.end()
    assert_computed_once_and_right(yard, DURING)
