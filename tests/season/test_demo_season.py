"""The invented season has something real to show of every dryer that dried a batch."""

from __future__ import annotations

import numpy as np
import pytest

from dryrecords.config import demo
from dryrecords.equipment.models import Dryer
from dryrecords.season import services
from dryrecords.season.advice import advise
from dryrecords.season.models import DryerCalibration
from tests.season.synthetic import let_time_pass

pytestmark = pytest.mark.django_db


@pytest.fixture
def learned() -> list[DryerCalibration]:
    demo.load()
    services.work_off()
    let_time_pass()
    services.work_off()
    assert services.all_failures() == []
    return list(DryerCalibration.objects.all())


def test_every_dryer_shows_what_its_batches_taught_and_gets_advice(learned: list[DryerCalibration]) -> None:
    dryers = {dryer.pk: dryer for dryer in Dryer.objects.select_related("site", "tank")}
    assert {held.dryer_id for held in learned} == set(dryers)
    fixed = [held for held in learned if dryers[held.dryer_id].type in ("batch_in_bin", "column_batch")]
    assert all(held.figures["relation"] for held in fixed)
    # Of dryers that the model is not of: their spread, and why they taught nothing.
    others = [held for held in learned if held not in fixed]
    assert all(held.figures["outcomes"]["sd_pct"] and held.figures["left_out"] for held in others)
    corn = [held.figures["relation"] for held in fixed if held.crop == "corn"]
    assert len(corn) == 5
    for relation in corn:
        assert relation["left_out_rmse_pct"] < relation["same_as_last_rmse_pct"]
    # Batch dryers of corn: by a fifth and more better than expecting what came out last time.
    ratios = [relation["left_out_rmse_pct"] / relation["same_as_last_rmse_pct"] for relation in corn]
    assert np.mean(ratios) < 0.8

    moistures = {"corn": 22.0, "soybean": 16.0, "wheat": 17.0}
    for held in learned:
        made = advise(dryers[held.dryer_id], held.crop, moistures[held.crop], calibration=held)
        assert made.target.moisture_pct <= made.base_moisture_pct
        assert made.money_unit == "usd_per_bu"
        assert made.cutoff_temp_c is not None
        assert made.settings["ambient_temp_c"] < made.cutoff_temp_c < made.settings["plenum_temp_c"] + 10
