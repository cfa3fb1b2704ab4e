"""The background task: woken by a nudge or by the sweep, it works off whatever is stale."""

from __future__ import annotations

from celery import shared_task

from dryrecords.core import task_names
from dryrecords.journal import nudge
from dryrecords.journal.answers import forget_old_answers
from dryrecords.season import services
from dryrecords.tenancy import scope

# A task is short, so that a worker can be told to stop; what is left is taken up by the next one.
TURN_S = 20.0


@shared_task(name=task_names.WORK_OFF_MARKS)
def work_off_marks() -> None:
    if services.work_off(TURN_S):
        nudge.nudge()


@shared_task(name=task_names.FORGET_OLD_ANSWERS)
def forget_answers() -> None:
    for _ in scope.each_organization():
        forget_old_answers()
