"""Columns of a record as people read them: a label, and a value with its unit; for settings and for the history."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from dryrecords.core.quantities import UNITS
from dryrecords.office import written

# The end of a column's name, the trade unit it is written in, and decimals. The longest that fits counts.
ENDINGS = (
    ("_kg_m3", "lb_bu", 1),
    ("_m3_s", "cfm", 0),
    ("_j_m3", "btu_gal", 0),
    ("_kg", "lb", 0),
    ("_pa", "inh2o", 2),
    ("_m2", "ft2", 0),
    ("_m3", "gal", 1),
    ("_c", "f", 0),
    ("_m", "ft", 1),
    ("_w", "btu_h", 0),
    ("_j", "therm", 1),
)
# Where the general rule would pick another unit.
UNIT_OF = {"holding_capacity_m3": ("volume_bu", 0), "power_w": ("hp", 0)}
# What the record is called whose history is told.
ITSELF = "itself"
PLAIN_ENDINGS = {"_pct": " %", "_kwh": " kWh", "_usd": ""}
LABELS = {
    "moisture_pct": "moisture",
    "tested_at": "tested",
    "wet_mass_kg": "wet grain",
    "dry_mass_kg": "dry grain",
    "cutoff_temp_c": "stop at",
    "drying_limit_s": "longest drying",
    "cooling_s": "cooling",
    "stop_reason": "stopped by",
    "mass_basis": "mass known by",
    "plenum_temp_c": "plenum",
    "ambient_temp_c": "outside",
    "ambient_rh_pct": "humidity outside",
    "grain_temp_c": "grain temperature",
    "deleted_at": "removed",
}


def label(column: str) -> str:
    if column in LABELS:
        return LABELS[column]
    stem = column.removesuffix("_id")
    for ending in (*(each for each, _, _ in ENDINGS), *PLAIN_ENDINGS, "_s", "_at"):
        stem = stem.removesuffix(ending)
    return written.named(stem)


def value(column: str, of: Any, timezone: str, names: Mapping[str, str] | None = None) -> str:
    """`names` tells what ids are called; one that is not in it stays unnamed."""
    if of is None or of == "":
        return written.NOTHING
    if column.endswith("_id"):
        return (names or {}).get(str(of), "another one")
    if column.endswith("_at") or column in ("at", "effective_from"):
        return written.moment(_moment(of), timezone)
    if isinstance(of, bool):
        return "yes" if of else "no"
    if isinstance(of, list):
        return written.counted(len(of), "entry", "entries")
    if isinstance(of, str):
        return written.named(of) if column in ("crop", "stage", "stop_reason", "mass_basis", "type", "kind") else of
    return _number(column, float(of))


def _moment(of: Any) -> datetime:
    return of if isinstance(of, datetime) else datetime.fromisoformat(str(of))


def _number(column: str, of: float) -> str:
    if column.endswith("_s") and not column.endswith("_m3_s"):
        return written.duration(of)
    if column in UNIT_OF:
        return written.quantity(of, *UNIT_OF[column])
    for ending, unit, digits in ENDINGS:
        if column.endswith(ending):
            return f"{written.number(UNITS[unit].from_si(of), digits)} {written.sign(unit)}"
    for ending, after in PLAIN_ENDINGS.items():
        if column.endswith(ending):
            return f"{of:g}{after}"
    return f"{of:g}"
