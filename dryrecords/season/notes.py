"""What is to be said beside the figures of a batch: what is missing, what was assumed, what looks wrong."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from dryrecords.grain.energy import (
    DEFAULT_ELECTRICITY_USE,
    DEFAULT_GRAIN_TEMP_C,
    DEFAULT_PROPANE_USE,
    MOTOR_EFFICIENCY,
)
from dryrecords.grain.volume import GALLON_M3
from dryrecords.season.brackets import FuelBracket
from dryrecords.season.facts import BatchRow, SampleRow

# Without one of these there are no figures of the grain; without a price there is only no money.
ESSENTIAL = {"wet_mass_lb", "dryer.diameter_ft", "moisture_in_pct", "moisture_out_pct", "drying_ended_at"}

# Moisture goes on moving after drying; a "cooled" sample taken later than this tells of the bin, not of the dryer.
COOLED_SAMPLE_WITHIN = timedelta(hours=48)

# No sound grain is drier or wetter than this; a slipped decimal point is. Common practice, no source.
DRIEST_PCT, WETTEST_PCT = 4.0, 45.0
SHORTEST_S, LONGEST_S = 300.0, 60 * 86400.0
LIGHTEST_KG, HEAVIEST_KG = 200.0, 5e6
# Water takes about 2.5 MJ a kilogram; the best dryers come near it, the worst need four times as much.
LEAST_J_KG, MOST_J_KG = 1.2e6, 2e7
READINGS_WITHIN_S = 86400.0
HANDLING_GAIN_PCT = -1.0

SAYINGS = {
    "hot_samples_only": "Moisture out comes from hot samples, which read low: test a cooled sample.",
    "wetter_out_than_in": "The grain came out wetter than it went in: check the samples.",
    "late_sample": "A cooled sample was taken more than 48 hours after drying ended.",
    "early_sample": "A cooled sample was taken before drying ended: check the times.",
    "moisture_implausible": "A moisture is below 4 or above 45 percent: check the sample; percent is 14.1, not 0.141.",
    "refill_outside_batch": "A refill lies outside of the batch's times: check them.",
    "drying_time_implausible": "Drying took less than 5 minutes or more than 60 days: check the times.",
    "mass_implausible": "The mass is no dryer's filling: check its unit, pounds.",
    "weighed_more_than_possible": "More dry grain was weighed than the wet grain can leave: check both.",
    "energy_implausible": "The metered fuel is far from what a pound of water takes: check the readings.",
    "readings_cover_other_batches": "The fuel readings around this batch cover other batches too. Fuel is estimated.",
    "readings_far_apart": "The fuel readings lie more than a day outside of the batch: other use would be counted in.",
    "reading_above_capacity": "A tank reading is above the tank's capacity. Fuel is estimated.",
    "fuel_account_finding": "The account of the tank has a finding here. Fuel is what was expected.",
    "power_count_fell": "The power meter counted backwards: check the readings. Electricity is estimated.",
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
    # What the share of a tank's or a meter's account rests on; empty where the figure is none.
    fuel_share: str = ""
    electricity_share: str = ""

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
    if any(not DRIEST_PCT <= sample.moisture_pct <= WETTEST_PCT for sample in (*wet, *out)):
        notes.warn("moisture_implausible")
    if out[0].stage == "hot":
        notes.warn("hot_samples_only")
    ended = batch.drying_ended_at
    if ended and any(s.stage == "cooled" and s.taken_at - ended > COOLED_SAMPLE_WITHIN for s in out):
        notes.warn("late_sample")
    if ended and any(s.stage == "cooled" and s.taken_at < ended for s in out):
        notes.warn("early_sample")


def note_times(notes: Notes, batch: BatchRow) -> None:
    ended = batch.drying_ended_at
    if ended and not SHORTEST_S <= (ended - batch.started_at).total_seconds() <= LONGEST_S:
        notes.warn("drying_time_implausible")
    times = [datetime.fromisoformat(refill["at"]) for refill in batch.refills]
    if any(at < batch.started_at or (ended and at > ended) for at in times):
        notes.warn("refill_outside_batch")


def note_span(notes: Notes, batch: BatchRow, bracket: FuelBracket) -> None:
    ended = batch.drying_ended_at or batch.started_at
    if not bracket.shared and bracket.span_s > (ended - batch.started_at).total_seconds() + READINGS_WITHIN_S:
        notes.warn("readings_far_apart")


def note_figures(notes: Notes, figures: dict[str, float | None], flags: dict[str, bool]) -> None:
    """What only the figures show to be wrong."""
    points, wet, handling = figures["points_removed"], figures["wet_mass_kg"], figures["shrink_handling_pct"]
    energy = figures["fuel_j_per_kg_water"]
    if points is not None and points < 0:
        notes.warn("wetter_out_than_in")
    if wet is not None and not LIGHTEST_KG <= wet <= HEAVIEST_KG:
        notes.warn("mass_implausible")
    if flags["dry_mass_weighed"] and handling is not None and handling < HANDLING_GAIN_PCT:
        notes.warn("weighed_more_than_possible")
    if not flags["fuel_estimated"] and energy is not None and not LEAST_J_KG <= energy <= MOST_J_KG:
        notes.warn("energy_implausible")


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
