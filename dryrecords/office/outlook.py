"""What is left of a site's harvest: the question, and hours, fuel and the day a tank runs low as the answer."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django import forms
from django.http import HttpRequest, HttpResponse

from dryrecords.core.errors import Invalid
from dryrecords.core.quantities import UNITS
from dryrecords.harvest.models import HIGHEST_MOISTURE_PCT, Crop
from dryrecords.office import written
from dryrecords.office.advice import number
from dryrecords.office.figures import Line
from dryrecords.office.pages import Page
from dryrecords.season import cautions
from dryrecords.season.outlook import LOW_PCT, Outlook, Range, Remaining, TankPart, site_of, site_outlook
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.models import Site

MOST_BU = 1e8
# What stands in the form before anything is asked.
USUAL = {"crop": Crop.CORN.value}
# A range is known to so many digits at most.
DIGITS = 2


class OutlookForm(forms.Form):
    """By GET: an address that can be kept."""

    wet_bu = number("Still wet, bushels", 1, MOST_BU, needed=True)
    moisture_in_pct = number("Moisture of them, %", 1, HIGHEST_MOISTURE_PCT, needed=True)
    crop = forms.ChoiceField(label="Crop", choices=[(value, label.lower()) for value, label in Crop.choices])
    hours_per_day = number("Hours a day that dryers run", 0.5, 24)

    def remaining(self) -> Remaining:
        given = self.cleaned_data
        return Remaining(
            crop=given["crop"],
            wet_bu=given["wet_bu"],
            moisture_in_pct=given["moisture_in_pct"],
            hours_per_day=given["hours_per_day"] or 24.0,
        )


@dataclass(frozen=True)
class TankLine:
    tank_id: str
    name: str
    needs: str
    is_gas: bool
    has: str
    low: str


@dataclass(frozen=True)
class OutlookLines:
    hours: str
    lines: list[Line]
    dryers: list[Line]
    tanks: list[TankLine]
    lacks: str
    assumed: list[str]
    cautions: tuple[str, ...]


class OutlookPage(Page):
    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        site = site_of(self.access, id)
        form = OutlookForm(request.GET if "wet_bu" in request.GET else None, initial=USUAL)
        ahead, refused = _answered(self.access, site, form)
        return self.show("office/outlook.html", way="board", site=site, form=form, ahead=ahead, refused=refused)


def _answered(access: Access, site: Site, form: OutlookForm) -> tuple[OutlookLines | None, str]:
    """The answer, or what there was to say against giving one."""
    if not form.is_bound or not form.is_valid():
        return None, ""
    try:
        return _lines(site_outlook(access, site.pk, form.remaining()), site.timezone), ""
    except Invalid as error:
        return None, error.detail


def _lines(of: Outlook, zone: str) -> OutlookLines:
    lines = [
        Line("Days", _range(of.days, "", 1)),
        Line("Water to take out", written.quantity(of.water_kg, "lb", -2)),
        Line("Down to", written.percent(of.target_moisture_pct)),
    ]
    return OutlookLines(
        hours=_range(of.hours, "hours"),
        lines=[line for line in lines if line.text],
        dryers=[Line(part.dryer.name, f"{_rounded(part.bu_per_h)} wet bu/h") for part in of.dryers],
        tanks=[_tank(part, zone) for part in of.tanks],
        lacks=", ".join(of.missing),
        assumed=[f"{each.rstrip('.')}." for each in of.assumed],
        cautions=cautions.OUTLOOK,
    )


def _rounded(value: float, digits: int = 0) -> str:
    """Two digits; more would say more than is known."""
    return written.number(value, min(DIGITS - len(f"{abs(value):.0f}"), digits))


def _range(of: Range | None, unit: str, digits: int = 0) -> str:
    if of is None:
        return ""
    likely, low, high = (_rounded(value, digits) for value in of)
    return f"about {f'{likely} {unit}'.strip()} ({low} to {high})"


def _tank(part: TankPart, zone: str) -> TankLine:
    unit = "therm" if part.tank.fuel == "natural_gas" else "gal"
    likely, low, high = (UNITS[unit].from_si(value) for value in part.fuel)
    return TankLine(
        tank_id=str(part.tank.pk),
        name=part.tank.name,
        needs=_range((likely, low, high), written.sign(unit)),
        is_gas=unit == "therm",
        has=_has(part, zone),
        low=_low(part, zone),
    )


def _has(part: TankPart, zone: str) -> str:
    if part.level is None:
        return ""
    then = f"{written.quantity(part.level.volume_m3, 'gal')} on {written.day(part.level.at, zone)}"
    since = part.level.delivered_m3
    return f"{then}, {written.quantity(since, 'gal')} delivered since" if since else then


def _low(part: TankPart, zone: str) -> str:
    if part.level is None or not part.tank.capacity_m3:
        return ""
    below = f"{LOW_PCT:.0f} %"
    if part.low_at:
        told = f"is down to {below} on about {_day(part, zone)}"
    elif part.low_earliest_at:
        told = f"may come down to {below} by {written.day(part.low_earliest_at, zone)}, but likely not before the end"
    else:
        told = f"stays above {below} to the end"
    return f"If drying goes on from then, it {told}."


def _day(part: TankPart, zone: str) -> str:
    likely, earliest, latest = (
        written.day(each, zone) for each in (part.low_at, part.low_earliest_at, part.low_latest_at)
    )
    if latest == written.NOTHING:
        return f"{likely} ({earliest} at the earliest)"
    return likely if earliest == latest else f"{likely} ({earliest} to {latest})"
