"""Workers that are killed, that work beside each other, and that a batch takes down."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from dryrecords.season.models import BatchResult
from tests import factories as make
from tests.faults.season import BusyYard, assert_computed_once_and_right, open_marks
from tests.faults.tree import QUICK, Answer, Tree, deadlocks
from tests.runtime.processes import wait_for
from tests.season.scene import at

pytestmark = [pytest.mark.services, pytest.mark.slow]


def claimed_since(before: dict[int, int]) -> bool:
    """Whether a worker holds a mark that it has taken up since `before` was noted."""
    return any(mark.attempts > before.get(mark.pk, 0) for mark in open_marks(kind="batch"))


def attempts() -> dict[int, int]:
    return {mark.pk: mark.attempts for mark in open_marks(kind="batch")}


def test_workers_killed_in_the_middle_lose_nothing_and_double_nothing(tree: Tree, yard: BusyYard) -> None:
    made = in_the_middle = 0
    # A kill that comes too late proves nothing and is not counted.
    for count in (300, 50, 50, 50, 50, 50):
        before = attempts()
        worker = tree.worker(**QUICK)
        yard.make_batches(count)
        made += count
        assert wait_for(lambda: claimed_since(before)), tree.told()  # noqa: B023 - called at once
        tree.kill(worker)
        in_the_middle += claimed_since(before)
        if in_the_middle == 3:
            break
    assert in_the_middle == 3
    assert max(attempts().values()) >= 2
    for _ in range(2):
        tree.worker(**QUICK)
    tree.scheduler(**QUICK)
    yard.wait_until_fresh(tree, 45)
    tree.end()
    assert_computed_once_and_right(yard, made)


class Writers:
    """Threads that go on correcting the same batches in every way until told to stop."""

    def __init__(self, yard: BusyYard, ids: list[str], count: int) -> None:
        self._api, self._yard, self._ids = yard.api, yard, ids
        self._samples = yard.api.get("samples?limit=1000")["results"]
        self._until = threading.Event()
        self.answers: list[Answer] = []
        self._threads = [threading.Thread(target=self._write, args=(seed,)) for seed in range(count)]

    def __enter__(self) -> Writers:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._until.set()
        for thread in self._threads:
            thread.join()

    def _write(self, seed: int) -> None:
        chance = random.Random(seed)
        ways: list[Callable[[random.Random], Answer]] = [self._weigh, self._measure, self._weigh, self._price]
        while not self._until.is_set():
            self.answers.append(chance.choice(ways)(chance))

    def _weigh(self, chance: random.Random) -> Answer:
        return self._api.patch(f"batches/{chance.choice(self._ids)}", {"wet_mass_lb": chance.randint(40_000, 60_000)})

    def _measure(self, chance: random.Random) -> Answer:
        sample = chance.choice(self._samples)
        return self._api.patch(f"samples/{sample['id']}", {"moisture_pct": sample["moisture_pct"] + chance.random()})

    def _price(self, chance: random.Random) -> Answer:
        """Touches every batch at once."""
        moment = f"2025-08-01T{chance.randrange(24):02}:{chance.randrange(60):02}:00Z"
        price = {"kind": "propane", "effective_from": moment, "unit_price_usd": f"1.{chance.randrange(100):02}"}
        return self._api.post("prices", price)


def test_two_workers_at_once_beside_writers_lose_no_update_and_never_deadlock(tree: Tree, yard: BusyYard) -> None:
    for _ in range(2):
        tree.worker()
    tree.scheduler()
    tree.web()
    before = deadlocks()
    ids = [yard.posted() for _ in range(30)]
    with Writers(yard, ids, count=4) as writers:
        time.sleep(5)
    # 409: two writers happened upon the same minute for their prices.
    refused = [answer for answer in writers.answers if answer.status not in {200, 201, 409, 422}]
    assert refused == [], tree.told()
    assert len(writers.answers) > 30
    yard.wait_until_fresh(tree, 30)
    masses: dict[str, Any] = {batch_id: yard.api.get(f"batches/{batch_id}")["wet_mass_lb"] for batch_id in ids}
    figures = {batch_id: yard.api.result(batch_id)["wet_mass_lb"] for batch_id in ids}
    assert figures == pytest.approx(masses, rel=1e-9)
    tree.end()
    # Locks are taken in one order, and a tie that the database had to break is worked off again; a wrong order breaks
    # several a second here.
    assert deadlocks() - before <= 1
    assert "deadlock" not in tree.told()
    assert "Traceback" not in tree.told()
    assert_computed_once_and_right(yard, len(ids))


def test_a_batch_that_ends_its_worker_stays_alone_and_is_seen(tree: Tree, yard: BusyYard) -> None:
    others = yard.make_batches(30)
    poison = str(yard.make_batches(1)[0])
    tree.web()
    tree.worker(**QUICK, FAULTS_POISON_BATCH=poison)
    tree.scheduler(**QUICK)
    assert wait_for(lambda: BatchResult.objects.count() == len(others)), tree.told()
    assert wait_for(lambda: [mark.key for mark in open_marks(kind="batch", attempts__gte=4)] == [poison])
    told = yard.api.result(poison)
    assert (told["fresh"], told["complete"]) == (False, False)
    assert told["error"] is not None
    # Its neighbours do not wait for it, even when a price change touches all of them.
    make.price(yard.by, kind="grain", crop="corn", effective_from=at(-24))
    newer = yard.posted()
    yard.api.wait_until_fresh(newer, 10)
    assert [mark.key for mark in open_marks(kind="batch")] == [poison]
