"""Table: sheets that were brought to be taken in, how far that went, and what of them was refused."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone

from dryrecords.core.ids import new_id


class Import(models.Model):
    """One sheet of rows of one kind. The rows of a turn and how far it went are written together."""

    class State(models.TextChoices):
        WAITING = "waiting"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"

    OPEN = (State.WAITING, State.RUNNING)

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    organization = models.ForeignKey("tenancy.Organization", on_delete=models.PROTECT, db_index=False, related_name="+")
    kind = models.CharField(max_length=40)
    file_name = models.CharField(max_length=200, blank=True, default="")
    content = models.TextField()
    options = models.JSONField(default=dict)
    # Whoever brought it, as it will stand in the history, and what that role may.
    actor = models.CharField(max_length=200)
    device = models.CharField(max_length=200, blank=True, default="")
    request_id = models.CharField(max_length=64, blank=True, default="")
    role = models.CharField(max_length=10)
    token_id = models.UUIDField(null=True)
    state = models.CharField(max_length=7, choices=State, default=State.WAITING)
    rows = models.IntegerField(default=0)
    rows_done = models.IntegerField(default=0)
    created = models.IntegerField(default=0)
    duplicates = models.IntegerField(default=0)
    # [{row, errors: [{pointer, code, detail}], held}]: the cells themselves stand in the content.
    refused = models.JSONField(default=list)
    # Why it failed as a whole.
    error = models.TextField(blank=True, default="")
    created_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True)
    # Until then it is the business of whoever took it up; counted before the work, so that a killed worker is too.
    run_after = models.DateTimeField(default=timezone.now)
    attempts = models.IntegerField(default=0)

    class Meta:
        indexes = [
            models.Index(fields=["organization", "-created_at", "id"], name="import_listed"),
            models.Index(fields=["run_after"], name="import_open", condition=Q(state__in=["waiting", "running"])),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.file_name} {self.created_at:%Y-%m-%d %H:%M}"
