"""Admin for the operator of the service: schedules, rates, statements and audits, to look at."""

from django.contrib import admin

from dryrecords.core.read_only_admin import ReadOnlyAdmin
from dryrecords.settlement.models import Audit, Rate, Schedule, Statement


@admin.register(Schedule)
class ScheduleAdmin(ReadOnlyAdmin):
    list_display = ("effective_from", "effective_to", "buyer", "crop", "disposition", "jurisdiction", "organization")
    list_select_related = True


@admin.register(Rate)
class RateAdmin(ReadOnlyAdmin):
    list_display = ("effective_from", "customer", "crop", "drying_on", "shrink", "organization")
    list_select_related = True


@admin.register(Statement)
class StatementAdmin(ReadOnlyAdmin):
    list_display = ("season", "number", "customer", "issued_at", "total_usd", "corrects", "actor", "organization")
    list_select_related = True


@admin.register(Audit)
class AuditAdmin(ReadOnlyAdmin):
    list_display = ("created_at", "buyer", "crop", "state", "tickets_done", "tickets", "findings", "organization")
    list_filter = ("state",)
    list_select_related = True
    exclude = ("tally",)
