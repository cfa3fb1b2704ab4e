"""Selling a load wet by a schedule against drying it first: both to the cent, and the gas price that makes them equal.

Dry means: the load leaves as (100 - moisture) / (100 - target) of its net weight, less handling in percent of the wet
weight (terms.Shrink, dry matter), is sold at the target moisture by the same schedule and price, and costs gas, power
and labor by the point and wet bushel. Rates of use are the farm's own; no two dryers have the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal

from dryrecords.core.errors import FieldError
from dryrecords.season import cautions
from dryrecords.settlement import bounds
from dryrecords.settlement.bounds import Bound
from dryrecords.settlement.rules import Load, LoadInvalid, Settlement, settle
from dryrecords.settlement.terms import HUNDRED, ZERO, Rounding, Rules

_LB = Rounding(bounds.WEIGHT_LB.smallest)
_CENTS = Rounding(bounds.USD.smallest)
_A_BUSHEL = Rounding(Decimal("0.0001"))
_A_GALLON = Rounding(Decimal("0.001"))
_USED = Rounding(Decimal("0.01"))
_BOUNDS: dict[str, Bound] = {
    "target_moisture_pct": bounds.BASE_PCT,
    "gas_gal_per_point_bu": bounds.USE_PER_POINT_BU,
    "gas_usd_gal": bounds.ENERGY_USD,
    "handling_pct": bounds.HANDLING_PCT,
    "electricity_kwh_per_point_bu": bounds.USE_PER_POINT_BU,
    "electricity_usd_kwh": bounds.ENERGY_USD,
    "labor_h": bounds.HOURS,
    "labor_usd_h": bounds.ENERGY_USD,
    "dryer_h": bounds.HOURS,
}


@dataclass(frozen=True)
class OwnDrying:
    """What drying at home takes. Labor and hours count only where they are given."""

    target_moisture_pct: Decimal
    gas_gal_per_point_bu: Decimal
    gas_usd_gal: Decimal
    handling_pct: Decimal = ZERO
    electricity_kwh_per_point_bu: Decimal = ZERO
    electricity_usd_kwh: Decimal = ZERO
    labor_h: Decimal = ZERO
    labor_usd_h: Decimal = ZERO
    dryer_h: Decimal | None = None


@dataclass(frozen=True)
class WetOrDry:
    """Both ways for one load; `gain` is what drying first brings more, and is negative where it brings less.

    `break_even_gas_usd_gal` makes both equal: below zero wet is better even with gas for nothing; None without gas.
    A load that is rejected wet brings nothing wet.
    """

    wet: Settlement
    dry: Settlement
    points_removed: Decimal
    gas_gal: Decimal
    gas_usd: Decimal
    electricity_kwh: Decimal
    electricity_usd: Decimal
    labor_usd: Decimal
    wet_usd: Decimal
    dry_usd: Decimal
    gain_usd: Decimal
    wet_usd_per_wet_bu: Decimal
    dry_usd_per_wet_bu: Decimal
    gain_usd_per_wet_bu: Decimal
    break_even_gas_usd_gal: Decimal | None
    gain_usd_per_dryer_h: Decimal | None
    cautions: tuple[str, ...]


def wet_or_dry(rules: Rules, load: Load, own: OwnDrying) -> WetOrDry:
    """Compares for one load with a price. LoadInvalid where there is nothing to dry or nothing to compare."""
    problems = list(_problems(load, own))
    if problems:
        raise LoadInvalid(errors=problems)
    wet = settle(rules, load)
    dry = settle(rules, _dried(load, own))
    # As weighed: what a schedule rounds its bushels to is no part of what a dryer burns.
    point_bu = (load.gross_lb - load.tare_lb) * (load.moisture_pct - own.target_moisture_pct)
    gas_usd = _CENTS.of(point_bu * own.gas_gal_per_point_bu * own.gas_usd_gal, load.bushel_lb)
    power_usd = _CENTS.of(point_bu * own.electricity_kwh_per_point_bu * own.electricity_usd_kwh, load.bushel_lb)
    labor_usd = _CENTS.of(own.labor_h * own.labor_usd_h)
    without_gas = dry.net_amount_usd - power_usd - labor_usd
    gain = without_gas - gas_usd - wet.net_amount_usd

    def a_wet_bushel(usd: Decimal) -> Decimal:
        return _A_BUSHEL.of(usd * load.bushel_lb, load.gross_lb - load.tare_lb)

    return WetOrDry(
        wet=wet,
        dry=dry,
        points_removed=load.moisture_pct - own.target_moisture_pct,
        gas_gal=_USED.of(point_bu * own.gas_gal_per_point_bu, load.bushel_lb),
        gas_usd=gas_usd,
        electricity_kwh=_USED.of(point_bu * own.electricity_kwh_per_point_bu, load.bushel_lb),
        electricity_usd=power_usd,
        labor_usd=labor_usd,
        wet_usd=wet.net_amount_usd,
        dry_usd=without_gas - gas_usd,
        gain_usd=gain,
        wet_usd_per_wet_bu=a_wet_bushel(wet.net_amount_usd),
        dry_usd_per_wet_bu=a_wet_bushel(without_gas - gas_usd),
        gain_usd_per_wet_bu=a_wet_bushel(gain),
        break_even_gas_usd_gal=(
            _A_GALLON.of((without_gas - wet.net_amount_usd) * load.bushel_lb, point_bu * own.gas_gal_per_point_bu)
            if own.gas_gal_per_point_bu
            else None
        ),
        gain_usd_per_dryer_h=_CENTS.of(gain, own.dryer_h) if own.dryer_h else None,
        cautions=cautions.FORECAST,
    )


def _dried(load: Load, own: OwnDrying) -> Load:
    """The load as it leaves the dryer, on a scale that shows hundredths of a pound."""
    left = HUNDRED - own.target_moisture_pct
    kept = HUNDRED * (HUNDRED - load.moisture_pct) - own.handling_pct * left
    net_lb = _LB.of((load.gross_lb - load.tare_lb) * kept, HUNDRED * left)
    return replace(load, gross_lb=net_lb, tare_lb=ZERO, moisture_pct=own.target_moisture_pct)


def _problems(load: Load, own: OwnDrying) -> Iterator[FieldError]:
    wrong = [
        problem
        for name, bound in _BOUNDS.items()
        if (value := getattr(own, name)) is not None and (problem := bound.problem(f"/{name}", value))
    ]
    yield from wrong
    if load.price_usd_bu is None:
        yield FieldError("/price_usd_bu", "required", "What a load sells for decides between wet and dry.")
    if not load.gross_lb > load.tare_lb:
        yield FieldError("/gross_lb", "nothing_there", "There is no grain to compare.")
    if not wrong and not load.moisture_pct > own.target_moisture_pct:
        yield FieldError("/target_moisture_pct", "nothing_to_dry", "The grain is as dry as that already.")
