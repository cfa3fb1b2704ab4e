"""The background task: woken by a nudge or by the sweep, it goes on with whatever audits were asked for."""

from __future__ import annotations

from celery import shared_task

from dryrecords.core import task_names
from dryrecords.journal.nudge import nudge_audits
from dryrecords.settlement import audits
from dryrecords.settlement.audit_run import run
from dryrecords.tenancy import scope

# A task is short, so that a worker can be told to stop; what is left is taken up by the next one.
TURN_S = 20.0


@shared_task(name=task_names.RUN_AUDITS)
def run_audits() -> None:
    for _ in scope.each_organization():
        audit = audits.take_up()
        if audit is not None:
            run(audit, TURN_S)
            nudge_audits()
