"""A worker that is killed while it takes a spreadsheet in."""

from __future__ import annotations

from datetime import timedelta

import pytest

from api.imports import taking_in
from dryrecords.core import clock
from dryrecords.harvest.models import Import, Reading
from dryrecords.journal.models import Change
from tests import factories
from tests.faults.tree import Tree
from tests.runtime.processes import wait_for

pytestmark = [pytest.mark.services, pytest.mark.slow]

ROWS = 30_000


def sheet(batch: object) -> str:
    start = factories.START
    times = ((start + timedelta(seconds=n)).isoformat() for n in range(ROWS))
    return "batch,at,plenum (F)\n" + "".join(f"{batch},{at},{150 + n % 60}\n" for n, at in enumerate(times))


def test_killed_in_the_middle_it_is_taken_in_once(tree: Tree) -> None:
    by = factories.access()
    place = factories.site(by, factories.customer(by))
    filling = factories.batch(by, factories.dryer(by, place))
    job = taking_in.bring(by, "readings", sheet(filling.pk), taking_in.Options())

    def done() -> int:
        return Import.objects.values_list("rows_done", flat=True).get(pk=job.pk)

    tree.scheduler()
    killed_at = [0]
    for _ in range(2):
        worker = tree.worker()
        assert wait_for(lambda: done() > killed_at[-1], 60), tree.told()
        tree.kill(worker)
        killed_at.append(done())
        # What a lease that has run out looks like; the test need not wait for it.
        Import.objects.filter(pk=job.pk).update(run_after=clock.now())
    assert killed_at[-1] < ROWS
    tree.worker()
    assert wait_for(lambda: done() == ROWS, 90), tree.told()
    tree.end()
    job.refresh_from_db()
    assert (job.state, job.created, job.duplicates, job.refused) == ("done", ROWS, 0, [])
    assert Reading.objects.values("at").distinct().count() == Reading.objects.count() == ROWS
    assert Change.objects.filter(resource="readings").count() == ROWS
