"""A dryer's fuel against what its batches should have taken, batch by batch, and whether that changes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import numpy as np
from django.db.models import Subquery

from dryrecords.equipment.models import Dryer
from dryrecords.grain.arrays import FloatArray
from dryrecords.grain.demand import BATCH_U
from dryrecords.grain.drift import LIMIT_U, moving_average
from dryrecords.harvest.models import Batch
from dryrecords.season.calibration_views import usual_crop
from dryrecords.season.models import BatchResult
from dryrecords.tenancy.access import Access
from dryrecords.tenancy.writes import get

# The first batches of a season say what is usual for the dryer. Our own choice.
REFERENCE = 8

EFFICIENCY_ASSUMED = [
    f"The season's first {REFERENCE} batches say what is usual of this dryer. Cold air, moist grain and plenum are in "
    "what is expected and raise no alarm.",
]

MORE_CAUSES = (
    "a floor, a screen or a column plugged with fines and trash: the air finds less of the grain",
    "a burner that is set wrong, or a thermostat or a thermometer in the plenum that reads wrong",
    "more fines in the grain, from the combine's setting or the auger: clean it and spread it",
    "doors, ducts or a plenum that leak hot air",
    "a moisture meter or a scale that changed, so that less water is on record than came out",
    "a gauge or deliveries that are recorded wrong: look at the tank's account",
)
LESS_CAUSES = (
    "something that was put right: a cleaned floor, a burner that was set",
    "a moisture meter or a scale that changed, so that more water is on record than came out",
    "a gauge or deliveries that are recorded wrong: look at the tank's account",
)


@dataclass(frozen=True)
class DriedBatch:
    """One batch on the chart. Ratio: fuel over what was expected; average and limits are of the ratio."""

    batch: UUID
    at: datetime
    basis: str
    fuel_j_per_kg: float
    fuel_u_j_per_kg: float
    expected_j_per_kg: float
    ratio: float
    ratio_u: float
    # None while the first batches show what is usual.
    average: float | None
    low: float | None
    high: float | None
    beyond: bool


@dataclass(frozen=True)
class Efficiency:
    """signal: `too_few` batches, `none`, or fuel that goes up (`more`) or down (`less`) beyond what is expected.

    explained : by how much the expectation changed from the first batches to the last ones, as a fraction: weather,
        plenum and moistures. That is no alarm.
    """

    dryer: Dryer
    season: int
    crop: str
    batches: list[DriedBatch]
    usual_ratio: float | None
    usual_ratio_u: float | None
    signal: str
    since: datetime | None
    ratio_now: float | None
    explained: float | None
    causes: tuple[str, ...]


def dryer_efficiency(access: Access, dryer_id: UUID, season: int | None, crop: str = "") -> Efficiency:
    """Of batches whose fuel was read or allocated, and that the caller may see."""
    dryer = get(access, Dryer, dryer_id)
    return efficiency_of(access, dryer, season, crop or usual_crop(dryer))


def efficiency_of(access: Access, dryer: Dryer, season: int | None, crop: str) -> Efficiency:
    """Of a dryer that the caller has been let see already."""
    batches = Batch.objects.visible_to(access).filter(dryer=dryer, crop=crop).order_by("started_at", "id")
    chosen = batches.filter(season=season or Subquery(batches.reverse().values("season")[:1]))
    rows_of_season = list(chosen.values_list("pk", "started_at", "season"))
    year = season or (rows_of_season[0][2] if rows_of_season else 0)
    moments = {pk: at for pk, at, _ in rows_of_season}
    read = (BatchResult.Basis.METERED, BatchResult.Basis.ALLOCATED)
    rows = BatchResult.objects.filter(
        organization_id=access.organization_id,
        batch_id__in=moments,
        complete=True,
        fuel_basis__in=read,
        fuel_energy_j__gt=0,
        expected_fuel_energy_j__gt=0,
        water_removed_kg__gt=0,
    )
    results = sorted(rows, key=lambda row: (moments[row.batch_id], row.batch_id))
    return _described(dryer, year, crop, results, moments)


def _described(
    dryer: Dryer, season: int, crop: str, rows: list[BatchResult], moments: dict[UUID, datetime]
) -> Efficiency:
    fuel, fuel_u, expected, expected_u, water = (
        np.array([getattr(row, name) or 0.0 for row in rows], dtype=float)
        for name in (
            "fuel_energy_j",
            "fuel_energy_j_u",
            "expected_fuel_energy_j",
            "expected_fuel_energy_j_u",
            "water_removed_kg",
        )
    )
    y = np.log(fuel / expected)
    u = np.sqrt((fuel_u / fuel) ** 2 + (expected_u / expected) ** 2 + BATCH_U**2)
    centre, centre_u = _usual(y[:REFERENCE], u[:REFERENCE])
    average, limit, beyond = _chart(y, u, centre, centre_u)
    known = rows and len(rows) > REFERENCE
    dried = [
        DriedBatch(
            batch=row.batch_id,
            at=moments[row.batch_id],
            basis=row.fuel_basis,
            fuel_j_per_kg=float(fuel[i] / water[i]),
            fuel_u_j_per_kg=float(fuel_u[i] / water[i]),
            expected_j_per_kg=float(expected[i] / water[i]),
            ratio=math.exp(y[i]),
            ratio_u=math.exp(y[i]) * float(u[i]),
            average=math.exp(average[i]) if i >= REFERENCE else None,
            low=math.exp(centre - limit[i]) if i >= REFERENCE else None,
            high=math.exp(centre + limit[i]) if i >= REFERENCE else None,
            beyond=bool(beyond[i]),
        )
        for i, row in enumerate(rows)
    ]
    signal, since = _signal(dried, math.exp(centre)) if known else ("too_few", None)
    per_water = np.log(expected / water)
    return Efficiency(
        dryer=dryer,
        season=season,
        crop=crop,
        batches=dried,
        usual_ratio=math.exp(centre) if rows else None,
        usual_ratio_u=math.exp(centre) * centre_u if rows else None,
        signal=signal,
        since=since,
        ratio_now=dried[-1].average if known else None,
        explained=math.expm1(per_water[-REFERENCE:].mean() - per_water[:REFERENCE].mean()) if known else None,
        causes={"more": MORE_CAUSES, "less": LESS_CAUSES}.get(signal, ()),
    )


def _usual(y: FloatArray, u: FloatArray) -> tuple[float, float]:
    """Mean of the first batches, weighted, and its standard uncertainty; 0 where there is none."""
    if not y.size:
        return 0.0, 0.0
    weight = 1.0 / u**2
    return float((y * weight).sum() / weight.sum()), float(weight.sum() ** -0.5)


def _chart(y: FloatArray, u: FloatArray, centre: float, centre_u: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """From the batch after the first ones on; what these do not know of the usual widens the limits."""
    average, limit, _ = moving_average(y[REFERENCE:], centre, u[REFERENCE:])
    wide = np.hypot(limit, LIMIT_U * centre_u)
    before = np.zeros(min(y.size, REFERENCE))
    return (
        np.concatenate((before, average)),
        np.concatenate((before, wide)),
        np.concatenate((before, np.abs(average - centre) > wide)),
    )


def _signal(dried: list[DriedBatch], usual: float) -> tuple[str, datetime | None]:
    """As the newest batch has it, and since which batch it has been so without a break."""
    if not dried[-1].beyond:
        return "none", None
    inside = [i for i, each in enumerate(dried) if not each.beyond]
    return ("more" if (dried[-1].average or 0.0) > usual else "less"), dried[inside[-1] + 1].at
