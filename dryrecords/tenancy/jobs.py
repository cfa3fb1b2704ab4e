"""Work that somebody asked for: taken up by one worker at a time, and by another if that one ends on the way."""

from __future__ import annotations

from datetime import timedelta
from typing import Any, TypeVar

from django.db import models, transaction
from django.utils import timezone

from dryrecords.core import clock
from dryrecords.core.ids import new_id
from dryrecords.journal.trail import Actor
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Token

MOST_ATTEMPTS = 3
RUNNING, DONE, FAILED = "running", "done", "failed"


class Job(models.Model):
    """What every kind of it has. What a turn did and how far it went are written together."""

    OPEN = ("waiting", RUNNING)

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    organization = models.ForeignKey("tenancy.Organization", on_delete=models.PROTECT, db_index=False, related_name="+")
    # Whoever asked for it, as it will stand in the history, and what that role may.
    actor = models.CharField(max_length=200)
    device = models.CharField(max_length=200, blank=True, default="")
    request_id = models.CharField(max_length=64, blank=True, default="")
    role = models.CharField(max_length=10)
    token_id = models.UUIDField(null=True)
    # Each kind has one with its own choices; those of this module are among them.
    state = models.CharField(max_length=9)
    # Why it failed as a whole.
    error = models.TextField(blank=True, default="")
    created_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True)
    # Until then it is the business of whoever took it up; counted before the work, so that a killed worker is too.
    run_after = models.DateTimeField(default=timezone.now)
    attempts = models.IntegerField(default=0)

    class Meta:
        abstract = True


AJob = TypeVar("AJob", bound=Job)


def asked_by(access: Access) -> dict[str, Any]:
    """The columns that say who asked."""
    return {
        "organization_id": access.organization_id,
        "actor": access.actor.name,
        "device": access.actor.device,
        "request_id": access.actor.request_id,
        "role": access.role,
        "token_id": access.token_id,
    }


def access_of(job: Job) -> Access:
    actor = Actor(job.actor, job.device, job.request_id)
    return Access(organization_id=job.organization_id, role=job.role, actor=actor, token_id=job.token_id)


@transaction.atomic
def take_up(kind: type[AJob], *, lease: timedelta, gave_up: str, revoked: str) -> AJob | None:
    """The next one that nobody is working on. It commits at once, so the attempt counts even if this process dies."""
    job = (
        kind._default_manager.select_for_update(skip_locked=True)
        .filter(state__in=kind.OPEN, run_after__lte=clock.now())
        .order_by("run_after")
        .first()
    )
    if job is None:
        return None
    job.attempts += 1
    job.state = RUNNING
    job.run_after = clock.now() + lease
    if job.attempts > MOST_ATTEMPTS:
        end(job, gave_up)
    elif job.token_id and Token.objects.filter(pk=job.token_id, revoked_at__isnull=False).exists():
        end(job, revoked)
    job.save()
    return job


def give_back(job: Job) -> None:
    """For the next turn, at once."""
    same = type(job)._default_manager.filter(pk=job.pk, state=RUNNING)
    same.update(run_after=clock.now(), attempts=0)


def end(job: Job, error: str = "") -> None:
    """Still to be saved."""
    job.state = FAILED if error else DONE
    job.error, job.finished_at = error[:2000], clock.now()
