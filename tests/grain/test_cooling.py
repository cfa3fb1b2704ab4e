"""Properties of cooling: never beyond the heat of the grain, order, odd values."""

import numpy as np
import pytest

from dryrecords.grain import cooling
from dryrecords.grain.crops import CROPS, isotherms, specific_heats
from dryrecords.grain.energy import free_water_latent_heat_j_kg, specific_heat_j_kg_k

NAMES = np.array(sorted(CROPS))
ISOTHERMS, HEATS = isotherms(NAMES), specific_heats(NAMES)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("moisture_pct", [8.0, 14.0, 20.0, 30.0])
def test_no_more_water_than_the_heat_evaporates(moisture_pct):
    after = moisture_pct - cooling.cooling_ceiling_pct(moisture_pct, 70.0, 5.0, ISOTHERMS, HEATS)
    water = (moisture_pct - after) / (100.0 - after)
    heat = specific_heat_j_kg_k(moisture_pct, HEATS) * 65.0
    assert (water * free_water_latent_heat_j_kg(70.0) <= heat).all()
    assert (water > 0.0).all()


@pytest.mark.filterwarnings("error")
def test_share_is_held_between_none_and_all():
    bound = cooling.cooling_ceiling_pct(16.0, 50.0, 10.0, ISOTHERMS, HEATS)
    for share, part in [(-1.0, 0.0), (0.0, 0.0), (0.5, 0.5), (1.0, 1.0), (3.0, 1.0)]:
        after = cooling.cooled_moisture_pct(16.0, 50.0, 10.0, ISOTHERMS, HEATS, share)
        assert 16.0 - after == pytest.approx(part * bound)


def test_steps_of_cooling_add_up():
    once = 16.0 - cooling.cooling_ceiling_pct(16.0, 60.0, 10.0, ISOTHERMS, HEATS)
    half = 16.0 - cooling.cooling_ceiling_pct(16.0, 60.0, 30.0, ISOTHERMS, HEATS)
    twice = half - cooling.cooling_ceiling_pct(half, 30.0, 10.0, ISOTHERMS, HEATS)
    assert twice == pytest.approx(once, abs=1e-5)


@pytest.mark.filterwarnings("error")
def test_hotter_grain_gives_off_more_and_warm_air_takes_nothing():
    corn, heat = isotherms(np.array("corn")), specific_heats(np.array("corn"))
    removed = cooling.cooling_ceiling_pct(16.0, np.linspace(10.0, 80.0, 30), 10.0, corn, heat)
    assert removed[0] == 0.0 and (np.diff(removed) > 0.0).all()
    assert cooling.cooling_ceiling_pct(16.0, 10.0, 25.0, corn, heat) == 0.0


@pytest.mark.filterwarnings("error")
def test_shapes_and_odd_values():
    corn, heat = isotherms(np.array("corn")), specific_heats(np.array("corn"))
    assert cooling.cooling_ceiling_pct(16.0, 50.0, 10.0, corn, heat).shape == ()
    assert cooling.cooling_ceiling_pct(np.zeros(0), 50.0, 10.0, corn, heat).shape == (0,)
    assert cooling.cooling_ceiling_pct(np.full((3, 1), 16.0), np.full(4, 50.0), 10.0, corn, heat).shape == (3, 4)
    assert np.isnan(
        cooling.cooled_moisture_pct(np.array([np.nan, 16.0]), np.array([50.0, np.nan]), 10.0, corn, heat)
    ).all()
    assert np.isinf(cooling.cooling_time_s(0.0, 15.0, 720.0, heat))
    assert (np.diff(cooling.cooling_time_s(np.array([0.001, 0.01, 0.1]), 15.0, 720.0, heat)) < 0.0).all()
