"""Sums and means of a site's season from the results of its batches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from dryrecords.grain.arrays import FloatArray

SUMS = (
    "wet_mass_kg",
    "dry_mass_kg",
    "dry_matter_kg",
    "water_removed_kg",
    "wet_bu",
    "dry_bu",
    "base_bu",
    "market_bu",
    "fuel_energy_j",
    "fuel_volume_m3",
    "electricity_kwh",
    "latent_heat_j",
    "drying_s",
    "cost_fuel_usd",
    "cost_electricity_usd",
    "cost_total_usd",
    "over_drying_water_kg",
    "over_drying_unsold_bu",
    "over_drying_unsold_usd",
    "over_drying_extra_fuel_m3",
    "over_drying_extra_fuel_usd",
    "over_drying_extra_electricity_kwh",
    "over_drying_extra_electricity_usd",
    "over_drying_extra_s",
    "over_drying_total_usd",
)
# Weighted by the wet mass that the batch put in.
MEANS = (
    "moisture_in_pct",
    "moisture_out_pct",
    "points_removed",
    "shrink_water_pct",
    "shrink_handling_pct",
    "shrink_total_pct",
    "over_drying_points",
    "under_drying_points",
)
# Energy over water, and the like: a sum over a sum, of the batches that know both.
QUOTIENTS = {
    "energy_j_per_kg_water": ("energy_j", "water_removed_kg"),
    "fuel_j_per_kg_water": ("fuel_energy_j", "water_removed_kg"),
    "thermal_efficiency_pct": ("latent_heat_j", "energy_j"),
    "fuel_m3_per_point_bu": ("fuel_volume_m3", "point_bu"),
    "cost_usd_per_point_bu": ("cost_total_usd", "point_bu"),
    "throughput_bu_h": ("wet_bu", "drying_h"),
}
SCALE = {"thermal_efficiency_pct": 100.0}
KWH_J = 3.6e6

# What is read of each result; the uncertainty beside every sum and mean.
READ = (*SUMS, *MEANS)
COLUMNS = (*READ, *(f"{name}_u" for name in READ))

MOST_NAMED = 5


Parts = dict[str, float]


def parts(columns: Mapping[str, FloatArray]) -> Parts:
    """What n batches add to a season. Parts of sites add up to the parts of all, and figures follow from parts.

    columns : name of COLUMNS -> array of shape (n,), NaN where unknown, in an order that never changes:
        floating sums are then the same to the last bit whenever they are made.
    """
    extended = dict(columns)
    extended["energy_j"] = columns["fuel_energy_j"] + columns["electricity_kwh"] * KWH_J
    extended["point_bu"] = columns["points_removed"] * columns["wet_bu"]
    extended["drying_h"] = columns["drying_s"] / 3600
    found: Parts = {}
    for name in (*SUMS, *(f"{name}_u" for name in SUMS)):
        found[name] = _sum(columns[name])
        found[f"{name} known"] = float((~np.isnan(columns[name])).sum())
    for name in (*MEANS, *(f"{name}_u" for name in MEANS)):
        _add_pair(found, name, columns[name] * columns["wet_mass_kg"], columns["wet_mass_kg"])
    for name, (above, below) in QUOTIENTS.items():
        _add_pair(found, name, extended[above], extended[below])
    return found


def _add_pair(found: Parts, name: str, above: FloatArray, below: FloatArray) -> None:
    """Both sums over the batches that know both."""
    both = ~(np.isnan(above) | np.isnan(below))
    found[f"{name} above"], found[f"{name} below"] = float(above[both].sum()), float(below[both].sum())


def _sum(x: FloatArray) -> float:
    return float(x[~np.isnan(x)].sum())


def added(all_parts: Sequence[Parts]) -> Parts:
    return {name: sum(each[name] for each in all_parts) for name in all_parts[0]} if all_parts else {}


def figures(of: Parts) -> dict[str, float | None]:
    """Sums, means and quotients, each over the batches that know it; None where none does.

    A meter's bias is common to all batches it tested, so uncertainties are added as they are, not in quadrature:
    the uncertainty of a sum is an upper limit.
    """
    found: dict[str, float | None] = {}
    for name in (*SUMS, *(f"{name}_u" for name in SUMS)):
        found[name] = of[name] if of.get(f"{name} known") else None
    for name in (*MEANS, *(f"{name}_u" for name in MEANS), *QUOTIENTS):
        below = of.get(f"{name} below", 0.0)
        found[name] = SCALE.get(name, 1.0) * of[f"{name} above"] / below if below > 0 else None
    return found


def grouped(columns: Mapping[str, FloatArray], keys: Sequence[str]) -> dict[str, dict[str, Any]]:
    """Figures per key, with the number of batches."""
    labels = np.array(keys, dtype=str)
    groups = {}
    for key in sorted(set(keys)):
        inside = labels == key
        groups[key] = {
            "batches": int(inside.sum()),
            **figures(parts({name: column[inside] for name, column in columns.items()})),
        }
    return groups


def best_and_worst(columns: Mapping[str, FloatArray], batch_ids: Sequence[str]) -> tuple[list[str], list[str]]:
    """Batches by money lost to over-drying; bushels where there is no price. Ties go by id."""
    lost = np.where(
        np.isnan(columns["over_drying_total_usd"]),
        columns["over_drying_unsold_bu"],
        columns["over_drying_total_usd"],
    )
    known = [(float(lost[i]), batch_ids[i]) for i in np.flatnonzero(~np.isnan(lost)).tolist()]
    # Least lost first, and of batches that lost nothing, those that were closest to the base.
    under = dict(zip(batch_ids, np.nan_to_num(columns["under_drying_points"]), strict=True))
    ranked = [batch_id for _, _, batch_id in sorted((loss, float(under[b]), b) for loss, b in known)]
    worst = [batch_id for loss, batch_id in sorted(known, key=lambda pair: (-pair[0], pair[1])) if loss > 0]
    return ranked[:MOST_NAMED], worst[:MOST_NAMED]
