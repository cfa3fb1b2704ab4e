"""A worker that is killed while it audits tickets."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from dryrecords.core import clock
from dryrecords.settlement.models import Audit
from tests import factories
from tests.faults.tree import Tree
from tests.runtime.processes import wait_for
from tests.settlement import audited, planted

pytestmark = [pytest.mark.services, pytest.mark.slow]

TICKETS, AT_A_TIME = 12_000, 200


def test_killed_in_the_middle_nothing_is_lost_or_doubled(tree: Tree) -> None:
    by = factories.access()
    audited.add_schedules(by)
    (ticket,) = planted.season(1)
    stated = ticket.stated | {"net_amount_usd": ticket.stated["net_amount_usd"] - 1}
    moments = (planted.FIRST + n * timedelta(minutes=5) for n in range(TICKETS))
    tickets = [replace(ticket, number=str(n), delivered_at=at, stated=stated) for n, at in enumerate(moments)]
    audited.add_tickets(by, tickets)
    audit = factories.audit(by)

    def done() -> int:
        return Audit.objects.values_list("tickets_done", flat=True).get(pk=audit.pk)

    tree.scheduler()
    killed_at = [0]
    for _ in range(2):
        worker = tree.worker(FAULTS_TICKETS_AT_A_TIME=str(AT_A_TIME))
        assert wait_for(lambda: done() > killed_at[-1], 60), tree.told()
        tree.kill(worker)
        killed_at.append(done())
        # What a lease that has run out looks like; the test need not wait for it.
        Audit.objects.filter(pk=audit.pk).update(run_after=clock.now())
    assert killed_at[-1] < TICKETS
    tree.worker()
    assert wait_for(lambda: Audit.objects.filter(pk=audit.pk, state=Audit.State.DONE).exists(), 90), tree.told()
    tree.end()
    audit.refresh_from_db()
    assert (audit.tickets_done, audit.findings, audit.error) == (TICKETS, TICKETS, "")
    found = audited.findings(audit)
    assert [each.place for each in found] == list(range(TICKETS))
    assert [each.number for each in found] == [each.number for each in tickets]
    assert audit.tally["kinds"]["amount"] == [TICKETS, 0, 0, -10_000 * TICKETS]
