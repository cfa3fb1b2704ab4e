"""The terms of a rate as its statement states them: for programs as fields, for people in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from dryrecords.settlement.rate_model import Rate

FIELDS = (
    "drying_per_point_usd_bu",
    "bands",
    "drying_on",
    "points_counted",
    "base_moisture_pct",
    "moisture_rounding_pct",
    "bushel_rounding_bu",
    "minimum_usd",
    "minimum_per",
    "surcharge_fuel",
    "surcharge_above_usd",
    "surcharge_step_usd",
    "surcharge_per_step_usd_bu",
    "in_usd_bu",
    "out_usd_bu",
    "shrink",
    "shrink_factor_pct_per_point",
    "shrink_handling_pct",
)
BUSHEL = {Rate.Bushels.WET: "wet bushel", Rate.Bushels.DRY: "dry bushel"}
GAS = {Rate.Gas.PROPANE: "propane", Rate.Gas.NATURAL_GAS: "natural gas", Rate.Gas.DIESEL: "diesel"}
GAS_UNIT = {Rate.Gas.PROPANE: "gallon", Rate.Gas.NATURAL_GAS: "therm", Rate.Gas.DIESEL: "gallon"}


def digits(value: Decimal) -> str:
    """Every digit that says something, and none behind them."""
    return f"{value.normalize():f}"


def with_places(value: Decimal, step: Decimal) -> str:
    """With the digits that the step has, or all its own, if it has more."""
    return f"{value:.{max(_places(value), _places(step))}f}"


def _places(value: Decimal) -> int:
    return max(0, -int(value.normalize().as_tuple().exponent))


def fields_of(rate: Rate) -> dict[str, Any]:
    values = {name: getattr(rate, name) for name in FIELDS}
    return {
        name: digits(value) if isinstance(value, Decimal) else (value if value != "" else None)
        for name, value in values.items()
    }


def sentences(rate: Rate, currency: str) -> list[str]:
    return list(_sentences(rate, currency))


def _sentences(rate: Rate, currency: str) -> Iterator[str]:
    bushel = BUSHEL[Rate.Bushels(rate.drying_on)]
    counted = "every point removed" if rate.points_counted == Rate.Points.REMOVED else "every point down to the base"
    if rate.drying_per_point_usd_bu is not None:
        yield f"Drying {currency} {digits(rate.drying_per_point_usd_bu)} a {bushel} for {counted}."
    else:
        steps = "; ".join(_band(band, currency) for band in rate.bands)
        yield f"Drying a {bushel}, for {counted}, each started step: {steps}."
    if rate.base_moisture_pct is not None:
        yield f"Base moisture {digits(rate.base_moisture_pct)} %."
    if rate.minimum_usd is not None:
        per = "load" if rate.minimum_per == Rate.Per.BATCH else bushel
        yield f"Drying is at least {currency} {digits(rate.minimum_usd)} a {per}."
    if rate.surcharge_above_usd is not None and rate.surcharge_step_usd is not None:
        gas = Rate.Gas(rate.surcharge_fuel)
        yield (
            f"Fuel surcharge {currency} {digits(rate.surcharge_per_step_usd_bu or Decimal(0))} a point and {bushel} for"
            f" each started {currency} {digits(rate.surcharge_step_usd)} by which a {GAS_UNIT[gas]} of {GAS[gas]} costs"
            f" more than {currency} {digits(rate.surcharge_above_usd)}."
        )
    if rate.in_usd_bu:
        yield f"In-charge {currency} {digits(rate.in_usd_bu)} a wet bushel."
    if rate.out_usd_bu:
        yield f"Out-charge {currency} {digits(rate.out_usd_bu)} a bushel given back."
    yield _shrink(rate)
    yield (
        f"Moisture is rounded to {digits(rate.moisture_rounding_pct)} %, bushels to {digits(rate.bushel_rounding_bu)}."
    )


def _band(band: dict[str, Any], currency: str) -> str:
    end = f"to {band['up_to_points']}" if band["up_to_points"] is not None else "on"
    step = band["step_points"]
    return f"from {band['above_points']} points {end}, {currency} {band['per_step_usd_bu']} for each {step}"


def _shrink(rate: Rate) -> str:
    if rate.shrink == Rate.Shrink.ACTUAL:
        return "Commingled: market bushels go back, by each load's actual shrink."
    if rate.shrink == Rate.Shrink.FACTOR:
        factor = digits(rate.shrink_factor_pct_per_point or Decimal(0))
        handling = digits(rate.shrink_handling_pct or Decimal(0))
        return (
            f"Commingled: market bushels go back, {factor} % shrink for every point above the base"
            f" and {handling} % for handling."
        )
    return "Not commingled: what came out of the dryer goes back."
