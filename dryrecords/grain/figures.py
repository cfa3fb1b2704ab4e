"""Formulas of one block of batches, from measured inputs to figures; a complex step passes through them."""

from collections.abc import Mapping

import numpy as np

from dryrecords.grain.arrays import Array, BoolArray
from dryrecords.grain.crops import bushel_kg

FIGURES = (
    "moisture_in_pct",
    "moisture_out_pct",
    "points_removed",
    "wet_mass_kg",
    "dry_mass_kg",
    "dry_matter_kg",
    "water_removed_kg",
    "wet_bu",
    "dry_bu",
    "base_bu",
    "market_bu",
    "shrink_water_pct",
    "shrink_handling_pct",
    "shrink_total_pct",
    "fuel_energy_j",
    "fuel_volume_m3",
    "electricity_kwh",
    "energy_j_per_kg_water",
    "fuel_j_per_kg_water",
    "latent_heat_j",
    "grain_heat_j",
    "other_heat_j",
    "thermal_efficiency_pct",
    "fuel_m3_per_point_bu",
    "drying_s",
    "throughput_bu_h",
    "cost_fuel_usd",
    "cost_electricity_usd",
    "cost_total_usd",
    "cost_usd_per_point_bu",
    "over_drying_points",
    "over_drying_water_kg",
    "over_drying_unsold_bu",
    "over_drying_unsold_usd",
    "over_drying_extra_fuel_m3",
    "over_drying_extra_fuel_usd",
    "over_drying_extra_electricity_kwh",
    "over_drying_extra_electricity_usd",
    "over_drying_extra_s",
    "over_drying_total_usd",
    "under_drying_points",
)

FLAGS = (
    "wet_mass_from_dry",  # only the dry mass was weighed
    "dry_mass_weighed",  # the handling loss is what the weighing shows
    "fuel_estimated",  # not metered: the default use
    "electricity_from_fan",  # not metered: fan power over time
    "electricity_estimated",  # neither: the default use
    "grain_temp_assumed",  # latent heat at the default grain temperature
    "grain_temp_out_from_plenum",  # the heat left in the grain is an upper bound
    "isotherm_generic",  # bound-water term of corn
    "specific_heat_generic",
)


def batch_formulas(x: Mapping[str, Array]) -> dict[str, Array]:
    """Every figure of FIGURES from the fields of BatchInputs; shape (n,), or (steps, n) in a derivative."""
    bushel = bushel_kg(x["crop"])
    moisture_in, moisture_out = x["moisture_in_pct"], x["moisture_out_pct"]
    kept = (100.0 - moisture_in) / (100.0 - moisture_out) - x["handling_pct"] / 100.0
    wet_known, dry_known = ~np.isnan(x["wet_mass_kg"].real), ~np.isnan(x["dry_mass_kg"].real)
    wet = np.where(wet_known, x["wet_mass_kg"], x["dry_mass_kg"] / kept)
    dry = np.where(dry_known, x["dry_mass_kg"], wet * kept)
    known = {
        "moisture_in_pct": moisture_in,
        "moisture_out_pct": moisture_out,
        "points_removed": moisture_in - moisture_out,
        "wet_mass_kg": wet,
        "dry_mass_kg": dry,
        "wet_bu": wet / bushel,
        "dry_bu": dry / bushel,
        "water_removed_kg": wet * (moisture_in - moisture_out) / (100.0 - moisture_out),
    }
    nothing = np.full(bushel.shape, np.nan)
    return {name: known.get(name, nothing) for name in FIGURES}


def batch_flags(x: Mapping[str, Array]) -> dict[str, BoolArray]:
    """Every flag of FLAGS from the fields of BatchInputs, each of shape (n,)."""
    wet_known, dry_known = ~np.isnan(x["wet_mass_kg"]), ~np.isnan(x["dry_mass_kg"])
    known = {"wet_mass_from_dry": dry_known & ~wet_known, "dry_mass_weighed": dry_known}
    return {name: known.get(name, np.zeros(dry_known.shape, dtype=bool)) for name in FLAGS}
