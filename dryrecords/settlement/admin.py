"""Admin for the operator of the service: schedules, to look at."""

from django.contrib import admin

from dryrecords.core.read_only_admin import ReadOnlyAdmin
from dryrecords.settlement.models import Schedule


@admin.register(Schedule)
class ScheduleAdmin(ReadOnlyAdmin):
    list_display = ("effective_from", "effective_to", "buyer", "crop", "disposition", "jurisdiction", "organization")
    list_select_related = True
