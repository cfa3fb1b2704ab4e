"""Batches of a season, newest first, a page at a time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.http import HttpRequest, HttpResponse

from dryrecords.harvest.models import Batch, Crop
from dryrecords.office import figures, selectors, written
from dryrecords.office.asked import asked, year
from dryrecords.office.pages import Page
from dryrecords.office.selectors import BatchFilter
from dryrecords.season.models import BatchResult

LACKS = {
    "moisture_in_pct": "moisture in",
    "moisture_out_pct": "moisture out",
    "wet_mass_lb": "mass",
    "drying_ended_at": "end of drying",
    "dryer.diameter_ft": "the dryer's size",
}


@dataclass(frozen=True)
class BatchLine:
    batch: Batch
    began: str
    grain: str
    below_base: str
    lost: str
    lacks: str
    is_known: bool


class BatchListPage(Page):
    def get(self, request: HttpRequest) -> HttpResponse:
        chosen = asked(request, READERS)
        seasons = selectors.seasons_known(self.access)
        wanted = BatchFilter(
            season=chosen.get("season") or seasons[0],
            site_id=chosen.get("site"),
            dryer_id=chosen.get("dryer"),
            crop=chosen.get("crop", ""),
            lacking=bool(chosen.get("lacking")),
            older=chosen.get("older"),
        )
        page = selectors.batch_page(self.access, wanted)
        return self.show(
            "office/batches.html",
            way="batches",
            wanted=wanted,
            seasons=sorted({wanted.season, *seasons}, reverse=True),
            sites=selectors.sites_visible(self.access),
            dryer=page.dryer,
            crops=Crop.choices,
            lines=[batch_line(batch, page.results.get(batch.pk), self.desk.currency) for batch in page.batches],
            older=_older(chosen, page.batches) if page.has_more else "",
            newest=_link(chosen) if wanted.older else "",
        )


def batch_line(batch: Batch, result: BatchResult | None, currency: str) -> BatchLine:
    values: dict[str, Any] = vars(result) if result else {}
    return BatchLine(
        batch=batch,
        began=written.moment(batch.started_at, batch.dryer.site.timezone),
        grain=_grain(values),
        below_base=figures.told(values, "over_drying_points"),
        lost=figures.told(values, "over_drying_total_usd", currency) if result and result.complete else "",
        lacks=lacks(result.missing) if result else "",
        is_known=result is not None,
    )


def _grain(values: dict[str, Any]) -> str:
    """As far as it is known: how much, and from what to what."""
    moist = [values.get(name) for name in ("moisture_in_pct", "moisture_out_pct")]
    known = [written.number(each, 1) for each in moist if each is not None]
    parts = [figures.told({"wet_bu": values.get("wet_bu")}, "wet_bu"), f"{' to '.join(known)} %" if known else ""]
    return ", ".join(part for part in parts if part not in ("", written.NOTHING))


def lacks(missing: list[str]) -> str:
    return ", ".join(LACKS.get(name, written.named(name)) for name in missing)


def _place(text: str) -> tuple[datetime, UUID]:
    at, _, batch_id = text.partition("~")
    moment = datetime.fromisoformat(at)
    if moment.tzinfo is None:
        raise ValueError
    return moment, UUID(batch_id)


READERS: dict[str, Any] = {
    "season": year,
    "site": UUID,
    "dryer": UUID,
    "crop": Crop,
    "lacking": str,
    "older": _place,
}


def _older(chosen: dict[str, Any], batches: list[Batch]) -> str:
    last = batches[-1]
    return _link(chosen, older=f"{last.started_at.isoformat()}~{last.pk}")


def _link(chosen: dict[str, Any], **more: str) -> str:
    kept = {name: str(value) for name, value in chosen.items() if name != "older" and value}
    return f"?{urlencode(kept | more)}"
