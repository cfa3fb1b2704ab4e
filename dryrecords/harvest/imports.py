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
from dryrecords.journal.trail import Actor
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Token

LEASE = timedelta(seconds=30)
MOST_ATTEMPTS = 3
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
        organization_id=access.organization_id,
        kind=kind,
        file_name=file_name,
        content=content,
        options=dict(options),
        actor=access.actor.name,
        device=access.actor.device,
        request_id=access.actor.request_id,
        role=access.role,
        token_id=access.token_id,
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


def access_of(job: Import) -> Access:
    actor = Actor(job.actor, job.device, job.request_id)
    return Access(organization_id=job.organization_id, role=job.role, actor=actor, token_id=job.token_id)


@transaction.atomic
def take_up() -> Import | None:
    """The next one that nobody is working on. It commits at once, so the attempt counts even if this process dies."""
    job = (
        Import.objects.select_for_update(skip_locked=True)
        .filter(state__in=Import.OPEN, run_after__lte=clock.now())
        .order_by("run_after")
        .first()
    )
    if job is None:
        return None
    job.attempts += 1
    job.state = Import.State.RUNNING
    job.run_after = clock.now() + LEASE
    if job.attempts > MOST_ATTEMPTS:
        _end(job, GAVE_UP)
    elif job.token_id and Token.objects.filter(pk=job.token_id, revoked_at__isnull=False).exists():
        _end(job, REVOKED)
    job.save()
    return job


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


def give_back(job: Import) -> None:
    """For the next turn, at once."""
    Import.objects.filter(pk=job.pk, state=Import.State.RUNNING).update(run_after=clock.now(), attempts=0)


def finish(job: Import, held: Mapping[int, UUID]) -> None:
    """Every row was seen; those of the refused ones that are held say where."""
    job.refused = [each | {"held": str(held[each["row"]])} if each["row"] in held else each for each in job.refused]
    _end(job)
    job.save(update_fields=[*_PROGRESS])


def fail(job: Import, error: str) -> None:
    _end(job, error)
    job.save(update_fields=[*_PROGRESS])


def _end(job: Import, error: str = "") -> None:
    job.state = Import.State.FAILED if error else Import.State.DONE
    job.error, job.finished_at = error[:2000], clock.now()
