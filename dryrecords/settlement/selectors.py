"""Which schedule is in force, what it makes of a load, and what drying that load first would bring."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

from dryrecords.core import clock
from dryrecords.core.decimals import from_float
from dryrecords.core.errors import FieldError
from dryrecords.core.quantities import GALLON_M3
from dryrecords.grain.crops import CROPS
from dryrecords.grain.energy import DEFAULT_ELECTRICITY_USE, DEFAULT_PROPANE_USE
from dryrecords.harvest.models import Price
from dryrecords.season.in_force import settings_in_force
from dryrecords.settlement.models import Schedule
from dryrecords.settlement.rules import Load, LoadInvalid, Rules, Settlement, rules_of, settle
from dryrecords.settlement.wet_or_dry import OwnDrying, WetOrDry, wet_or_dry
from dryrecords.tenancy.access import Access

_THOUSANDTH, _MILLIONTH = Decimal("0.001"), Decimal("0.000001")
_OWN = {each.name for each in fields(OwnDrying)}
_USE = {
    "gas_gal_per_point_bu": (DEFAULT_PROPANE_USE.value / GALLON_M3, DEFAULT_PROPANE_USE.source),
    "electricity_kwh_per_point_bu": (DEFAULT_ELECTRICITY_USE.value, DEFAULT_ELECTRICITY_USE.source),
}
_PRICES = {"gas_usd_gal": (Price.Kind.PROPANE, "propane"), "electricity_usd_kwh": (Price.Kind.ELECTRICITY, "power")}


@dataclass(frozen=True)
class Quote:
    """A load by a schedule; beside it, where that can be told, what drying it first would bring."""

    load: Load
    settlement: Settlement
    comparison: WetOrDry | None
    own: OwnDrying | None
    # What the comparison takes for granted, or why there is none.
    assumed: list[str]


def bushel_lb(crop: str) -> Decimal:
    """The legal bushel, exactly."""
    return from_float(CROPS[crop].bushel_lb, _THOUSANDTH)


def schedules_in_force(access: Access, crop: str, moment: datetime) -> list[Schedule]:
    """By buyer; of one buyer the one for any grain, or for grain sold before that for grain stored."""
    found = Schedule.objects.visible_to(access).filter(Schedule.in_force(moment), crop=crop)
    return list(found.order_by("buyer", "disposition"))


def quote(
    access: Access,
    schedule: Schedule,
    *,
    gross_lb: Decimal,
    tare_lb: Decimal,
    moisture_pct: Decimal,
    price_usd_bu: Decimal | None,
    drying: Mapping[str, Decimal] | None = None,
) -> Quote:
    """`drying` is what is known of drying at home; whatever it leaves out is taken from the records, or assumed."""
    rules = rules_of(schedule.rules)
    load = Load(gross_lb, tare_lb, moisture_pct, price_usd_bu, bushel_lb(schedule.crop))
    settled = settle(rules, load)
    own, assumed = _own_drying(access.organization_id, schedule.crop, rules, drying or {})
    if own is None:
        return Quote(load, settled, None, None, assumed)
    try:
        return Quote(load, settled, wet_or_dry(rules, load, own), own, assumed)
    except LoadInvalid as refusal:
        if drying is not None:
            raise LoadInvalid(errors=[_within_drying(each) for each in refusal.errors]) from refusal
        # Nobody asked for it: the load is as dry as that, or has no price.
        return Quote(load, settled, None, None, [each.detail for each in refusal.errors])


def _within_drying(error: FieldError) -> FieldError:
    name = error.pointer.removeprefix("/")
    return FieldError(f"/drying/{name}" if name in _OWN else error.pointer, error.code, error.detail)


def _own_drying(
    organization_id: UUID, crop: str, rules: Rules, given: Mapping[str, Decimal]
) -> tuple[OwnDrying | None, list[str]]:
    known: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    assumed = []
    if "target_moisture_pct" not in known:
        known["target_moisture_pct"] = rules.base_moisture_pct
        assumed.append(f"Dried to the schedule's base, {rules.base_moisture_pct} %.")
    for name, (use, source) in _USE.items():
        if name not in known:
            known[name] = from_float(use, _MILLIONTH)
            assumed.append(f"Use for each point and wet bushel, {source}.")
    for name, (kind, what) in _PRICES.items():
        if name not in known and known[_USE_OF[name]]:
            price = _price(organization_id, kind)
            if price is None:
                return None, [f"Drying first is not compared: no price of {what} is recorded. Say drying.{name}."]
            known[name] = price
            assumed.append(f"The recorded price of {what}, {price.normalize():f}.")
    if "handling_pct" not in known:
        known["handling_pct"] = _handling_pct(organization_id, crop)
        assumed.append(f"Handling takes {known['handling_pct'].normalize():f} %, as the settings have it.")
    return OwnDrying(**{"gas_usd_gal": Decimal(0), **known}), assumed


_USE_OF = {"gas_usd_gal": "gas_gal_per_point_bu", "electricity_usd_kwh": "electricity_kwh_per_point_bu"}


def _price(organization_id: UUID, kind: str) -> Decimal | None:
    """In force for all sites: a load at the scale is of none."""
    listed = Price.objects.filter(
        organization_id=organization_id,
        deleted_at__isnull=True,
        kind=kind,
        site__isnull=True,
        effective_from__lte=clock.now(),
    )
    return listed.order_by("-effective_from").values_list("unit_price_usd", flat=True).first()


def _handling_pct(organization_id: UUID, crop: str) -> Decimal:
    found = settings_in_force(organization_id)["handling_pct"].at(clock.now(), [(None, crop), (None, "")])
    return from_float(found or 0.0, Decimal("0.0001"))
