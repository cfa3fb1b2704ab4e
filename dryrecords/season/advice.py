"""Advice for the next batch: the moisture worth aiming at, and the cut-off and time that lead there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from dryrecords.core import clock
from dryrecords.core.errors import invalid
from dryrecords.equipment.models import Dryer
from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.crops import CROPS
from dryrecords.grain.learning import Learned
from dryrecords.grain.storage import SAFE_MOISTURES
from dryrecords.grain.target import Target, least_loss_target
from dryrecords.season.calibration import taught_by
from dryrecords.season.forecast import IN_BIN, IN_DRYER, Forecast, Taught, Wanted, forecast, scatter_pct
from dryrecords.season.in_force import price_keys, prices_in_force, setting_keys, settings_in_force
from dryrecords.season.models import DryerCalibration

# Money taken off a bushel at each moisture, base and price given: what the buyer's schedule says.
Discount = Callable[[FloatArray, float, float], FloatArray]

DISCOUNT_SHARE_PER_POINT = 0.02
DISCOUNT_BASIS = (
    "No schedule to go by: 2.0 % of the price for each point above the base (form and rate of an extension example)."
)
NO_PRICE_FOR_IT = "Without a price of this grain the dollars of the schedule in force cannot be weighed."
PRICE_BASIS = "No price of this grain is recorded: losses are shares of the price."
SETTINGS_BASIS = "Where nothing else is given, plenum, air and bed are those of the newest batches."
# Without a batch to go by: a usual autumn day and plenum.
USUAL = {"plenum_temp_c": 71.0, "ambient_temp_c": 10.0, "ambient_rh_pct": 65.0}
USUAL_BASIS = "No batches to go by: 160 F plenum, 50 F and 65 % outside, where nothing else is given."
NINETY_FIVE = 1.96
LEAST_DRYING_PCT = 0.1
# A relation holds near the plenum of the batches it was learned from, and where its slope is surely downward.
PLENUM_WITHIN_C = 8.0
SURE_SLOPES = 2.0


@dataclass(frozen=True)
class Advice:
    base_moisture_pct: float
    target: Target
    money_unit: str
    discount: Discount
    discount_basis: str
    spread_pct: float
    forecast: Forecast
    # None where neither relation nor forecast tells it; the interval is this far to both sides.
    cutoff_temp_c: float | None
    cutoff_within_c: float | None
    cutoff_from: str
    settings: dict[str, float]
    assumed: list[str]


def flat_discount(moisture_pct: FloatArray, base_moisture_pct: float, price: float) -> FloatArray:
    return price * DISCOUNT_SHARE_PER_POINT * np.maximum(moisture_pct - base_moisture_pct, 0.0)


def advise(
    dryer: Dryer,
    crop: str,
    moisture_in_pct: float,
    base_moisture_pct: float | None = None,
    *,
    calibration: DryerCalibration | None = None,
    given: dict[str, float] | None = None,
    discount: Discount | None = None,
    discount_basis: str = "",
    discount_in_usd: bool = False,
) -> Advice:
    """`given` holds plenum and ambient if the caller knows them; else those of the newest batches count.

    `discount_basis` says where the discount is from, or why there is none. One in dollars needs a price to be weighed.
    """
    taught = taught_by(calibration)
    assumed: list[str] = []
    base = _base_moisture_pct(dryer, crop, assumed) if base_moisture_pct is None else base_moisture_pct
    spread = _spread_pct(calibration, taught)
    price = _price(dryer, crop, assumed)
    if discount_in_usd and price is None:
        discount, discount_basis = None, NO_PRICE_FOR_IT
    if discount is None:
        discount, discount_basis = flat_discount, f"{discount_basis} {DISCOUNT_BASIS}".strip()
    assumed += filter(None, [discount_basis])
    target = _target(crop, base, spread, 1.0 if price is None else price, discount)
    settings = _settings(calibration, given or {}, assumed)
    aim = target.moisture_pct
    if aim > moisture_in_pct - LEAST_DRYING_PCT:
        detail = f"At {moisture_in_pct:g} % there is nothing to dry: the target is {aim:.1f} % cooled."
        raise invalid("/moisture_in_pct", "nothing_to_dry", detail)
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
            cooling=_cooling(settings),
        ),
        taught,
    )
    cutoff, half, basis = _cutoff(calibration, planned, aim, moisture_in_pct, settings)
    unit = "share_of_price" if price is None else "usd_per_bu"
    assumed += planned.assumed
    return Advice(base, target, unit, discount, discount_basis, spread, planned, cutoff, half, basis, settings, assumed)


def _base_moisture_pct(dryer: Dryer, crop: str, assumed: list[str]) -> float:
    """The setting in force for the site's customer, else the crop's market base."""
    in_force = settings_in_force(dryer.organization_id)["base_moisture_pct"]
    found = in_force.at(clock.now(), setting_keys(dryer.site.customer_id, crop))
    if found is not None:
        return float(found)
    known = CROPS[crop]
    assumed.append(f"Base moisture {known.base_moisture_pct:g} %: {known.base_moisture_source}.")
    return known.base_moisture_pct


def _spread_pct(calibration: DryerCalibration | None, taught: Taught) -> float:
    """How far a cooled batch of this dryer lies from where it was aimed."""
    relation = calibration.figures["relation"] if calibration else None
    if relation and relation["left_out_rmse_pct"] is not None:
        return scatter_pct(relation["left_out_rmse_pct"], relation["batches"])
    if taught.batches or calibration is None:
        return taught.scatter_pct
    # A dryer that the model is not of still shows how far apart its batches come out.
    outcomes = calibration.figures["outcomes"]
    return scatter_pct(outcomes["sd_pct"], outcomes["batches"])


def _price(dryer: Dryer, crop: str, assumed: list[str]) -> float | None:
    found = prices_in_force(dryer.organization_id).at(clock.now(), price_keys("grain", dryer.site_id, crop))
    if not found:
        assumed.append(PRICE_BASIS)
    return float(found) if found else None


def _target(crop: str, base: float, spread: float, price: float, discount: Discount) -> Target:
    safe = SAFE_MOISTURES.get(crop)
    highest = max(base, safe.cool_pct) if safe and safe.cool_pct else base
    return least_loss_target(base, spread, price, lambda m: discount(m, base, price), highest)


def _settings(calibration: DryerCalibration | None, given: dict[str, float], assumed: list[str]) -> dict[str, float]:
    typical: dict[str, float] | None = calibration.figures["typical"] if calibration else None
    if typical:
        assumed.append(SETTINGS_BASIS)
    else:
        assumed.append(USUAL_BASIS)
    return {**(typical or USUAL), **given}


def _cooling(settings: dict[str, float]) -> str:
    """As in the batches that the cut-off was learned from: grain that cools in the bin is stopped far wetter."""
    known = settings.get("cooled_in_dryer")
    if known is None:
        return ""
    return IN_DRYER if known > 0.5 else IN_BIN


def _cutoff(
    calibration: DryerCalibration | None,
    planned: Forecast,
    aim: float,
    moisture_in: float,
    settings: dict[str, float],
) -> tuple[float | None, float | None, str]:
    """Cut-off and half of its 95 % interval: by the dryer's own relation where that holds, else by the forecast."""
    relation = calibration.figures["relation"] if calibration else None
    found = _by_relation(relation, aim, moisture_in, settings) if relation else None
    if found:
        return *found, "this dryer's batches"
    sd = planned.figures.get("cutoff_temp_c_u")
    return planned.figures["cutoff_temp_c"], None if sd is None else NINETY_FIVE * sd, "the bed model"


def _by_relation(
    relation: dict[str, Any], aim: float, moisture_in: float, settings: dict[str, float]
) -> tuple[float, float] | None:
    """The cut-off at which the line meets the aim. None away from its batches' plenum, or if it hardly slopes."""
    line = _line(relation)
    slope = float(line.coefficients[1])
    if abs(settings["plenum_temp_c"] - relation["plenum_temp_c"]) > PLENUM_WITHIN_C:
        return None
    if slope > -SURE_SLOPES * float(np.sqrt(line.covariance[1, 1])):
        return None
    about = np.array([0.0, moisture_in, settings["ambient_temp_c"]]) - np.array(relation["centre"])
    level = float(line.coefficients[[0, 2, 3]] @ [1.0, about[1], about[2]])
    move = (aim - level) / slope
    cutoff = relation["centre"][0] + move
    if not settings["ambient_temp_c"] < cutoff < settings["plenum_temp_c"]:
        return None
    _, sd = line.predict(np.array([1.0, move, about[1], about[2]]))
    return float(cutoff), NINETY_FIVE * float(sd) / -slope


def _line(relation: dict[str, Any]) -> Learned:
    return Learned(
        np.array(relation["coefficients"]),
        np.array(relation["covariance"]),
        float(relation["scatter_pct"]),
        np.empty(0),
        np.empty(0),
    )
