"""One tank: its account of a season, reading by reading and batch by batch, and whether its vapour is enough."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from django.http import HttpRequest, HttpResponse

from dryrecords.core.quantities import UNITS
from dryrecords.equipment.models import Tank
from dryrecords.office import selectors, written
from dryrecords.office.batch import BASES
from dryrecords.office.chart import Charts
from dryrecords.office.figures import Line
from dryrecords.office.pages import Page
from dryrecords.office.tank_charts import account_chart, shares_chart
from dryrecords.office.vapour import VapourForm, vapour_lines
from dryrecords.season import cautions
from dryrecords.season.account_keys import TANK
from dryrecords.season.account_views import ACCOUNT_ASSUMED, AccountView, account_of, account_seasons, newest_of
from dryrecords.season.findings import words_of
from dryrecords.season.tank_state import vaporisation_of

# More stand in the table of the drawing and in the CSV.
INTERVALS_SHOWN = 10
BATCHES_SHOWN = 25
# Standard uncertainties.
NOISE_U = 2.0
UNIT_NAMES = {"m3": "gal", "j": "therm"}
PARTS = {
    "allocated": "Burnt by batches",
    "other": "Taken by the site besides",
    "found": "Set aside by what is found below",
    "unallocated": "No batch was there for it",
}


@dataclass(frozen=True)
class Share:
    """One batch's part of the season or of an interval; `name` is empty where it is not for these eyes."""

    batch_id: str
    name: str
    dryer: str
    expected: str
    got: str
    basis: str = ""


@dataclass(frozen=True)
class Interval:
    span: str
    drawn: str
    parts: str
    shares: list[Share]


@dataclass(frozen=True)
class Finding:
    what: str
    when: str
    causes: tuple[str, ...]


class TankPage(Page):
    def get(self, request: HttpRequest, id: UUID, season: int | None = None) -> HttpResponse:
        tank = selectors.tank_with_site(self.access, id)
        seasons = account_seasons(self.access, TANK, tank.pk)
        view = account_of(self.access, TANK, tank, season or newest_of(seasons), with_names=True)
        told = _Told(view, tank.site.timezone)
        charts = Charts([account_chart(view, told.unit, told.zone), shares_chart(view, told.unit, told.zone)])
        if (numbers := charts.as_csv(request)) is not None:
            return numbers
        form = VapourForm(request.GET if "air_temp_f" in request.GET else None)
        vapour = vaporisation_of(self.access, tank, **(form.given() if form.is_bound and form.is_valid() else {}))
        shares = told.shares()
        return self.show(
            "office/tank.html",
            way="board",
            tank=tank,
            zone=told.zone,
            standing=_standing(tank),
            # Of a site that is another customer's nothing is named.
            dryers=[each for each in vapour.dryers if self.access.customer_id is None or each.site_id == tank.site_id],
            season=view.season,
            seasons=[each for each in seasons if each != view.season],
            view=view,
            drawn=told.amount(view.totals["drawn"]),
            totals=told.totals(),
            findings=told.findings(),
            refused=[written.moment(datetime.fromisoformat(at), told.zone) for at in view.figures.get("refused", [])],
            intervals=told.intervals(),
            intervals_in_all=len(view.figures.get("intervals", [])),
            shares=shares[:BATCHES_SHOWN],
            shares_in_all=len(shares),
            charts=charts,
            assumed=ACCOUNT_ASSUMED,
            form=form,
            vapour=vapour_lines(vapour, told.zone),
            cautions=cautions.FUEL,
        )


def _standing(tank: Tank) -> str:
    kind = "gas meter" if tank.fuel == "natural_gas" else f"{written.named(tank.fuel)} tank"
    size = f" of {written.quantity(tank.capacity_m3, 'gal')}" if tank.capacity_m3 else ""
    return f"{kind}{size}".capitalize()


def _tells(row: dict[str, Any]) -> bool:
    """Is there more to it than what a gauge reads in a tank that nobody draws from?"""
    is_noise = abs(row["unallocated"]) <= NOISE_U * row["drawn_u"]
    return bool(row["batches"] or row["delivered"] or row["found"] or row["other"] or not is_noise)


class _Told:
    """An account in words, in its unit and at the site's hours."""

    def __init__(self, view: AccountView, zone: str) -> None:
        self.view, self.names, self.zone = view, view.names, zone
        self.unit = UNIT_NAMES[view.figures.get("unit", "m3")]

    def amount(self, value: float | None, u: float | None = None) -> str:
        return written.quantity(value, self.unit, 0, u)

    def span(self, row: dict[str, Any]) -> str:
        first, last = (datetime.fromisoformat(row[name]) for name in ("from", "to"))
        same_day = written.day(first, self.zone) == written.day(last, self.zone)
        end = written.clock(last, self.zone) if same_day else written.moment(last, self.zone)
        return f"{written.moment(first, self.zone)} to {end}"

    def totals(self) -> list[Line]:
        """Rounded so that what is written adds up to what is written as drawn."""
        parts = [UNITS[self.unit].from_si(self.view.totals[name]) for name in PARTS]
        whole = np.diff(np.round(np.cumsum([0.0, *parts]))).tolist()
        return [
            Line(label, f"{written.number(value)} {written.sign(self.unit)}")
            for label, value in zip(PARTS.values(), whole, strict=True)
        ]

    def findings(self) -> list[Finding]:
        return [self._finding(row) for row in self.view.figures.get("findings", [])]

    def _finding(self, row: dict[str, Any]) -> Finding:
        words = words_of(row["kind"], True)
        size = self.amount(abs(row["size"]), row["size_u"])
        sure = f"{written.number(row['beyond_u'], 1)} times its uncertainty"
        if row["reading"] is None:
            return Finding(words.what, f"{self.span(row)}: {size}, {sure}.", words.causes)
        off = row["reading_off"]
        way = "high" if off > 0 else "low"
        at = written.moment(datetime.fromisoformat(row["reading"]), self.zone)
        return Finding(words.what, f"The reading of {at}: {size} too {way}, {sure}.", words.causes)

    def intervals(self) -> list[Interval]:
        """The newest in which something happened, newest first."""
        rows = [row for row in self.view.figures.get("intervals", []) if _tells(row)][-INTERVALS_SHOWN:][::-1]
        return [
            Interval(
                span=self.span(row),
                drawn=self._drawn(row),
                parts="; ".join(self._parts(row)),
                shares=[self._share(batch, amount) for batch, _, amount in row["batches"]],
            )
            for row in rows
        ]

    def _drawn(self, row: dict[str, Any]) -> str:
        """To whole units, as its parts are, so that they add up to it within rounding."""
        value, u = (UNITS[self.unit].from_si(row[name]) for name in ("drawn", "drawn_u"))
        told = written.number(max(u, 1.0), min(written.place(u), 0))
        return f"{written.number(value)} ± {told} {written.sign(self.unit)}"

    def _parts(self, row: dict[str, Any]) -> list[str]:
        words = {
            "delivered": "{} delivered meanwhile",
            "other": "{} taken by the site besides",
            "found": "{} set aside",
            "unallocated": "{} of no batch",
        }
        half = UNITS[self.unit].to_si(0.5)
        return [said.format(self.amount(row[name])) for name, said in words.items() if abs(row[name]) >= half]

    def _share(self, batch: str | None, amount: float) -> Share:
        name = self.names.get(batch or "")
        began = written.moment(name.started_at, self.zone) if name else ""
        return Share(batch or "" if name else "", began, name.dryer if name else "", "", self.amount(amount))

    def shares(self) -> list[Share]:
        """Newest first."""
        rows = [row for row in self.view.figures.get("batches", []) if row["batch"] in self.names]
        rows.sort(key=lambda row: (self.names[row["batch"]].started_at, row["batch"]), reverse=True)
        return [self._whole_share(row) for row in rows]

    def _whole_share(self, row: dict[str, Any]) -> Share:
        name = self.names[row["batch"]]
        return Share(
            batch_id=row["batch"],
            name=written.moment(name.started_at, self.zone),
            dryer=name.dryer,
            expected=self.amount(row["expected"]),
            got=self.amount(row["amount"], row["amount_u"]),
            basis=BASES[row["basis"]] if row["whole"] else "only in part between readings",
        )
