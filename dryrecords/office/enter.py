"""What can be entered, and where: open batches first, then the equipment of every site."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter
from typing import Any

from django.http import HttpRequest, HttpResponse

from dryrecords.core.errors import Forbidden
from dryrecords.equipment.models import Bin, Dryer, Tank
from dryrecords.harvest.models import Batch
from dryrecords.office import selectors, written
from dryrecords.office.kinds import KINDS
from dryrecords.office.pages import Page
from dryrecords.tenancy.models import Customer, Site

MOST_OPEN = 12
MOST_CUSTOMERS = 300


@dataclass(frozen=True)
class OpenBatch:
    batch: Batch
    since: str


@dataclass(frozen=True)
class Yard:
    """What stands at a site."""

    site: Site
    dryers: list[Dryer]
    tanks: list[Tank]
    bins: list[Bin]


class EnterPage(Page):
    def get(self, request: HttpRequest) -> HttpResponse:
        if not self.desk.may_record:
            raise Forbidden(f"The role {self.access.role} reads; it records nothing.")
        drying = selectors.batches_drying(self.access)[:MOST_OPEN]
        return self.show(
            "office/enter.html",
            way="enter",
            drying=[OpenBatch(batch, written.moment(batch.started_at, batch.dryer.site.timezone)) for batch in drying],
            yards=self._yards(),
            customers=Customer.objects.visible_to(self.access).order_by("name")[:MOST_CUSTOMERS],
            office={name for name in KINDS if self.access.may_write(name)},
        )

    def _yards(self) -> list[Yard]:
        held = [self._at_sites(model) for model in (Dryer, Tank, Bin)]
        return [Yard(site, *(of.get(site.pk, []) for of in held)) for site in selectors.sites_visible(self.access)]

    def _at_sites(self, model: Any) -> dict[Any, list[Any]]:
        found = model.objects.visible_to(self.access).order_by("site_id", "name", "id")
        return {site_id: list(each) for site_id, each in groupby(found, key=attrgetter("site_id"))}
