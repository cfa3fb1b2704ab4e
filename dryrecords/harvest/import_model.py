"""Table: sheets that were brought to be taken in, how far that went, and what of them was refused."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from dryrecords.tenancy.jobs import Job


class Import(Job):
    """One sheet of rows of one kind. The rows of a turn and how far it went are written together."""

    class State(models.TextChoices):
        WAITING = "waiting"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"

    kind = models.CharField(max_length=40)
    file_name = models.CharField(max_length=200, blank=True, default="")
    content = models.TextField()
    options = models.JSONField(default=dict)
    state = models.CharField(max_length=7, choices=State, default=State.WAITING)
    rows = models.IntegerField(default=0)
    rows_done = models.IntegerField(default=0)
    created = models.IntegerField(default=0)
    duplicates = models.IntegerField(default=0)
    # [{row, errors: [{pointer, code, detail}], held}]: the cells themselves stand in the content.
    refused = models.JSONField(default=list)

    class Meta:
        indexes = [
            models.Index(fields=["organization", "-created_at", "id"], name="import_listed"),
            models.Index(fields=["run_after"], name="import_open", condition=Q(state__in=["waiting", "running"])),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.file_name} {self.created_at:%Y-%m-%d %H:%M}"
