"""Where a form is filled in: below which record, by whose clock, and to which page one goes back."""

from __future__ import annotations

from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.urls import reverse

from dryrecords.core import clock
from dryrecords.equipment.models import Bin, Dryer, Tank
from dryrecords.harvest.models import Batch
from dryrecords.office import written
from dryrecords.office.record_form import Kind, Place
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Customer, Site
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import get

PARENTS: dict[str, type[Record]] = {model.resource: model for model in (Customer, Site, Tank, Dryer, Bin, Batch)}
# Pages of their own; what is below the others is listed by kind.
PAGES = {"sites": "site", "dryers": "dryer", "bins": "bin", "batches": "batch"}
UTC_NAME = "UTC"


def place_of(access: Access, parent: Any, record: Any = None) -> Place:
    site = site_of(parent)
    name = site.timezone if site else _only_zone(access)
    season = getattr(record, "season", None) or getattr(parent, "season", None) or clock.season_of(clock.now(), name)
    return Place(access, ZoneInfo(name), site, season, parent, record)


def site_of(parent: Any) -> Site | None:
    if isinstance(parent, Site):
        return parent
    if isinstance(parent, Batch):
        return parent.dryer.site
    return getattr(parent, "site", None)


def _only_zone(access: Access) -> str:
    """Of what belongs to no site: that of the sites, if it is one."""
    zones = set(Site.objects.visible_to(access).values_list("timezone", flat=True))
    return zones.pop() if len(zones) == 1 else UTC_NAME


def parent_of(access: Access, kind: Kind, record: Record) -> Any:
    """What a record is entered below; None where it is the organization's."""
    for resource, column in kind.parents.items():
        parent_id = getattr(record, column) if column else None
        if parent_id is not None:
            return get(access, PARENTS[resource], parent_id)
    return None


def parent_named(access: Access, resource: str, parent_id: UUID | None) -> Any:
    return get(access, PARENTS[resource], parent_id) if parent_id is not None else None


def name_of(parent: Any) -> str:
    if isinstance(parent, Batch):
        zone = parent.dryer.site.timezone
        return f"{parent.get_crop_display().lower()} in {parent.dryer.name}, {written.moment(parent.started_at, zone)}"
    return str(parent) if parent is not None else ""


def way_back(kind: Kind, parent: Any, record: Record | None = None) -> str:
    """Where one sees what was recorded."""
    if record is not None and kind.resource in PAGES:
        return reverse(f"office:{PAGES[kind.resource]}", args=[record.pk])
    if parent is None or isinstance(parent, Customer):
        return reverse("office:enter")
    if kind.resource == "samples":
        return reverse(f"office:{PAGES[parent.resource]}", args=[parent.pk])
    if kind.resource in ("tanks", "batches", "dryers", "bins"):
        return reverse(f"office:{PAGES[parent.resource]}", args=[parent.pk])
    return reverse(f"office:{parent.resource}-{kind.resource}", args=[parent.pk])
