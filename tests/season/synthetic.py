"""A dryer whose batches the bed model made, with factors that are known and the noise of meters."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np
from django.utils import timezone

from dryrecords.equipment.models import Dryer
from dryrecords.grain.bed import BedRun, BedScenario, run_bed
from dryrecords.harvest.models import Batch
from dryrecords.journal import kinds
from dryrecords.journal.models import StaleMark
from dryrecords.season import services
from dryrecords.season.dryer_bed import Assumptions, dryer_bed, wet_density_kg_m3
from dryrecords.season.forecast import Taught, Wanted, scenario_of
from dryrecords.season.models import DryerCalibration
from tests import factories as make
from tests.season.scene import F, Yard, at

DEPTH_M = 0.5
# A batch every other day: the noise is drawn for each, the settings vary with the season.
HOURS_BETWEEN = 48.0
METER_NOISE_PCT = 0.2


def batch_dryer(yard: Yard, **values: Any) -> Dryer:
    """24 ft across, 15 hp, and a 4 hp fan below."""
    given = {
        "tank_id": yard.tank.pk,
        "name": "Synthetic",
        "diameter_m": 7.3152,
        "bed_depth_m": DEPTH_M,
        "fans": [{"purpose": "drying", "power_w": 11_185.0}, {"purpose": "cooling", "power_w": 2_983.0}],
    }
    return make.dryer(yard.by, yard.site, **(given | values))


@dataclass(frozen=True)
class Truth:
    """What the model would have to learn of a dryer."""

    drying_rate: float = 1.0
    airflow: float = 1.0
    offset_c: float = 0.0

    @property
    def logs(self) -> np.ndarray:
        return np.array([math.log(self.drying_rate), math.log(self.airflow), self.offset_c])

    def dry(self, dryer: Dryer, wanted: Wanted, cutoff_c: float) -> BedRun:
        """A batch that this dryer stops when its sensor shows the cut-off."""
        bed = dryer_bed(dryer, wanted.crop, wanted.moisture_in_pct, Assumptions(), depth_m=DEPTH_M)
        scenario: BedScenario = scenario_of(dryer, wanted, bed, Taught(), Assumptions())
        return run_bed(
            replace(
                scenario,
                drying_rate_factor=np.array([self.drying_rate]),
                airflow_factor=np.array([self.airflow]),
                stop_exhaust_temp_c=np.array([cutoff_c - self.offset_c]),
            )
        )


def season_of(yard: Yard, dryer: Dryer, truth: Truth, count: int, seed: int = 3) -> list[Batch]:
    rng = np.random.default_rng(seed)
    made = []
    for number in range(count):
        moisture = float(rng.uniform(19.0, 26.0))
        wanted = Wanted("corn", moisture, 14.0, F(float(rng.uniform(150, 175))), float(rng.uniform(0, 15)), 65.0)
        cutoff = float(rng.uniform(48.0, 56.0))
        run = truth.dry(dryer, wanted, cutoff)
        cooled = float(run.moisture_cooled_pct[0]) + float(rng.normal(0.0, METER_NOISE_PCT))
        made.append(record(yard, dryer, number, wanted, cutoff, float(run.drying_s[0]), cooled))
    return made


def record(
    yard: Yard,
    dryer: Dryer,
    number: int,
    wanted: Wanted,
    cutoff_c: float,
    drying_s: float,
    cooled_pct: float,
    **values: Any,
) -> Batch:
    start = number * HOURS_BETWEEN
    given = {
        "dryer": dryer,
        "wet_mass_kg": math.pi * 3.6576**2 * DEPTH_M * wet_density_kg_m3(wanted.crop, wanted.moisture_in_pct),
        "drying_ended_at": at(start) + timedelta(seconds=drying_s),
        "plenum_temp_c": wanted.plenum_temp_c,
        "ambient_temp_c": wanted.ambient_temp_c,
        "ambient_rh_pct": wanted.ambient_rh_pct,
        "grain_temp_c": wanted.ambient_temp_c,
        "cutoff_temp_c": cutoff_c,
        "stop_reason": "cutoff",
    }
    return yard.dried(wanted.moisture_in_pct, cooled_pct, start, **(given | values))


def let_time_pass() -> None:
    """What waits to be worked on has waited long enough."""
    StaleMark.objects.filter(kind=kinds.CALIBRATION).update(run_after=timezone.now())


def learn(dryer: Dryer, crop: str = "corn") -> DryerCalibration:
    services.work_off()
    let_time_pass()
    services.work_off()
    assert services.all_failures() == []
    return DryerCalibration.objects.get(dryer_id=dryer.pk, crop=crop)
