"""Metered fuel of a batch: two readings of a tank or meter, and what was delivered between them, as energy."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dryrecords.grain.energy import propane_volume_factor
from dryrecords.grain.uncertainty import DEFAULT_UNCERTAINTIES
from dryrecords.season.brackets import FuelBracket, FuelReadingFacts

GAUGE_U = DEFAULT_UNCERTAINTIES["tank_gauge"].value
LIQUID_METER_U = DEFAULT_UNCERTAINTIES["liquid_meter"].value
GAS_METER_U = DEFAULT_UNCERTAINTIES["gas_meter"].value
ELECTRICITY_METER_U = DEFAULT_UNCERTAINTIES["electricity_meter"].value
# Of a volume of propane whose temperature nobody noted: 0.155 % a degree (29 CFR 1910.110(b)(19): 1.031 at 40 F),
# within 20 F of 60 F in a harvest, our own choice.
TEMP_UNKNOWN_U = 0.00155 * 20.0 / math.sqrt(3.0)
# A little over, for a gauge that is read by eye.
FULL = 1.02


@dataclass(frozen=True)
class MeteredFuel:
    """Energy and its standard uncertainty [J]; or why the readings give none."""

    energy_j: float = math.nan
    energy_u_j: float = math.nan
    problem: str = ""
    at_60_f_assumed: bool = False


def metered_fuel(bracket: FuelBracket, fuel: str, capacity_m3: float | None, energy_j_per_m3: float) -> MeteredFuel:
    before, after = bracket.before, bracket.after
    if bracket.shared:
        return MeteredFuel(problem="readings_cover_other_batches")
    if before.meter_j is not None and after.meter_j is not None:
        used = after.meter_j - before.meter_j
        return _checked(used, GAS_METER_U * used, False)
    if math.isnan(energy_j_per_m3):
        return MeteredFuel(problem="fuel_readings_differ_in_kind")
    if before.meter_m3 is not None and after.meter_m3 is not None:
        factor, assumed = volume_factor(fuel, after.fuel_temp_c)
        used = (after.meter_m3 - before.meter_m3) * factor
        return _checked(used * energy_j_per_m3, LIQUID_METER_U * used * energy_j_per_m3, assumed)
    volumes = [_tank_volume(fuel, capacity_m3, reading) for reading in (before, after)]
    if capacity_m3 is not None and any(
        reading.volume_m3 and reading.volume_m3 > FULL * capacity_m3 for reading in (before, after)
    ):
        return MeteredFuel(problem="reading_above_capacity")
    if volumes[0] is None or volumes[1] is None:
        kind = "tank_capacity_unknown" if capacity_m3 is None else "fuel_readings_differ_in_kind"
        return MeteredFuel(problem=kind)
    return _drawn_down(bracket, fuel, capacity_m3, energy_j_per_m3, volumes[0], volumes[1])


def _drawn_down(
    bracket: FuelBracket,
    fuel: str,
    capacity_m3: float | None,
    energy_j_per_m3: float,
    before: tuple[float, bool],
    after: tuple[float, bool],
) -> MeteredFuel:
    used = before[0] - after[0]
    # A tank whose capacity nobody noted is taken to be as large as what was read in it.
    reading_u = GAUGE_U * (capacity_m3 or max(before[0], after[0]))
    variance = 2 * reading_u**2
    variance += sum((TEMP_UNKNOWN_U * volume) ** 2 for volume, guessed in (before, after) if guessed)
    assumed = before[1] or after[1]
    for volume_m3, corrected, fuel_temp_c in bracket.deliveries:
        factor, guessed = (1.0, False) if corrected else volume_factor(fuel, fuel_temp_c)
        used += volume_m3 * factor
        variance += (LIQUID_METER_U * volume_m3) ** 2 + (TEMP_UNKNOWN_U * volume_m3 if guessed else 0.0) ** 2
        assumed = assumed or guessed
    return _checked(used * energy_j_per_m3, math.sqrt(variance) * energy_j_per_m3, assumed)


def _checked(energy_j: float, energy_u_j: float, assumed: bool) -> MeteredFuel:
    """A drawdown below zero by more than the gauge's own noise is a mistyped reading or an unrecorded delivery."""
    if energy_j < -2 * abs(energy_u_j):
        return MeteredFuel(problem="tank_rose_without_delivery")
    return MeteredFuel(max(energy_j, 0.0), abs(energy_u_j), "", assumed)


def _tank_volume(fuel: str, capacity_m3: float | None, reading: FuelReadingFacts) -> tuple[float, bool] | None:
    """Volume in the tank as at 60 F, and whether its temperature had to be assumed."""
    volume = reading.volume_m3
    if reading.gauge_pct is not None and capacity_m3 is not None:
        volume = reading.gauge_pct / 100 * capacity_m3
    if volume is None:
        return None
    factor, assumed = volume_factor(fuel, reading.fuel_temp_c)
    return volume * factor, assumed


def volume_factor(fuel: str, fuel_temp_c: float | None) -> tuple[float, bool]:
    """Volume at 60 F over volume as read, and whether the temperature had to be assumed.

    Only propane changes enough to matter and has a table here.
    """
    if fuel != "propane":
        return 1.0, False
    if fuel_temp_c is None:
        return 1.0, True
    return float(propane_volume_factor(fuel_temp_c)[0]), False
