"""Admin for the operator of the service: derived figures, to look at."""

from django.contrib import admin

from dryrecords.core.read_only_admin import ReadOnlyAdmin
from dryrecords.season.models import BatchResult, SiteSeason


@admin.register(BatchResult)
class BatchResultAdmin(ReadOnlyAdmin):
    list_display = ("batch_id", "season", "crop", "complete", "fuel_basis", "computed_at")


@admin.register(SiteSeason)
class SiteSeasonAdmin(ReadOnlyAdmin):
    list_display = ("site_id", "season", "batches", "complete_batches", "computed_at")
