"""Small calculators about grain: shrink, equilibrium with air, storage time."""

from __future__ import annotations

from typing import Any

import numpy as np

from api import figures
from api.calculator import Calculator, Columns
from api.fields import ChoiceField, optional
from api.figures import significant
from api.quantities import QuantityField
from api.record_serializer import StrictSerializer
from dryrecords.grain.batch import BatchInputs, batch_figures
from dryrecords.grain.crops import CROPS
from dryrecords.grain.equilibrium import (
    GENERIC_ISOTHERM,
    ISOTHERMS,
    PREFERRED,
    equilibrium_moisture_pct,
    preferred_isotherms,
)
from dryrecords.grain.equilibrium import in_range as in_measured_range
from dryrecords.grain.storage import CORN_OFFSETS, DAMAGE_PCT, ColdBranch, allowable_storage_s
from dryrecords.grain.storage import in_range as in_storage_range
from dryrecords.harvest.models import HIGHEST_MOISTURE_PCT, Crop
from dryrecords.season import cautions
from dryrecords.season.assemble import DEFAULT_HANDLING_PCT
from dryrecords.tenancy.rules import Limits

DAY_S = 86_400.0
MOISTURE = Limits(low=0, high=HIGHEST_MOISTURE_PCT)
PERCENT = Limits(low=0, high=100)
COLD_BRANCHES = {branch.name.lower(): branch for branch in ColdBranch}
TOLD = (
    "points_removed",
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
    "over_drying_points",
    "over_drying_unsold_bu",
    "under_drying_points",
)


class ShrinkSerializer(StrictSerializer):
    crop = ChoiceField(Crop.choices)
    moisture_in_pct = QuantityField(limits=MOISTURE)
    moisture_out_pct = QuantityField(limits=MOISTURE)
    wet_mass_lb = QuantityField(limits=Limits(above=0))
    handling_pct = optional(
        QuantityField,
        limits=Limits(low=0, high=10),
        help_text=f"Loss of dry matter, percent of the wet mass; {DEFAULT_HANDLING_PCT} if left out, as for batches.",
    )
    base_moisture_pct = optional(QuantityField, limits=MOISTURE, help_text="The crop's market base if left out.")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        base = CROPS[attrs["crop"]].base_moisture_pct
        defaults = {"handling_pct": DEFAULT_HANDLING_PCT, "base_moisture_pct": base}
        return attrs | {name: value for name, value in defaults.items() if attrs.get(name) is None}


class Shrink(Calculator):
    serializer = ShrinkSerializer
    operation_id = "grain_shrink"
    summary = "What drying takes from a mass of grain"
    answer = {
        "crop": {"type": "string"},
        **{name: {"type": "number"} for name in ("handling_pct", "base_moisture_pct")},
        **figures.schema(["moisture_in_pct", "moisture_out_pct", "wet_mass_kg", *TOLD]),
    }

    def answers(self, column: Columns) -> list[dict[str, Any]]:
        exact = {"wet_mass_u_kg": 0.0, "moisture_in_u_pct": 0.0, "moisture_out_u_pct": 0.0}
        values = batch_figures(BatchInputs(**column, **exact)).values
        rows = zip(*(column[name].tolist() for name in ShrinkSerializer.columns()), strict=True)
        return [
            ShrinkSerializer.outward(row) | figures.outward({name: float(values[name][i]) for name in TOLD})
            for i, row in enumerate(rows)
        ]


class EquilibriumSerializer(StrictSerializer):
    crop = ChoiceField(Crop.choices)
    temp_f = QuantityField(limits=Limits(low=-40, high=300))
    rh_pct = QuantityField(limits=PERCENT)


class Equilibrium(Calculator):
    serializer = EquilibriumSerializer
    operation_id = "grain_equilibrium"
    summary = "Moisture that grain comes to in air of a temperature and humidity"
    answer = {
        "crop": {"type": "string"},
        "temp_f": {"type": "number"},
        "rh_pct": {"type": "number"},
        "moisture_pct": {"type": ["number", "null"]},
        "equation": {"type": "string"},
        "source": {"type": "string"},
        "assumed": {"type": "array", "items": {"type": "string"}},
    }

    def answers(self, column: Columns) -> list[dict[str, Any]]:
        moisture = equilibrium_moisture_pct(column["temp_c"], column["rh_pct"], preferred_isotherms(column["crop"]))
        known = in_measured_range(column["temp_c"], column["rh_pct"])
        rows = zip(*(column[name].tolist() for name in EquilibriumSerializer.columns()), strict=True)
        return [
            EquilibriumSerializer.outward(row) | _equilibrium(row[0], float(moisture[i]), bool(known[i]))
            for i, row in enumerate(rows)
        ]


def _equilibrium(crop: str, moisture_pct: float, is_known: bool) -> dict[str, Any]:
    isotherm = ISOTHERMS[PREFERRED[crop]] if crop in PREFERRED else GENERIC_ISOTHERM
    assumed = [] if crop in PREFERRED else [f"No equation is trusted for {crop}: that of yellow dent corn."]
    if not is_known:
        assumed.append("Outside of 32 to 122 F and 10 to 95 %, where the equation was measured.")
    return {
        "moisture_pct": significant(moisture_pct),
        "equation": isotherm.form.value,
        "source": isotherm.source,
        "assumed": assumed,
    }


class StorageTimeSerializer(StrictSerializer):
    crop = ChoiceField(Crop.choices)
    moisture_pct = QuantityField(limits=MOISTURE)
    temp_f = QuantityField(limits=Limits(low=-40, high=130))
    damage_pct = optional(
        QuantityField, limits=Limits(low=0, high=100), help_text=f"Damaged kernels by mass; {DAMAGE_PCT:g} if left out."
    )
    cold_branch = optional(
        ChoiceField,
        COLD_BRANCHES,
        help_text="Which published time to take below 60 F; steele, the shorter one, if left out.",
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        defaults = {"damage_pct": DAMAGE_PCT, "cold_branch": "steele"}
        return attrs | {name: value for name, value in defaults.items() if attrs.get(name) in (None, "")}


class StorageTime(Calculator):
    serializer = StorageTimeSerializer
    operation_id = "grain_storage_time"
    summary = "How long aerated grain keeps at one moisture and temperature"
    answer = {
        "crop": {"type": "string"},
        **{name: {"type": "number"} for name in ("moisture_pct", "temp_f", "damage_pct")},
        "cold_branch": {"enum": list(COLD_BRANCHES)},
        "days": {"type": ["number", "null"]},
        "source": {"type": "string"},
        "assumed": {"type": "array", "items": {"type": "string"}},
        "cautions": {"type": "array", "items": {"type": "string"}},
    }

    def answers(self, column: Columns) -> list[dict[str, Any]]:
        grain = (column["moisture_pct"], column["temp_c"])
        crop, damage = column["crop"], column["damage_pct"].astype(float)
        days = np.full(len(crop), np.nan)
        for name, branch in COLD_BRANCHES.items():
            rows = column["cold_branch"] == name
            time_s = allowable_storage_s(
                *(x[rows] for x in grain), crop=crop[rows], damage_pct=damage[rows], cold_branch=branch
            )
            days[rows] = time_s / DAY_S
        known = in_storage_range(*grain, crop)
        told = zip(*(column[name].tolist() for name in StorageTimeSerializer.columns()), strict=True)
        return [
            StorageTimeSerializer.outward(row)
            | {
                "days": significant(float(days[i])),
                "source": COLD_BRANCHES[row[4]].value,
                "assumed": _of_storage(row[0], bool(known[i])),
                "cautions": [cautions.SPOILING],
            }
            for i, row in enumerate(told)
        ]


def _of_storage(crop: str, is_known: bool) -> list[str]:
    offset = CORN_OFFSETS[crop]
    said = [f"It keeps as corn does that is {offset.points:g} points wetter: {offset.source}."] if offset.points else []
    return said if is_known else [*said, "Outside of the published tables: 13 to 35 % as corn, 30 to 80 F."]
