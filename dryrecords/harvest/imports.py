"""Imports as work: brought once, taken up by one worker at a time, and by another if that one ends on the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.db import models, transaction

from dryrecords.core import clock
from dryrecords.harvest.import_model import Import
from dryrecords.journal.nudge import nudge_imports
from dryrecords.tenancy import jobs
from dryrecords.tenancy.access import Access

LEASE = timedelta(seconds=30)
GAVE_UP = "The work on it ended several times at the same row. Nothing before that row is lost."
REVOKED = "The token that brought it was revoked."


def bring(
    access: Access,
    *,
    kind: str,
    content: str,
    file_name: str,
    options: Mapping[str, Any],
    rows: int,
    taken_up: bool = False,
) -> Import:
    """A sheet to be taken in: by whoever takes it up, or, `taken_up`, by the caller, and others only if it ends."""
    access.must_write(kind)
    job = Import.objects.create(
        **jobs.asked_by(access),
        kind=kind,
        file_name=file_name,
        content=content,
        options=dict(options),
        rows=rows,
        state=Import.State.RUNNING if taken_up else Import.State.WAITING,
        run_after=clock.now() + (LEASE if taken_up else timedelta()),
    )
    if not taken_up:
        transaction.on_commit(nudge_imports, robust=True)
    return job


def imports_of(access: Access) -> models.QuerySet[Import]:
    """An organization's; what a customer may not bring it does not see either."""
    found = Import.objects.filter(organization_id=access.organization_id)
    return found.none() if access.customer_id is not None else found


def take_up() -> Import | None:
    return jobs.take_up(Import, lease=LEASE, gave_up=GAVE_UP, revoked=REVOKED)


def locked(job_id: UUID, rows_done: int) -> Import | None:
    """The import, locked, if it is still where the caller left it: it may have been taken up by another meanwhile."""
    found = Import.objects.select_for_update().filter(pk=job_id, rows_done=rows_done, state__in=Import.OPEN)
    # Megabytes, if all of a long sheet is refused.
    return found.defer("content", "refused").first()


def advance(job: Import, *, rows: int, created: int, duplicates: int, refused: Sequence[dict[str, Any]]) -> None:
    """So many rows further; in the transaction that wrote their records."""
    job.rows_done += rows
    job.created += created
    job.duplicates += duplicates
    job.attempts, job.run_after = 0, clock.now() + LEASE
    job.save(update_fields=[name for name in _PROGRESS if name != "refused"])
    if refused:
        added = models.Value(list(refused), output_field=models.JSONField())
        both = models.Func(models.F("refused"), added, template="%(expressions)s", arg_joiner=" || ")
        Import.objects.filter(pk=job.pk).update(refused=both)


_PROGRESS = (
    "rows_done",
    "created",
    "duplicates",
    "refused",
    "attempts",
    "run_after",
    "state",
    "error",
    "finished_at",
)


def start_again(job: Import) -> None:
    """A dry run leaves no records, so what it saw so far is nowhere."""
    job.rows_done = job.created = job.duplicates = 0
    job.refused = []
    job.save(update_fields=[*_PROGRESS])


def finish(job: Import, held: Mapping[int, UUID]) -> None:
    """Every row was seen; those of the refused ones that are held say where."""
    job.refused = [each | {"held": str(held[each["row"]])} if each["row"] in held else each for each in job.refused]
    jobs.end(job)
    job.save(update_fields=[*_PROGRESS])


def fail(job: Import, error: str) -> None:
    jobs.end(job, error)
    job.save(update_fields=[*_PROGRESS])
