"""From the settings of batches to what the bed model marches: layers, air, time steps, rules."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray
from dryrecords.grain.bed_grain import SETTLING_SLOPE, base_moisture_of, loaded_dry_density_kg_m3
from dryrecords.grain.bed_kernel import GrainConstants
from dryrecords.grain.bed_scenario import BedScenario
from dryrecords.grain.bed_state import NEVER, Bed, Blow, Refill, Stop
from dryrecords.grain.moisture import dry_basis_pct
from dryrecords.grain.psychrometrics import (
    AIR_J_KG_K,
    VAPOUR_J_KG_K,
    humidity_ratio_of_rh,
    specific_volume_m3_kg,
)

# Water from burning propane, 1.634 kg/kg, over its lower heating value 46.35 MJ/kg: 0.082 lb for each 1000 Btu; from
# memory. Natural gas makes a quarter more.
BURNER_WATER_KG_J = 1.634 / 46.35e6
# Cells that the thermal front crosses in a step. Above 1 it would leap over layers; the errors of step and layers
# have opposite signs: at 1.0 and 15 layers 0.6 % of the time is left, at 0.3 it is 1.5 %.
_COURANT = 1.0
# Steps in which hot grain asks for more water than air of any temperature could take leave saturation hard to find.
_LONGEST_STEP_S = 600.0
_DRY_GRAIN = 0.18  # dry-basis moisture at which the front is timed; wetter grain is slower
_REFILL_LAYERS = 1.0 / 8.0  # of the layers of the bed as loaded; a bed settles by about as much
DRYING_LIMIT_S = 48.0 * 3600.0  # a batch that no rule has stopped by then is given up


def dry_basis(moisture_pct: Array) -> FloatArray:
    """Moisture [% wet basis], any shape, as a fraction on dry basis."""
    return np.asarray(dry_basis_pct(moisture_pct) / 100.0, dtype=float)


def wet_basis_pct(moisture: Array) -> FloatArray:
    """Moisture as a fraction on dry basis, any shape. [% wet basis]"""
    return np.asarray(100.0 * moisture / (1.0 + moisture), dtype=float)


@dataclass(frozen=True)
class Heating:
    """Air in the plenum and what the burner put into it: arrays of shape (n,)."""

    humidity: FloatArray  # [kg/kg]
    heat_j_kg: FloatArray  # for each kg of dry air, by lower heating value [J/kg]


def heating(scenario: BedScenario, ambient_humidity: FloatArray) -> Heating:
    """Plenum air of batches: its heat makes water in a direct-fired burner, which has to be heated too.

    Equation    h = (c_a + c_v (W + b h)) T_plenum - (c_a + c_v W) T_ambient, solved for the heat h; b is 0 if indirect
    """
    plenum_c = np.asarray(scenario.plenum_temp_c)
    water_kg_j = np.where(np.asarray(scenario.direct_fired) == 1.0, BURNER_WATER_KG_J, 0.0)
    capacity = AIR_J_KG_K + VAPOUR_J_KG_K * ambient_humidity
    heat = capacity * (plenum_c - scenario.ambient_temp_c) / (1.0 - VAPOUR_J_KG_K * plenum_c * water_kg_j)
    return Heating(ambient_humidity + water_kg_j * np.maximum(heat, 0.0), heat)


def ambient_humidity(scenario: BedScenario) -> FloatArray:
    """Humidity ratio of ambient air. [kg/kg]"""
    return humidity_ratio_of_rh(scenario.ambient_temp_c, scenario.ambient_rh_pct, scenario.pressure_pa)


def loaded_bed(scenario: BedScenario, crop: str, layers: int) -> Bed:
    """Bed as loaded, with empty layers on top of it where a batch of the scenario is refilled."""
    moisture = dry_basis(np.asarray(scenario.moisture_in_pct))
    given = np.asarray(scenario.dry_density_kg_m3)
    density = np.where(np.isnan(given), loaded_dry_density_kg_m3(crop, moisture), given)
    spare = ceil(layers * _REFILL_LAYERS) if is_refilled(scenario).any() else 0
    shape = (layers + spare, moisture.size)
    dry = np.zeros(shape)
    dry[:layers] = density * scenario.bed_depth_m / layers
    base = base_moisture_of(crop)
    return Bed(
        moisture=np.array(np.broadcast_to(moisture, shape)),
        temp_c=np.array(np.broadcast_to(scenario.grain_temp_c, shape)),
        reference=np.array(np.broadcast_to(moisture, shape)),
        dry_kg_m2=dry,
        base_volume_m3_kg=1.0 / (density * (1.0 + SETTLING_SLOPE * (moisture - base))),
        base_moisture=base,
    )


@dataclass(frozen=True)
class Air:
    """Air for a phase: arrays of shape (n,)."""

    temp_c: FloatArray  # where it enters the grain [deg C]
    humidity: FloatArray  # likewise [kg/kg]
    outside_temp_c: FloatArray  # where the airflow is measured [deg C]
    outside_humidity: FloatArray  # likewise [kg/kg]
    until_s: FloatArray  # a moment that a step shall end on [s]; NaN or 0 for none


def blow(
    scenario: BedScenario, grain: GrainConstants, layer_kg_m2: FloatArray, air: Air, airflow_m3_s_m2: Array
) -> Blow:
    """Air at an airflow of ambient air, in steps in which the thermal front crosses part of a layer."""
    volume = specific_volume_m3_kg(air.outside_temp_c, air.outside_humidity, scenario.pressure_pa)
    flux = airflow_m3_s_m2 / volume
    rate_factor = np.asarray(scenario.drying_rate_factor * grain.drying.rate_factor)
    crossing_s = layer_kg_m2 * grain.specific_heat_j_kg_k(np.asarray(_DRY_GRAIN)) / (flux * AIR_J_KG_K)
    return Blow(
        temp_c=air.temp_c,
        humidity=air.humidity,
        flux_kg_s_m2=flux,
        velocity_m_s=np.asarray(airflow_m3_s_m2, dtype=float),
        pressure_pa=np.asarray(scenario.pressure_pa),
        step_s=_whole_steps(
            np.minimum(_COURANT * crossing_s, _LONGEST_STEP_S / np.maximum(rate_factor, 1.0)), air.until_s
        ),
        rate_factor=rate_factor,
    )


def _whole_steps(step_s: FloatArray, until_s: FloatArray) -> FloatArray:
    """Steps no longer than step_s of which a whole number ends at until_s, where that is above 0. [s]"""
    return np.where(until_s > 0.0, until_s / np.maximum(np.ceil(until_s / step_s), 1.0), step_s)


def is_refilled(scenario: BedScenario) -> Array:
    """Which batches have a rule for a refill."""
    return np.isfinite(scenario.refill_at_s) | np.isfinite(scenario.refill_settled_m)


def refill(scenario: BedScenario, step_s: FloatArray) -> Refill | None:
    """Refill of batches that are dried in steps of step_s [s]; None where none has one."""
    if not is_refilled(scenario).any():
        return None
    at = np.asarray(scenario.refill_at_s)
    return Refill(
        step=np.where(np.isfinite(at), np.rint(np.nan_to_num(at) / step_s), NEVER).astype(np.int64),
        settled_m=np.asarray(scenario.refill_settled_m),
        depth_m=np.asarray(scenario.refill_depth_m),
        moisture=dry_basis(np.asarray(scenario.refill_moisture_pct)),
        temp_c=np.asarray(scenario.refill_temp_c),
    )


def drying_stop(scenario: BedScenario) -> Stop:
    """Rules that end the heated phase."""
    return Stop(
        time_s=np.asarray(scenario.stop_time_s),
        moisture=dry_basis(np.asarray(scenario.stop_moisture_pct)),
        sensor_temp_c=np.asarray(scenario.stop_sensor_temp_c),
        exhaust_temp_c=np.asarray(scenario.stop_exhaust_temp_c),
        sensor_height_m=np.asarray(scenario.sensor_height_m),
        limit_s=np.full(np.shape(scenario.crop), DRYING_LIMIT_S),
    )


def cooling_stop(scenario: BedScenario, time_s: FloatArray, sensor_height_m: FloatArray) -> Stop:
    """Cooling ends with its time alone."""
    unused = np.full(np.shape(scenario.crop), np.nan)
    return Stop(time_s, unused, unused, unused, sensor_height_m, time_s)
