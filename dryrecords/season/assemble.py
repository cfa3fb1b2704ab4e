"""Turns facts into the arrays of the numeric core, batch by batch, noting what had to be assumed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dryrecords.grain.batch import BatchInputs
from dryrecords.grain.crops import CROPS, repose_slope
from dryrecords.grain.energy import (
    DEFAULT_ELECTRICITY_USE,
    FUELS,
    PROPANE_J_PER_M3,
    THERM_J,
    default_fuel_use,
    fan_electric_power_w,
)
from dryrecords.grain.uncertainty import DEFAULT_UNCERTAINTIES
from dryrecords.grain.volume import (
    GALLON_M3,
    TEST_WEIGHT_KG_M3_PER_LB_BU,
    circle_area_m2,
    fill_mass_kg,
    level_volume_m3,
    peak_volume_m3,
)
from dryrecords.season.facts import BatchRow, Facts, SampleRow
from dryrecords.season.fuel import ELECTRICITY_METER_U, MeteredFuel, metered_fuel
from dryrecords.season.in_force import price_keys, setting_keys
from dryrecords.season.models import BatchResult
from dryrecords.season.moistures import moisture_columns
from dryrecords.season.notes import Notes, note_samples, note_span, note_times

DEFAULT_HANDLING_PCT = 0.5
HANDLING_BASIS = "default of the service: the constant of many drying tables (university extension)"
MASS_U = {basis: DEFAULT_UNCERTAINTIES[f"mass_{basis}"].value for basis in ("scale", "volume", "estimate")}
DRYING_TIME_U_S = DEFAULT_UNCERTAINTIES["drying_time"].value
FAN_POWER_U = DEFAULT_UNCERTAINTIES["fan_power"].value

Row = dict[str, float]


@dataclass(frozen=True)
class Assembled:
    inputs: BatchInputs
    notes: list[Notes]


def assemble(facts: Facts) -> Assembled:
    """Arrays in the order of facts.batches."""
    notes = [Notes() for _ in facts.batches]
    wet = [_of_stages(facts, batch, ("wet",)) for batch in facts.batches]
    out = [
        _of_stages(facts, batch, ("cooled", "stored", "delivered")) or _of_stages(facts, batch, ("hot",))
        for batch in facts.batches
    ]
    rows = [_row(facts, batch, note) for batch, note in zip(facts.batches, notes, strict=True)]
    for batch, note, before, after in zip(facts.batches, notes, wet, out, strict=True):
        note_samples(note, batch, before, after)
        note_times(note, batch)
        if batch.id in facts.overlaps:
            note.warn("overlaps_another_batch", facts.overlaps[batch.id])
    if not rows:
        return Assembled(BatchInputs(crop=np.array([], dtype=str)), [])
    columns = {name: np.array([row[name] for row in rows], dtype=float) for name in rows[0]}
    crops = np.array([batch.crop for batch in facts.batches], dtype=str)
    columns |= moisture_columns(facts.batches, crops, wet, out, columns)
    return Assembled(BatchInputs(crop=crops, **columns), notes)


def _of_stages(facts: Facts, batch: BatchRow, stages: Sequence[str]) -> list[SampleRow]:
    return [sample for sample in facts.samples.get(batch.id, []) if sample.stage in stages]


def _row(facts: Facts, batch: BatchRow, notes: Notes) -> Row:
    fuel = _fuel(facts, batch, notes)
    return {
        **_mass(batch, notes),
        **_conventions(facts, batch, notes),
        **_times(batch, notes),
        **fuel,
        **_electricity(facts, batch, notes),
        **_prices(facts, batch, notes, fuel["fuel_energy_j_per_m3"]),
        "grain_temp_c": _known(batch.grain_temp_c),
        "grain_temp_out_c": _grain_temp_out_c(facts, batch),
        "plenum_temp_c": _known(batch.plenum_temp_c),
        "ambient_temp_c": _known(batch.ambient_temp_c),
        "ambient_rh_pct": _known(batch.ambient_rh_pct),
    }


def _grain_temp_out_c(facts: Facts, batch: BatchRow) -> float:
    """What hot samples showed; else the temperature at which the dryer was set to stop."""
    shown = [s.grain_temp_c for s in _of_stages(facts, batch, ("hot",)) if s.grain_temp_c is not None]
    return sum(shown) / len(shown) if shown else _known(batch.cutoff_temp_c)


def _known(value: float | None) -> float:
    return math.nan if value is None else value


def _mass(batch: BatchRow, notes: Notes) -> Row:
    first = _known(batch.wet_mass_kg)
    relative_u = MASS_U[batch.mass_basis]
    if math.isnan(first) and batch.fill_depth_m is not None:
        first, relative_u = _mass_of_fill(batch, notes), MASS_U["volume"]
    if math.isnan(first) and batch.dry_mass_kg is None and "dryer.diameter_ft" not in notes.missing:
        notes.missing.append("wet_mass_lb")
    added = [refill["mass_kg"] for refill in batch.refills]
    return {
        "wet_mass_kg": first + sum(added),
        # The charges are weighed one by one, each with its own error.
        "wet_mass_u_kg": relative_u * math.sqrt(first**2 + sum(mass**2 for mass in added)),
        "dry_mass_kg": _known(batch.dry_mass_kg),
        "dry_mass_u_kg": MASS_U[batch.mass_basis] * _known(batch.dry_mass_kg),
    }


def _mass_of_fill(batch: BatchRow, notes: Notes) -> float:
    area = batch.bed_area_m2 or (float(circle_area_m2(batch.diameter_m)) if batch.diameter_m else None)
    if area is None:
        notes.missing.append("dryer.diameter_ft")
        return math.nan
    test_weight = batch.test_weight_kg_m3
    if test_weight is None:
        bushel_lb = CROPS[batch.crop].bushel_lb
        test_weight = bushel_lb * TEST_WEIGHT_KG_M3_PER_LB_BU
        notes.assume("test_weight_lb_bu", bushel_lb, "the crop's market bushel")
    volume = float(level_volume_m3(area, batch.fill_depth_m or 0.0))
    if batch.fill_peaked and batch.diameter_m:
        slope = float(repose_slope(np.array(batch.crop)))
        volume += 0.0 if math.isnan(slope) else float(peak_volume_m3(batch.diameter_m, slope))
    return float(fill_mass_kg(volume, test_weight))


def _conventions(facts: Facts, batch: BatchRow, notes: Notes) -> Row:
    keys = setting_keys(batch.customer_id, batch.crop)
    handling = facts.settings["handling_pct"].at(batch.moment, keys)
    if handling is None:
        handling = DEFAULT_HANDLING_PCT
        if batch.dry_mass_kg is None or batch.wet_mass_kg is None:
            notes.assume("handling_pct", handling, HANDLING_BASIS)
    base = batch.lot_base_moisture_pct
    if base is None:
        base = facts.settings["base_moisture_pct"].at(batch.moment, keys)
    if base is None:
        base = CROPS[batch.crop].base_moisture_pct
        notes.assume("base_moisture_pct", base, CROPS[batch.crop].base_moisture_source)
    return {"handling_pct": handling, "base_moisture_pct": base}


def _times(batch: BatchRow, notes: Notes) -> Row:
    if batch.drying_ended_at is None:
        notes.missing.append("drying_ended_at")
        return {"drying_s": math.nan, "drying_u_s": math.nan, "cooling_s": math.nan}
    cooling = _known(batch.cooling_s)
    if math.isnan(cooling) and batch.cooling_ended_at:
        cooling = (batch.cooling_ended_at - batch.drying_ended_at).total_seconds()
    return {
        "drying_s": (batch.drying_ended_at - batch.started_at).total_seconds(),
        "drying_u_s": DRYING_TIME_U_S,
        "cooling_s": cooling * _cooling_share(batch),
    }


def _fan_power_w(batch: BatchRow, purpose: str) -> float:
    rated = sum(fan["power_w"] for fan in batch.fans if fan.get("purpose") == purpose and fan.get("power_w"))
    return float(fan_electric_power_w(rated))


def _cooling_share(batch: BatchRow) -> float:
    """Cooling time in terms of the drying fan: a smaller fan below counts for less of it."""
    cooling, drying = _fan_power_w(batch, "cooling"), _fan_power_w(batch, "drying")
    return cooling / drying if cooling and drying else 1.0


def _fuel(facts: Facts, batch: BatchRow, notes: Notes) -> Row:
    fuel = batch.fuel
    if fuel is None:
        fuel = "propane"
        notes.assume("dryer.tank", None, "no tank recorded: propane")
    energy_j_per_m3 = _known(FUELS[fuel].energy_j_per_m3)
    if fuel == "propane":
        set_value = facts.settings["propane_j_m3"].at(batch.moment, setting_keys(batch.customer_id, batch.crop))
        energy_j_per_m3 = set_value or PROPANE_J_PER_M3
    use, use_u = default_fuel_use(np.array(energy_j_per_m3))
    row = {
        "fuel_energy_j": math.nan,
        "fuel_energy_u_j": math.nan,
        "fuel_energy_j_per_m3": energy_j_per_m3,
        "fuel_default_m3_per_point_bu": float(use),
        "fuel_default_u_m3_per_point_bu": float(use_u),
    }
    bracket, share = facts.fuel.get(batch.id), facts.fuel_shares.get(batch.id)
    metered = metered_fuel(bracket, fuel, batch.tank_capacity_m3, energy_j_per_m3) if bracket else MeteredFuel()
    unit_j = 1.0 if fuel == "natural_gas" else energy_j_per_m3
    problem = metered.problem
    if share:
        notes.fuel_share = share.basis
        metered = replace(metered, energy_j=share.amount * unit_j, energy_u_j=share.amount_u * unit_j)
        # That others drew as well is what the account is there for.
        problem = "" if bracket and bracket.shared else problem
        if share.basis == BatchResult.Basis.ESTIMATED:
            problem = problem or "fuel_account_finding"
    elif bracket:
        note_span(notes, batch, bracket)
    if problem:
        notes.warn(problem)
    if metered.at_60_f_assumed:
        notes.assume("fuel_temp_f", 60.0, "no temperature of the liquid recorded")
    return row | {"fuel_energy_j": metered.energy_j, "fuel_energy_u_j": metered.energy_u_j}


def _electricity(facts: Facts, batch: BatchRow, notes: Notes) -> Row:
    found = facts.electricity.get(batch.id)
    if found and found.fell:
        notes.warn("power_count_fell")
    metered = found.kwh if found else math.nan
    metered_u = ELECTRICITY_METER_U * metered
    share = facts.power_shares.get(batch.id)
    if share and share.basis == BatchResult.Basis.ALLOCATED:
        notes.electricity_share = share.basis
        metered, metered_u = share.amount, share.amount_u
    power = _fan_power_w(batch, "drying") or math.nan
    return {
        "electricity_kwh": metered,
        "electricity_u_kwh": metered_u,
        "electricity_default_kwh_per_point_bu": DEFAULT_ELECTRICITY_USE.value,
        "electricity_default_u_kwh_per_point_bu": DEFAULT_ELECTRICITY_USE.standard_uncertainty,
        "fan_power_w": power,
        "fan_power_u_w": FAN_POWER_U * power,
    }


def _prices(facts: Facts, batch: BatchRow, notes: Notes, energy_j_per_m3: float) -> Row:
    fuel = batch.fuel or "propane"
    energy_of_unit_j = THERM_J if fuel == "natural_gas" else GALLON_M3 * energy_j_per_m3
    return {
        "price_grain_usd_per_bu": _price(facts, batch, notes, "grain", batch.crop),
        "price_fuel_usd_per_j": _fuel_price(facts, batch, notes, fuel) / energy_of_unit_j,
        "price_electricity_usd_per_kwh": _price(facts, batch, notes, "electricity"),
    }


def _fuel_price(facts: Facts, batch: BatchRow, notes: Notes, fuel: str) -> float:
    """The price in force; without one, what the last delivery into the tank cost."""
    listed = facts.prices.at(batch.moment, price_keys(fuel, batch.site_id))
    delivered = facts.delivery_prices.at(batch.moment, [batch.tank_id])
    if listed is None and delivered is not None:
        notes.assume(f"prices.{fuel}", delivered, "the unit price of the last delivery into the tank")
        return float(delivered)
    return _price(facts, batch, notes, fuel)


def _price(facts: Facts, batch: BatchRow, notes: Notes, kind: str, crop: str = "") -> float:
    price: Any = facts.prices.at(batch.moment, price_keys(kind, batch.site_id, crop))
    if price is None:
        notes.missing.append(f"prices.{kind}")
        return math.nan
    return float(price)
