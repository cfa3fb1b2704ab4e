"""What is to be said beside the figures of a batch: what is missing, what was assumed, what looks wrong."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from uuid import UUID

from dryrecords.grain.energy import (
    DEFAULT_ELECTRICITY_USE,
    DEFAULT_GRAIN_TEMP_C,
    DEFAULT_PROPANE_USE,
    MOTOR_EFFICIENCY,
)
from dryrecords.grain.volume import GALLON_M3
from dryrecords.season.facts import BatchRow, SampleRow

# Without one of these there are no figures of the grain; without a price there is only no money.
ESSENTIAL = {"wet_mass_lb", "dryer.diameter_ft", "moisture_in_pct", "moisture_out_pct", "drying_ended_at"}

# Moisture goes on moving after drying; a "cooled" sample taken later than this tells of the bin, not of the dryer.
COOLED_SAMPLE_WITHIN = timedelta(hours=48)

SAYINGS = {
    "hot_samples_only": "Moisture out comes from hot samples, which read low: test a cooled sample.",
    "wetter_out_than_in": "The grain came out wetter than it went in: check the samples.",
    "late_sample": "A cooled sample was taken more than 48 hours after drying ended.",
    "overlaps_another_batch": "Another batch was in this dryer at the same time: check the times.",
    "tank_rose_without_delivery": "The tank rose with no delivery recorded: check the readings. Fuel is estimated.",
    "fuel_readings_differ_in_kind": "The readings around the batch cannot be compared. Fuel is estimated.",
    "tank_capacity_unknown": "A gauge was read on a tank of unknown capacity. Fuel is estimated.",
}


@dataclass
class Notes:
    """Names are those of the wire, because people read them."""

    missing: list[str] = field(default_factory=list)
    assumed: list[dict[str, Any]] = field(default_factory=list)
    warnings: list[dict[str, Any]] = field(default_factory=list)

    def assume(self, name: str, value: float | None, basis: str) -> None:
        self.assumed.append({"field": name, "value": value, "basis": basis})

    def warn(self, code: str, batches: list[UUID] | None = None) -> None:
        self.warnings.append(
            {"code": code, "detail": SAYINGS[code], "batches": [str(batch) for batch in batches or []]}
        )

    @property
    def complete(self) -> bool:
        return not ESSENTIAL.intersection(self.missing)


def note_samples(notes: Notes, batch: BatchRow, wet: list[SampleRow], out: list[SampleRow]) -> None:
    if not wet:
        notes.missing.append("moisture_in_pct")
    if not out:
        notes.missing.append("moisture_out_pct")
        return
    if out[0].stage == "hot":
        notes.warn("hot_samples_only")
    ended = batch.drying_ended_at
    if ended and any(s.stage == "cooled" and s.taken_at - ended > COOLED_SAMPLE_WITHIN for s in out):
        notes.warn("late_sample")


def note_flags(notes: Notes, crop: str, flags: dict[str, bool]) -> None:
    """What the numeric core had to take from a default."""
    if flags["fuel_estimated"]:
        notes.assume(
            "fuel_use_gal_per_point_bu",
            round(DEFAULT_PROPANE_USE.value / GALLON_M3, 6),
            f"propane, or as much energy: {DEFAULT_PROPANE_USE.source}",
        )
    if flags["electricity_estimated"]:
        notes.assume("electricity_use_kwh_per_point_bu", DEFAULT_ELECTRICITY_USE.value, DEFAULT_ELECTRICITY_USE.source)
    if flags["electricity_from_fan"]:
        notes.assume(
            "motor_efficiency", MOTOR_EFFICIENCY, "electricity is fan power over time; common practice, no source"
        )
    if flags["grain_temp_assumed"]:
        notes.assume("grain_temp_f", DEFAULT_GRAIN_TEMP_C * 9 / 5 + 32, "an autumn day; our own choice")
    if flags["grain_temp_out_from_plenum"]:
        notes.assume("heat.grain_btu", None, "the grain is taken to leave at the plenum temperature: an upper bound")
    if flags["isotherm_generic"]:
        notes.assume("isotherm", None, f"none trusted for {crop}: that of yellow dent corn")
    if flags["specific_heat_generic"]:
        notes.assume("specific_heat", None, f"none trusted for {crop}: a generic one")
