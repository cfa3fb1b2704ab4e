"""Admin for the operator of the service: organizations, who may sign in, tokens."""

from __future__ import annotations

from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

from dryrecords.core.read_only_admin import ReadOnlyAdmin
from dryrecords.tenancy.models import Customer, Membership, Organization, Site, Token
from dryrecords.tenancy.services import token_revoke

admin.site.site_header = "dryrecords: for the operator of the service"


@admin.register(Organization)
class OrganizationAdmin(admin.ModelAdmin):
    list_display = ("name", "currency", "created_at")
    search_fields = ("name",)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


@admin.register(Membership)
class MembershipAdmin(admin.ModelAdmin):
    list_display = ("user", "organization", "role", "customer")
    list_filter = ("role",)
    autocomplete_fields = ("organization",)
    raw_id_fields = ("user", "customer")


@admin.register(Token)
class TokenAdmin(ReadOnlyAdmin):
    list_display = ("device", "organization", "role", "issued_at", "last_used_at", "valid_until", "revoked_at")
    list_filter = ("role",)
    search_fields = ("device", "organization__name")
    exclude = ("digest",)
    actions = ("revoke",)

    @admin.action(description="Revoke: the device is locked out at once", permissions=["view"])
    def revoke(self, request: HttpRequest, queryset: QuerySet[Token]) -> None:
        for token in queryset.filter(revoked_at__isnull=True):
            token_revoke(token.pk)


@admin.register(Customer)
class CustomerAdmin(ReadOnlyAdmin):
    list_display = ("name", "reference", "organization", "updated_at")
    search_fields = ("name", "organization__name")


@admin.register(Site)
class SiteAdmin(ReadOnlyAdmin):
    list_display = ("name", "customer", "timezone", "organization", "updated_at")
    search_fields = ("name", "organization__name")
