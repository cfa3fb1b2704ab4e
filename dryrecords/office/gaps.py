"""What is missing or looks wrong in a season's records, and the form that mends it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from dryrecords.harvest.models import Batch, Price, Sample
from dryrecords.journal import kinds
from dryrecords.journal.models import StaleMark
from dryrecords.office import selectors, written
from dryrecords.office.asked import asked, year
from dryrecords.office.batch_list import LACKS
from dryrecords.office.pages import Page
from dryrecords.season.models import BatchResult
from dryrecords.tenancy.access import Access

MOST_SHOWN = 30
PRICE = "prices."
# Which samples would fill the gap.
STAGE_OF = {"moisture_in_pct": "wet", "moisture_out_pct": "cooled"}
# What looks wrong, by where it is put right: on the batch itself unless it stands here.
OF_SAMPLES = {"moisture_implausible", "late_sample", "early_sample", "wetter_out_than_in"}
OF_FUEL = {
    "readings_cover_other_batches",
    "readings_far_apart",
    "reading_above_capacity",
    "tank_rose_without_delivery",
    "fuel_readings_differ_in_kind",
    "energy_implausible",
}
SORTS = {
    "lacking": "Figures lack something",
    "odd": "Looks like a slip",
    "unmetered": "Samples without a meter",
    "failed": "Could not be worked out",
}


@dataclass(frozen=True)
class Gap:
    """What there is to see to, and where; no address where nothing can be entered."""

    text: str
    to: str
    doing: str


@dataclass(frozen=True)
class GapLine:
    batch: Batch
    began: str
    gaps: list[Gap]


class GapsPage(Page):
    def get(self, request: HttpRequest) -> HttpResponse:
        seasons = selectors.seasons_known(self.access)
        chosen = asked(request, {"season": year, "of": _sort})
        season = chosen.get("season") or seasons[0]
        found = _Found(self.access, season)
        counts = found.counts()
        sort = chosen.get("of", "")
        batches = found.batches(sort)
        shown = batches[:MOST_SHOWN]
        results = BatchResult.objects.in_bulk([batch.pk for batch in shown])
        unmetered = found.unmetered_of(shown)
        return self.show(
            "office/gaps.html",
            way="gaps",
            season=season,
            seasons=sorted({season, *seasons}, reverse=True),
            sorts=[(name, title, counts[name]) for name, title in SORTS.items()],
            sort=sort,
            lines=[self._line(batch, results.get(batch.pk), unmetered, found.errors) for batch in shown],
            is_cut=len(batches) > MOST_SHOWN,
            most=MOST_SHOWN,
            prices=self._prices(found.prices()),
            waiting=found.waiting,
            held=selectors.held_waiting(self.access),
        )

    def _line(
        self, batch: Batch, result: BatchResult | None, unmetered: Mapping[UUID, list[UUID]], errors: Mapping[UUID, str]
    ) -> GapLine:
        gaps = [Gap(f"It could not be worked out: {errors[batch.pk]}", "", "")] if batch.pk in errors else []
        if result is not None:
            gaps += [_missing(batch, name) for name in result.missing if not name.startswith(PRICE)]
            gaps += [_odd(batch, each) for each in result.warnings]
        gaps += [
            Gap("A sample does not say which meter tested it", _to("correct-samples", sample_id), "Say which")
            for sample_id in unmetered.get(batch.pk, [])
        ]
        if not self.desk.may_record:
            gaps = [Gap(gap.text, "", "") for gap in gaps]
        return GapLine(batch, written.moment(batch.started_at, batch.dryer.site.timezone), gaps)

    def _prices(self, names: Sequence[str]) -> list[Gap]:
        may = self.access.may_write("prices")
        return [
            Gap(
                f"There is no price of {written.named(kind)} for some batches", _to("new-prices", kind=kind), "Enter it"
            )
            if may
            else Gap(f"There is no price of {written.named(kind)} for some batches", "", "")
            for kind in names
        ]


class _Found:
    """Batches of a season with something to be seen to."""

    def __init__(self, access: Access, season: int) -> None:
        self.access, self.season = access, season
        marks = StaleMark.objects.filter(
            organization_id=access.organization_id, kind=kinds.BATCH, wanted__gt=F("done")
        ).values_list("key", "last_error")[: 10 * MOST_SHOWN]
        mine = self._visible().filter(pk__in=[UUID(key) for key, _ in marks]).values_list("pk", flat=True)
        errors = {UUID(key): error for key, error in marks}
        self.errors = {pk: errors[pk] for pk in mine if errors[pk]}
        self.waiting = len(mine) - len(self.errors)

    def _visible(self) -> QuerySet[Any]:
        return Batch.objects.visible_to(self.access).filter(season=self.season)

    def _results(self) -> QuerySet[BatchResult]:
        return BatchResult.objects.filter(organization_id=self.access.organization_id, season=self.season)

    def _condition(self, sort: str) -> Q:
        if sort == "lacking":
            return Q(pk__in=self._results().filter(complete=False).values("batch_id"))
        if sort == "odd":
            return Q(pk__in=self._results().exclude(warnings=[]).values("batch_id"))
        if sort == "unmetered":
            return Q(Exists(self._unmetered().filter(batch=OuterRef("pk"))))
        return Q(pk__in=list(self.errors))

    def _unmetered(self) -> QuerySet[Any]:
        return Sample.objects.visible_to(self.access).filter(meter__isnull=True)

    def batches(self, sort: str) -> list[Batch]:
        wanted = Q()
        for each in [sort] if sort else ("lacking", "odd", "failed"):
            wanted |= self._condition(each)
        rows = self._visible().filter(wanted).select_related("dryer__site", "dryer__tank")
        return list(rows.order_by("-started_at", "pk")[: MOST_SHOWN + 1])

    def counts(self) -> dict[str, int]:
        told = {sort: Count("pk", filter=self._condition(sort)) for sort in SORTS if sort != "failed"}
        return {**self._visible().aggregate(**told), "failed": len(self.errors)}

    def unmetered_of(self, batches: Sequence[Batch]) -> dict[UUID, list[UUID]]:
        found: dict[UUID, list[UUID]] = {}
        rows = self._unmetered().filter(batch_id__in=[batch.pk for batch in batches]).order_by("taken_at", "pk")
        for batch_id, sample_id in rows.values_list("batch_id", "pk"):
            found.setdefault(batch_id, []).append(sample_id)
        return found

    def prices(self) -> list[str]:
        """Kinds of which a price is missing for some batch that is seen."""
        mine = self._results().filter(batch_id__in=self._visible().values("pk"))
        told = {kind: Count("pk", filter=Q(missing__contains=[f"{PRICE}{kind}"])) for kind in Price.Kind.values}
        return [kind for kind, count in mine.aggregate(**told).items() if count]


def _missing(batch: Batch, name: str) -> Gap:
    said = LACKS.get(name, written.named(name))
    if name in STAGE_OF:
        stage = STAGE_OF[name]
        return Gap(f"It lacks {said}", _to("new-batches-samples", batch.pk, stage=stage), f"Enter a {stage} sample")
    if name.startswith("dryer."):
        return Gap(f"It lacks {said}", _to("correct-dryers", batch.dryer_id), "Enter it with the dryer")
    return Gap(f"It lacks {said}", _to("correct-batches", batch.pk), "Enter it")


def _odd(batch: Batch, warning: Mapping[str, Any]) -> Gap:
    code, detail = str(warning["code"]), str(warning["detail"])
    if code == "hot_samples_only":
        return Gap(detail, _to("new-batches-samples", batch.pk, stage="cooled"), "Enter a cooled sample")
    if code in OF_SAMPLES:
        return Gap(detail, reverse("office:batch", args=[batch.pk]) + "#samples", "See its samples")
    if code == "tank_capacity_unknown" and batch.dryer.tank_id:
        return Gap(detail, _to("correct-tanks", batch.dryer.tank_id), "Enter it with the tank")
    if code == "fuel_account_finding" and batch.dryer.tank_id:
        return Gap(detail, reverse("office:tank-season", args=[batch.dryer.tank_id, batch.season]), "See the account")
    if code in OF_FUEL and batch.dryer.tank_id:
        return Gap(detail, _to("tanks-fuel-readings", batch.dryer.tank_id), "See the readings")
    if code == "power_count_fell":
        return Gap(detail, _to("dryers-power-readings", batch.dryer_id), "See the counts")
    return Gap(detail, _to("correct-batches", batch.pk), "Look at it")


def _sort(text: str) -> str:
    if text not in SORTS:
        raise ValueError
    return text


def _to(name: str, of: UUID | None = None, **said: str) -> str:
    address = reverse(f"office:{name}", args=[of] if of else [])
    return f"{address}?{urlencode(said)}" if said else address
