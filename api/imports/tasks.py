"""The background task: woken by a nudge or by the sweep, it takes in whatever was brought."""

from __future__ import annotations

from celery import shared_task

from api.imports.taking_in import take_in
from dryrecords.core import task_names
from dryrecords.harvest import imports
from dryrecords.journal.nudge import nudge_imports
from dryrecords.tenancy import scope

# A task is short, so that a worker can be told to stop; what is left is taken up by the next one.
TURN_S = 20.0


@shared_task(name=task_names.TAKE_IMPORTS_IN)
def take_imports_in() -> None:
    for _ in scope.each_organization():
        job = imports.take_up()
        if job is not None:
            take_in(job, TURN_S)
            nudge_imports()
