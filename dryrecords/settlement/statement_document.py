"""The document of a statement, from the facts: every figure that is printed, as text; what is unresolved, by name.

A load is charged only when everything that decides its charge is known and settled. Every other load of the customer's
season stands under `unresolved`, with the reason, and is charged by the statement that corrects this one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from dryrecords.core.decimals import CENT, published
from dryrecords.core.quantities import UNITS
from dryrecords.harvest.models import Batch
from dryrecords.season.models import BatchResult
from dryrecords.season.selectors import BatchResultView
from dryrecords.settlement.rate_model import Rate
from dryrecords.settlement.rate_services import terms_of
from dryrecords.settlement.statement_facts import Facts
from dryrecords.settlement.statement_rules import Line, Load, Totals, line, to_step, totals
from dryrecords.settlement.statement_terms import GAS, digits, fields_of, sentences, with_places
from dryrecords.settlement.terms import ZERO

Document = dict[str, Any]

METHOD = "statement 1"
TENTH = Decimal("0.1")
NEEDED = ("moisture_in_pct", "moisture_out_pct", "wet_bu", "dry_bu", "market_bu")
# Assumptions of a result that a charge or the bushels back may rest on; the others are about fuel.
ASSUMED = {"test_weight_lb_bu", "handling_pct", "base_moisture_pct"}
MISSING = {
    "moisture_in_pct": "moisture of the wet grain",
    "moisture_out_pct": "moisture of the dried grain",
    "wet_mass_lb": "weight",
    "drying_ended_at": "end of drying",
    "dryer.diameter_ft": "the dryer's size",
}
HELD = {"lots": "lot", "batches": "batch", "samples": "sample"}
WORDS = {
    "test_weight_lb_bu": "Test weight not recorded; taken as {} lb a bushel",
    "handling_pct": "Handling loss not set; taken as {} % of the wet weight",
    "base_moisture_pct": "Base moisture not set; taken as {} %",
}

NOTES = (
    "A load is one filling of a dryer; the rate and the price of gas are those in force when its filling began.",
    "Every figure is rounded half up, where it is printed, and what follows rests on the printed figure; amounts are "
    "rounded to the cent for each load, and totals are sums of printed lines.",
    "Fuel and over-drying are estimates from records and are no part of the charges, except where the column "
    "“below base” says how much of a charge is for points below the base.",
)
CAUTION = (
    "Records and estimates. What certified scales and meters show, and what the contract says, goes before anything "
    "printed here. Nothing here is a setting for a dryer or advice on storing grain: follow the equipment's manual, "
    "local codes and licensed practice."
)


@dataclass(frozen=True)
class Charged:
    """A load that could be charged."""

    batch: Batch
    result: BatchResult
    rate: Rate
    gas_usd: Decimal | None
    base: Decimal
    line: Line
    number: int = 0


def document_of(facts: Facts) -> Document:
    """Without what only the issuing gives: number, moment, the statement that it corrects."""
    charged, unresolved = _charged(facts)
    loads = _numbered(charged)
    rates = _lettered(loads)
    return {
        "method": METHOD,
        "issuer": facts.organization.name,
        "currency": facts.organization.currency,
        "customer": {
            "id": str(facts.customer.pk),
            "name": facts.customer.name,
            "reference": facts.customer.reference or None,
        },
        "season": facts.season,
        "rates": [_rate(rate, letter, facts.organization.currency) for rate, letter in rates],
        "lots": [_section(group, dict(rates)) for group in _by_lot(loads)],
        "totals": _all_totals(loads),
        "unresolved": unresolved + _held(facts),
        "doubts": _doubts(loads),
        "notes": list(NOTES),
        "caution": CAUTION,
    }


def _charged(facts: Facts) -> tuple[list[Charged], list[Document]]:
    charged, unresolved = [], []
    for view in facts.batches:
        found = _charge(facts, view)
        if isinstance(found, Charged):
            charged.append(found)
        else:
            unresolved.append(found)
    return charged, unresolved


def _charge(facts: Facts, view: BatchResultView) -> Charged | Document:
    batch, result = view.batch, view.result
    if view.error:
        return _open(view, "failed", "Its figures could not be computed.")
    if result is None or not view.fresh:
        return _open(view, "not_fresh", "Its figures are being computed anew: records were changed.")
    missing = [*(() if result.complete else result.missing)] or [n for n in NEEDED if getattr(result, n) is None]
    if missing:
        told = ", ".join(MISSING.get(name, name) for name in missing)
        return _open(view, "figures_missing", f"Not recorded: {told}.", fields=missing)
    rate = facts.rate_of(batch)
    if rate is None:
        return _open(view, "no_rate", f"No rate for {batch.crop} was in force when it came in.")
    gas_usd = facts.gas_usd(batch, rate.surcharge_fuel) if rate.surcharge_fuel else None
    if rate.surcharge_fuel and gas_usd is None:
        gas = GAS[Rate.Gas(rate.surcharge_fuel)]
        return _open(view, "no_gas_price", f"No price of {gas} was in force, by which the surcharge goes.")
    base = rate.base_moisture_pct if rate.base_moisture_pct is not None else published(result.base_moisture_pct)
    figures = {name: published(getattr(result, name)) for name in NEEDED}
    load = Load(base_moisture_pct=base, gas_usd=gas_usd, **figures)
    return Charged(batch, result, rate, gas_usd, base, line(load, terms_of(rate)))


def _open(view: BatchResultView, code: str, detail: str, **more: Any) -> Document:
    return {"code": code, "detail": detail, "batch": str(view.batch.pk), **_place(view.batch), **more}


def _place(batch: Batch) -> Document:
    local = batch.started_at.astimezone(ZoneInfo(batch.dryer.site.timezone))
    return {
        "at": local.isoformat(timespec="minutes"),
        "crop": batch.crop,
        "site": batch.dryer.site.name,
        "dryer": batch.dryer.name,
    }


def _held(facts: Facts) -> list[Document]:
    own = [
        {
            "code": "held_record",
            "detail": f"A {HELD[held.resource]} that a device brought could not be taken in yet.",
            "held": str(held.mutation_id),
        }
        for held in facts.held
        if held.is_the_customers
    ]
    nobodys = sum(not held.is_the_customers for held in facts.held)
    if not nobodys:
        return own
    detail = f"Devices brought records that could not be taken in yet and may be of this customer: {nobodys}."
    return [*own, {"code": "held_records", "detail": detail, "count": nobodys}]


def _numbered(charged: Sequence[Charged]) -> list[Charged]:
    """By crop and lot, and within by time; numbered in the order in which they are printed."""
    ordered = sorted(charged, key=lambda each: (_lot_key(each), each.batch.started_at, str(each.batch.pk)))
    return [replace(each, number=number) for number, each in enumerate(ordered, start=1)]


def _lot_key(each: Charged) -> tuple[str, bool, str, str]:
    lot = each.batch.lot
    return each.batch.crop, lot is None, lot.name if lot else "", str(each.batch.lot_id)


def _by_lot(loads: Sequence[Charged]) -> list[list[Charged]]:
    groups: dict[Any, list[Charged]] = {}
    for each in loads:
        groups.setdefault(_lot_key(each), []).append(each)
    return list(groups.values())


def _lettered(loads: Sequence[Charged]) -> list[tuple[Rate, str]]:
    """Rates that were used, each once, oldest first."""
    used = {each.rate.pk: each.rate for each in loads}
    ordered = sorted(used.values(), key=lambda rate: (rate.crop, rate.effective_from, str(rate.pk)))
    return [(rate, f"R{number}") for number, rate in enumerate(ordered, start=1)]


def _rate(rate: Rate, letter: str, currency: str) -> Document:
    return {
        "key": letter,
        "id": str(rate.pk),
        "version": rate.version,
        "crop": rate.crop or None,
        "customers_own": rate.customer_id is not None,
        "effective_from": rate.effective_from.date().isoformat(),
        "terms": fields_of(rate),
        "text": sentences(rate, currency),
    }


def _section(loads: Sequence[Charged], rates: dict[Rate, str]) -> Document:
    lot = loads[0].batch.lot
    return {
        "lot": str(lot.pk) if lot else None,
        "name": lot.name if lot else None,
        "crop": loads[0].batch.crop,
        "loads": [_load(each, rates[each.rate]) for each in loads],
        "totals": _totals(loads),
    }


def _load(each: Charged, rate: str) -> Document:
    printed, result = each.line, each.result
    moisture, bushels = each.rate.moisture_rounding_pct, each.rate.bushel_rounding_bu
    return {
        "load": each.number,
        "batch": str(each.batch.pk),
        **_place(each.batch),
        "mass_basis": each.batch.mass_basis,
        "rate": rate,
        "gas_usd": None if each.gas_usd is None else digits(each.gas_usd),
        "moisture_in_pct": with_places(printed.moisture_in_pct, moisture),
        "moisture_out_pct": with_places(printed.moisture_out_pct, moisture),
        "base_moisture_pct": digits(each.base),
        **{
            name: with_places(getattr(printed, name), moisture)
            for name in ("points_removed", "points", "points_below_base")
        },
        "usd_bu": digits(printed.usd_bu),
        **{
            name: with_places(getattr(printed, name), bushels)
            for name in ("wet_bu", "dry_bu", "market_bu", "back_bu", "charged_bu")
        },
        **{
            name: f"{getattr(printed, name):.2f}"
            for name in ("drying_usd", "surcharge_usd", "in_usd", "out_usd", "total_usd", "below_base_usd")
        },
        "fuel": _fuel([each]) | {"basis": result.fuel_basis or None},
        "over_drying": _over_drying([each]),
    }


def _totals(loads: Sequence[Charged]) -> Document:
    sums: Totals = totals(each.line for each in loads)
    finest = min(each.rate.bushel_rounding_bu for each in loads)
    told = {
        name: with_places(value, finest) if name.endswith("_bu") else f"{value:.2f}"
        for name, value in vars(sums).items()
    }
    return {"loads": len(loads), **told, "fuel": _fuel(loads), "over_drying": _over_drying(loads)}


def _all_totals(loads: Sequence[Charged]) -> Document:
    """Money of everything; bushels only within a crop, because one is not another's."""
    money = totals(each.line for each in loads)
    by_crop: dict[str, list[Charged]] = {}
    for each in loads:
        by_crop.setdefault(each.batch.crop, []).append(each)
    return {
        "loads": len(loads),
        "by_crop": [{"crop": crop, **_totals(of_crop)} for crop, of_crop in by_crop.items()],
        **{name: f"{value:.2f}" for name, value in vars(money).items() if name.endswith("_usd")},
        "fuel": _fuel(loads),
        "over_drying": _over_drying(loads),
    }


def _fuel(loads: Sequence[Charged]) -> Document:
    """Gallons, and therms of what burnt gas; sums of figures rounded to a tenth, null where none is known."""
    gallons = [_shown(each.result, "fuel_volume_m3", TENTH, "gal") for each in loads]
    burnt = [_shown(each.result, "fuel_energy_j", TENTH, "therm") for each in loads]
    therms = [heat if gallon is None else None for gallon, heat in zip(gallons, burnt, strict=True)]
    return {
        "gal": _sum_text(gallons, 1),
        "therm": _sum_text(therms, 1),
        "unknown_loads": sum(g is None and t is None for g, t in zip(gallons, therms, strict=True)),
    }


def _over_drying(loads: Sequence[Charged]) -> Document:
    """The results' own estimates: what could have been sold and was dried away, and what that cost in all."""
    results = [each.result for each in loads]
    return {
        "unsold_bu": _sum_text([_shown(result, "over_drying_unsold_bu", CENT) for result in results], 2),
        "extra_fuel_gal": _sum_text([_shown(r, "over_drying_extra_fuel_m3", TENTH, "gal") for r in results], 1),
        "total_usd": _sum_text([_shown(result, "over_drying_total_usd", CENT) for result in results], 2),
    }


def _shown(result: BatchResult, figure: str, step: Decimal, unit: str = "") -> Decimal | None:
    value = getattr(result, figure)
    return None if value is None else to_step(published(value / (UNITS[unit].factor if unit else 1.0)), step)


def _sum_text(values: Sequence[Decimal | None], places: int) -> str | None:
    known = [value for value in values if value is not None]
    return f"{sum(known, ZERO):.{places}f}" if known else None


def _doubts(loads: Sequence[Charged]) -> list[Document]:
    """What looks wrong in the records of charged loads, and what had to be assumed; each said once, with its loads."""
    found: dict[tuple[str, str], list[int]] = {}
    for each in loads:
        for warning in each.result.warnings:
            found.setdefault((warning["code"], warning["detail"]), []).append(each.number)
        for assumed in each.result.assumed:
            if assumed["field"] in ASSUMED:
                text = WORDS[assumed["field"]].format(digits(published(assumed["value"])))
                found.setdefault(("assumed", f"{text}: {assumed['basis']}."), []).append(each.number)
    return [{"code": code, "detail": detail, "loads": numbers} for (code, detail), numbers in found.items()]
