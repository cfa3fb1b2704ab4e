"""Admin for the operator of the service: who changed what, and which figures could not be computed."""

from __future__ import annotations

from django.contrib import admin
from django.db.models import F, QuerySet
from django.http import HttpRequest

from dryrecords.core import clock
from dryrecords.core.read_only_admin import ReadOnlyAdmin
from dryrecords.journal.models import Change, StaleMark
from dryrecords.journal.nudge import nudge


@admin.register(Change)
class ChangeAdmin(ReadOnlyAdmin):
    list_display = ("changed_at", "organization_id", "number", "resource", "operation", "actor", "device")
    list_filter = ("resource", "operation")
    search_fields = ("=record_id", "=request_id")


class FailedFilter(admin.SimpleListFilter):
    title = "state"
    parameter_name = "state"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        return [("open", "waiting"), ("failed", "failed")]

    def queryset(self, request: HttpRequest, queryset: QuerySet[StaleMark]) -> QuerySet[StaleMark]:
        waiting = queryset.filter(wanted__gt=F("done"))
        if self.value() == "failed":
            return waiting.exclude(last_error="")
        return waiting if self.value() == "open" else queryset


@admin.register(StaleMark)
class StaleMarkAdmin(ReadOnlyAdmin):
    list_display = ("kind", "key", "organization_id", "wanted", "done", "attempts", "run_after", "last_error")
    list_filter = (FailedFilter, "kind")
    search_fields = ("=key",)
    actions = ("try_again",)

    @admin.action(description="Try again now", permissions=["view"])
    def try_again(self, request: HttpRequest, queryset: QuerySet[StaleMark]) -> None:
        queryset.update(run_after=clock.now(), attempts=0)
        nudge()
