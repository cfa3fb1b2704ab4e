"""Admin for the operator of the service: equipment, to look at."""

from django.contrib import admin

from dryrecords.core.read_only_admin import ReadOnlyAdmin
from dryrecords.equipment.models import Bin, Dryer, Meter, Tank


@admin.register(Tank)
class TankAdmin(ReadOnlyAdmin):
    list_display = ("name", "fuel", "site", "organization")
    list_select_related = True


@admin.register(Dryer)
class DryerAdmin(ReadOnlyAdmin):
    list_display = ("name", "type", "site", "tank", "organization")
    list_select_related = True


@admin.register(Bin)
class BinAdmin(ReadOnlyAdmin):
    list_display = ("name", "site", "bottom", "organization")
    list_select_related = True


@admin.register(Meter)
class MeterAdmin(ReadOnlyAdmin):
    list_display = ("name", "serial_number", "standard_uncertainty_pct", "organization")
    list_select_related = True
