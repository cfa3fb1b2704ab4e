"""The background task that applies what was held for want of a record, whichever way that came in the end."""

from __future__ import annotations

from celery import shared_task

from api.push import arrived, there
from dryrecords.core import task_names
from dryrecords.journal import ledger


@shared_task(name=task_names.TRY_HELD)
def try_held() -> None:
    for organization_id, wanted in ledger.all_waited_for().items():
        arrived(organization_id, there(organization_id, wanted))
