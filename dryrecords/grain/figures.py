"""Formulas of one block of batches, from measured inputs to figures; a complex step passes through them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from dryrecords.grain import demand, energy, moisture
from dryrecords.grain.arrays import Array, BoolArray, FloatArray, StrArray, at_least, ratio, where_positive
from dryrecords.grain.crops import SpecificHeatArrays, bushel_kg, isotherms, specific_heats
from dryrecords.grain.equilibrium import IsothermArrays

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
    "expected_fuel_energy_j",
    "expected_electricity_kwh",
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
    "dry_mass_weighed",  # dry_mass_kg is a weighing; with a wet mass as well, so is the handling loss
    "fuel_estimated",  # not metered: the default use
    "electricity_from_fan",  # not metered: fan power over time
    "electricity_estimated",  # neither: the default use
    "grain_temp_assumed",  # latent heat at the default grain temperature
    "grain_temp_out_from_plenum",  # the heat left in the grain is an upper bound
    "isotherm_generic",  # bound-water term of corn
    "specific_heat_generic",
)

Inputs = Mapping[str, Array]
Figures = dict[str, Array]


@dataclass(frozen=True)
class CropArrays:
    """Constants of the crop of each of n batches, shape (n,)."""

    bushel_kg: FloatArray
    isotherm: IsothermArrays
    specific_heat: SpecificHeatArrays


def crop_arrays(crop: StrArray) -> CropArrays:
    """Constants of each crop name, shape (n,)."""
    return CropArrays(bushel_kg(crop), isotherms(crop), specific_heats(crop))


def batch_formulas(x: Inputs, crop: CropArrays) -> Figures:
    """Every figure of FIGURES from the numeric fields of BatchInputs.

    Parameters
    ----------
    x : fields of BatchInputs but the crop, shape (n,), or (steps, n) while a derivative is taken
    crop : arrays of shape (n,)

    Returns
    -------
    dict of arrays of shape (n,) or (steps, n), units as the names say; NaN where one cannot be computed
    """
    y = _mass(x, crop)
    y |= _energy_used(x, y)
    y |= _heat(x, y, crop)
    y |= _cost(x, y)
    y |= _over_drying(x, y, crop)
    return {name: np.where(np.isfinite(y[name]), y[name], np.nan) for name in FIGURES}


def batch_flags(x: Inputs, values: Figures, crop: CropArrays) -> dict[str, BoolArray]:
    """Every flag of FLAGS, from the numeric fields of BatchInputs and the figures made of them, shape (n,)."""
    fuel, electricity = _known(values["fuel_energy_j"]), _known(values["electricity_kwh"])
    metered, fan = _known(x["electricity_kwh"]), _known(_fan_kwh(x))
    latent, sensible = _known(values["latent_heat_j"]), _known(values["grain_heat_j"])
    return {
        "wet_mass_from_dry": ~_known(x["wet_mass_kg"]) & _known(values["wet_mass_kg"]),
        "dry_mass_weighed": _known(x["dry_mass_kg"]),
        "fuel_estimated": ~_known(x["fuel_energy_j"]) & fuel,
        "electricity_from_fan": ~metered & fan,
        "electricity_estimated": ~metered & ~fan & electricity,
        "grain_temp_assumed": ~_known(x["grain_temp_c"]) & (latent | sensible),
        "grain_temp_out_from_plenum": ~_known(x["grain_temp_out_c"]) & sensible,
        "isotherm_generic": crop.isotherm.is_generic & latent,
        "specific_heat_generic": crop.specific_heat.is_generic & sensible,
    }


def _known(x: Array) -> BoolArray:
    return np.asarray(~np.isnan(x.real))


def _mass(x: Inputs, crop: CropArrays) -> Figures:
    """Masses, bushels and shrink."""
    m_in, m_out, handling = x["moisture_in_pct"], x["moisture_out_pct"], x["handling_pct"]
    wet_known, dry_known = _known(x["wet_mass_kg"]), _known(x["dry_mass_kg"])
    wet = np.where(wet_known, x["wet_mass_kg"], moisture.undried_mass_kg(x["dry_mass_kg"], m_in, m_out, handling))
    dry = np.where(dry_known, x["dry_mass_kg"], moisture.dried_mass_kg(wet, m_in, m_out, handling))
    water_pct = moisture.water_shrink_pct(m_in, m_out)
    # with both masses weighed the additive convention is turned round: what is missing was handling loss
    handling_pct = np.where(wet_known & dry_known, 100.0 * ratio(wet - dry, wet) - water_pct, handling)
    dry_matter = moisture.dry_matter_kg(dry, m_out)
    at_base = moisture.mass_at_moisture_kg(dry_matter, x["base_moisture_pct"])
    return {
        "moisture_in_pct": m_in,
        "moisture_out_pct": m_out,
        "points_removed": m_in - m_out,
        "wet_mass_kg": wet,
        "dry_mass_kg": dry,
        "dry_matter_kg": dry_matter,
        "water_removed_kg": wet * water_pct / 100.0,
        "wet_bu": wet / crop.bushel_kg,
        "dry_bu": dry / crop.bushel_kg,
        "base_bu": at_base / crop.bushel_kg,
        "shrink_water_pct": water_pct,
        "shrink_handling_pct": handling_pct,
        "shrink_total_pct": water_pct + handling_pct,
    }


def _point_bushels(y: Figures) -> Array:
    """Points removed times wet bushels; NaN for grain that came out wetter."""
    points = np.where(y["points_removed"].real >= 0.0, y["points_removed"], np.nan)
    return np.asarray(points * y["wet_bu"])


def _fan_kwh(x: Inputs) -> Array:
    running_s = x["drying_s"] + np.where(_known(x["cooling_s"]), x["cooling_s"], 0.0)
    return np.asarray(x["fan_power_w"] * running_s / energy.KWH_J)


def _energy_used(x: Inputs, y: Figures) -> Figures:
    """Fuel and electricity: metered, from the fan, or the default use."""
    point_bu = _point_bushels(y)
    per_m3 = x["fuel_energy_j_per_m3"]
    default_j_per_m3 = np.where(_known(per_m3), per_m3, energy.PROPANE_J_PER_M3)
    default_fuel = x["fuel_default_m3_per_point_bu"] * default_j_per_m3 * point_bu
    fuel = np.where(_known(x["fuel_energy_j"]), x["fuel_energy_j"], default_fuel)
    fan = _fan_kwh(x)
    default_kwh = x["electricity_default_kwh_per_point_bu"] * point_bu
    unmetered = np.where(_known(fan), fan, default_kwh)
    electricity = np.where(_known(x["electricity_kwh"]), x["electricity_kwh"], unmetered)
    volume = ratio(fuel, per_m3)
    return {
        "fuel_energy_j": fuel,
        "fuel_volume_m3": volume,
        "electricity_kwh": electricity,
        "expected_electricity_kwh": unmetered,
        "fuel_m3_per_point_bu": ratio(volume, where_positive(point_bu, point_bu)),
        "drying_s": x["drying_s"],
        "throughput_bu_h": ratio(3600.0 * y["wet_bu"], where_positive(x["drying_s"], x["drying_s"])),
    }


def _heat(x: Inputs, y: Figures, crop: CropArrays) -> Figures:
    """Where the energy went: water evaporates at the temperature the grain came with, then the rest warms."""
    water = where_positive(y["water_removed_kg"], y["water_removed_kg"])
    total = y["fuel_energy_j"] + energy.KWH_J * y["electricity_kwh"]
    came = np.where(_known(x["grain_temp_c"]), x["grain_temp_c"], energy.DEFAULT_GRAIN_TEMP_C)
    left = np.where(_known(x["grain_temp_out_c"]), x["grain_temp_out_c"], x["plenum_temp_c"])
    latent = water * energy.mean_latent_heat_j_kg(y["moisture_in_pct"], y["moisture_out_pct"], came, crop.isotherm)
    specific_heat = energy.specific_heat_j_kg_k(y["moisture_out_pct"], crop.specific_heat)
    grain = y["dry_mass_kg"] * specific_heat * (left - came)
    # Where nothing tells how warm the grain left, half-way to the plenum: all the way is more than any batch takes.
    warmed = np.where(_known(x["grain_temp_out_c"]), left - came, demand.WARMED_SHARE * (x["plenum_temp_c"] - came))
    warming = y["dry_mass_kg"] * specific_heat * np.where(warmed.real > 0.0, warmed, 0.0)
    useful = latent + np.where(_known(warming), warming, 0.0)
    brought = demand.heat_over_useful(x["plenum_temp_c"].real, x["ambient_temp_c"].real, x["ambient_rh_pct"].real)
    return {
        "expected_fuel_energy_j": demand.expected_fuel_j(useful, brought),
        "energy_j_per_kg_water": total / water,
        "fuel_j_per_kg_water": y["fuel_energy_j"] / water,
        "latent_heat_j": latent,
        "grain_heat_j": grain,
        "other_heat_j": total - latent - grain,
        "thermal_efficiency_pct": ratio(100.0 * latent, where_positive(total, total)),
    }


def _cost(x: Inputs, y: Figures) -> Figures:
    fuel = y["fuel_energy_j"] * x["price_fuel_usd_per_j"]
    electricity = y["electricity_kwh"] * x["price_electricity_usd_per_kwh"]
    point_bu = _point_bushels(y)
    return {
        "cost_fuel_usd": fuel,
        "cost_electricity_usd": electricity,
        "cost_total_usd": fuel + electricity,
        "cost_usd_per_point_bu": ratio(fuel + electricity, where_positive(point_bu, point_bu)),
    }


def _parts(x: Inputs) -> tuple[Array, BoolArray, Array]:
    """Moistures of the parts, shape (k, ..., n), which of them exist, and their number, shape (n,).

    A batch without parts is one part. All parts shift with the moisture out while a derivative is taken.
    """
    m_out = x["moisture_out_pct"]
    parts = x["moisture_out_parts_pct"].T
    without = np.asarray(np.isnan(parts).all(axis=0))
    whole = m_out.real if m_out.ndim == 1 else m_out.real[0]
    parts = np.concatenate((parts, np.where(without, whole, np.nan)[np.newaxis]))
    exists = np.concatenate((~np.isnan(parts[:-1]), without[np.newaxis]))
    spread = (len(parts), *(1,) * (m_out.ndim - 1), parts.shape[1])
    return parts.reshape(spread) + (m_out - m_out.real), exists.reshape(spread), exists.sum(axis=0)


def _over_drying(x: Inputs, y: Figures, crop: CropArrays) -> Figures:
    """What drying below the base lost, part by part: the mean of the losses, not the loss of the mean."""
    base, (parts, exists, count) = x["base_moisture_pct"], _parts(x)
    part_mass = y["dry_mass_kg"] / count
    part_at_base = moisture.mass_at_moisture_kg(moisture.dry_matter_kg(part_mass, parts), base)
    unsold_kg = np.where(exists, at_least(part_at_base - part_mass, 0.0), 0.0).sum(axis=0)
    unsold_bu = unsold_kg / crop.bushel_kg
    unsold_usd = _share_of(unsold_bu, x["price_grain_usd_per_bu"])
    share = _extra_share(unsold_kg, y["water_removed_kg"])
    extra = {
        "over_drying_extra_fuel_m3": _share_of(share, y["fuel_volume_m3"]),
        "over_drying_extra_fuel_usd": _share_of(share, y["cost_fuel_usd"]),
        "over_drying_extra_electricity_kwh": _share_of(share, y["electricity_kwh"]),
        "over_drying_extra_electricity_usd": _share_of(share, y["cost_electricity_usd"]),
        "over_drying_extra_s": _share_of(share, y["drying_s"]),
    }
    known_extra = [
        np.where(_known(extra[name]), extra[name], 0.0)
        for name in ("over_drying_extra_fuel_usd", "over_drying_extra_electricity_usd")
    ]
    return extra | {
        "market_bu": y["base_bu"] - unsold_bu,
        "over_drying_points": np.where(exists, at_least(base - parts, 0.0), 0.0).sum(axis=0) / count,
        "over_drying_water_kg": unsold_kg,
        "over_drying_unsold_bu": unsold_bu,
        "over_drying_unsold_usd": unsold_usd,
        "over_drying_total_usd": unsold_usd + known_extra[0] + known_extra[1],
        "under_drying_points": np.where(exists, at_least(parts - base, 0.0), 0.0).sum(axis=0) / count,
    }


def _share_of(share: Array, whole: Array) -> Array:
    """Product of the two; 0 for a share of 0, also where the whole (a price, a fuel) is not known."""
    return np.where((share.real == 0.0) & np.isnan(whole), 0.0, share * whole)


def _extra_share(unsold_kg: Array, water_removed_kg: Array) -> Array:
    """Share of the water removed that need not have been; 0 where none was removed."""
    removed = where_positive(water_removed_kg, water_removed_kg)
    share = np.where(unsold_kg.real < removed.real, ratio(unsold_kg, removed), 1.0)
    nothing = (unsold_kg == 0.0) | (water_removed_kg.real <= 0.0)
    share = np.where(nothing, 0.0, share)
    return np.where(_known(unsold_kg) & _known(water_removed_kg), share, np.nan)
