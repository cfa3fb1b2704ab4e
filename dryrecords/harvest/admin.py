"""Admin for the operator of the service: what happened, to look at."""

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from dryrecords.core.read_only_admin import ReadOnlyAdmin
from dryrecords.harvest.models import (
    Batch,
    FuelDelivery,
    FuelReading,
    Import,
    Lot,
    PowerReading,
    Price,
    Reading,
    Sample,
    Setting,
    Ticket,
)


@admin.register(Lot)
class LotAdmin(ReadOnlyAdmin):
    list_display = ("name", "crop", "season", "customer", "organization")
    list_select_related = True


@admin.register(Batch)
class BatchAdmin(ReadOnlyAdmin):
    list_display = ("started_at", "crop", "season", "dryer", "lot", "organization")
    list_select_related = True


@admin.register(Reading)
class ReadingAdmin(ReadOnlyAdmin):
    list_display = ("at", "batch", "plenum_temp_c", "grain_temp_c", "organization")
    list_select_related = True


@admin.register(Sample)
class SampleAdmin(ReadOnlyAdmin):
    list_display = ("taken_at", "stage", "moisture_pct", "batch", "bin", "organization")
    list_select_related = True


@admin.register(Ticket)
class TicketAdmin(ReadOnlyAdmin):
    list_display = ("delivered_at", "number", "buyer", "crop", "gross_lb", "tare_lb", "moisture_pct", "organization")
    list_select_related = True


@admin.register(FuelReading)
class FuelReadingAdmin(ReadOnlyAdmin):
    list_display = ("at", "tank", "gauge_pct", "organization")
    list_select_related = True


@admin.register(FuelDelivery)
class FuelDeliveryAdmin(ReadOnlyAdmin):
    list_display = ("at", "tank", "volume_m3", "organization")
    list_select_related = True


@admin.register(PowerReading)
class PowerReadingAdmin(ReadOnlyAdmin):
    list_display = ("at", "dryer", "site", "meter_kwh", "organization")
    list_select_related = True


@admin.register(Price)
class PriceAdmin(ReadOnlyAdmin):
    list_display = ("effective_from", "kind", "crop", "unit_price_usd", "organization")
    list_select_related = True


@admin.register(Setting)
class SettingAdmin(ReadOnlyAdmin):
    list_display = ("effective_from", "customer", "crop", "handling_pct", "base_moisture_pct", "organization")
    list_select_related = True


@admin.register(Import)
class ImportAdmin(ReadOnlyAdmin):
    list_display = ("created_at", "kind", "file_name", "state", "rows_done", "rows", "actor", "organization")
    list_filter = ("state",)
    list_select_related = True
    exclude = ("content",)

    def get_queryset(self, request: HttpRequest) -> QuerySet[Import]:
        return super().get_queryset(request).defer("content", "refused")
