"""Advice for the next batch: the moisture worth aiming at, and the cut-off and time that lead there."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from dryrecords.core import clock
from dryrecords.equipment.models import Dryer
from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.crops import CROPS
from dryrecords.grain.learning import Learned
from dryrecords.grain.storage import SAFE_MOISTURES
from dryrecords.grain.target import Target, least_loss_target
from dryrecords.season.calibration import calibration_of, taught_by
from dryrecords.season.forecast import Forecast, Taught, Wanted, forecast
from dryrecords.season.in_force import price_keys, prices_in_force
from dryrecords.season.models import DryerCalibration

# Money taken off a bushel at each moisture [price given, base given]: what the buyer's schedule says.
Discount = Callable[[FloatArray, float, float], FloatArray]

DISCOUNT_SHARE_PER_POINT = 0.02
DISCOUNT_BASIS = (
    "No schedule: 2.0 % of the price for each point above the base (form and rate of an extension example)."
)
PRICE_BASIS = "No price of this grain is recorded: losses are shares of the price."
SETTINGS_BASIS = "Plenum, air and bed are those of the newest batches."
# Without a batch to go by: a usual autumn day and plenum.
USUAL = {"plenum_temp_c": 71.0, "ambient_temp_c": 10.0, "ambient_rh_pct": 65.0}
USUAL_BASIS = "No batches to go by: 160 F plenum, 50 F and 65 % outside."
NINETY_FIVE = 1.96


@dataclass(frozen=True)
class Advice:
    target: Target
    money_unit: str
    spread_pct: float
    forecast: Forecast
    cutoff_temp_c: float
    cutoff_low_c: float
    cutoff_high_c: float
    cutoff_from: str
    calibration: DryerCalibration | None
    assumed: list[str]


def flat_discount(moisture_pct: FloatArray, base_moisture_pct: float, price: float) -> FloatArray:
    return price * DISCOUNT_SHARE_PER_POINT * np.maximum(moisture_pct - base_moisture_pct, 0.0)


def advise(
    dryer: Dryer,
    crop: str,
    moisture_in_pct: float,
    base_moisture_pct: float | None = None,
    *,
    given: dict[str, float] | None = None,
    discount: Discount | None = None,
) -> Advice:
    """`given` holds plenum and ambient if the caller knows them; else those of the newest batches count."""
    calibration = calibration_of(dryer.organization_id, dryer.pk, crop)
    taught = taught_by(calibration)
    assumed: list[str] = []
    base = base_moisture_pct
    if base is None:
        base = CROPS[crop].base_moisture_pct
        assumed.append(f"Base moisture {base:g} %: {CROPS[crop].base_moisture_source}.")
    spread = _spread_pct(calibration, taught)
    target, unit = _target(dryer, crop, base, spread, discount, assumed)
    settings = _settings(calibration, given or {}, assumed)
    aim = min(target.moisture_pct, moisture_in_pct - 0.1)
    planned = forecast(
        dryer,
        Wanted(
            crop=crop,
            moisture_in_pct=moisture_in_pct,
            target_moisture_pct=aim,
            plenum_temp_c=settings["plenum_temp_c"],
            ambient_temp_c=settings["ambient_temp_c"],
            ambient_rh_pct=settings["ambient_rh_pct"],
            grain_temp_c=settings.get("grain_temp_c"),
            bed_depth_m=settings.get("bed_depth_m"),
        ),
        taught,
    )
    cutoff, low, high, basis = _cutoff(calibration, planned, aim, moisture_in_pct, settings["ambient_temp_c"])
    return Advice(target, unit, spread, planned, cutoff, low, high, basis, calibration, [*assumed, *planned.assumed])


def _spread_pct(calibration: DryerCalibration | None, taught: Taught) -> float:
    """How far a cooled batch of this dryer lies from where it was aimed."""
    relation = calibration.figures["relation"] if calibration else None
    if relation and relation["left_out_rmse_pct"] is not None:
        return max(float(relation["left_out_rmse_pct"]), 0.2)
    return taught.scatter_pct


def _target(
    dryer: Dryer, crop: str, base: float, spread: float, discount: Discount | None, assumed: list[str]
) -> tuple[Target, str]:
    found = prices_in_force(dryer.organization_id).at(clock.now(), price_keys("grain", dryer.site_id, crop))
    price = 1.0 if found is None else float(found)
    if found is None:
        assumed.append(PRICE_BASIS)
    if discount is None:
        assumed.append(DISCOUNT_BASIS)
    taken_off = discount or flat_discount
    safe = SAFE_MOISTURES.get(crop)
    highest = max(base, safe.cool_pct) if safe and safe.cool_pct else base
    target = least_loss_target(base, spread, price, lambda m: taken_off(m, base, price), highest)
    return target, "share of price" if found is None else "usd per bu"


def _settings(calibration: DryerCalibration | None, given: dict[str, float], assumed: list[str]) -> dict[str, float]:
    typical: dict[str, float] | None = calibration.figures["typical"] if calibration else None
    if typical:
        assumed.append(SETTINGS_BASIS)
    else:
        assumed.append(USUAL_BASIS)
    return {**(typical or USUAL), **given}


def _cutoff(
    calibration: DryerCalibration | None, planned: Forecast, aim: float, moisture_in: float, ambient_c: float
) -> tuple[float, float, float, str]:
    """From the dryer's own relation where it has one that rises with drying; else from the forecast."""
    relation = calibration.figures["relation"] if calibration else None
    if relation:
        line = _line(relation)
        about = np.array([0.0, moisture_in, ambient_c]) - np.array(relation["centre"])
        slope = float(line.coefficients[1])
        if slope < 0:
            level = float(line.coefficients[[0, 2, 3]] @ [1.0, about[1], about[2]])
            move = (aim - level) / slope
            _, sd = line.predict(np.array([1.0, move, about[1], about[2]]))
            half = NINETY_FIVE * float(sd) / abs(slope)
            cutoff = relation["centre"][0] + move
            return cutoff, cutoff - half, cutoff + half, "this dryer's batches"
    cutoff = planned.figures["cutoff_temp_c"]
    sd_c = planned.figures["cutoff_temp_c_u"]
    if cutoff is None or sd_c is None:
        return math.nan, math.nan, math.nan, "no forecast"
    return cutoff, cutoff - NINETY_FIVE * sd_c, cutoff + NINETY_FIVE * sd_c, "the bed model"


def _line(relation: dict[str, Any]) -> Learned:
    return Learned(
        np.array(relation["coefficients"]),
        np.array(relation["covariance"]),
        float(relation["scatter_pct"]),
        np.empty(0),
        np.empty(0),
    )
