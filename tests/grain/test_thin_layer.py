"""Properties of the thin-layer laws: start, order, equivalent time, ranges, odd values."""

import numpy as np
import pytest

from dryrecords.grain import thin_layer as drying
from dryrecords.grain.crops import CROPS

LAWS = {
    "thompson": drying.THOMPSON_CORN,
    "misra": drying.MISRA_BROOKER_CORN,
    "wheat": drying.OCALLAGHAN_WHEAT,
    "barley": drying.BOYCE_BARLEY,
    "short_rice": drying.AGRAWAL_SINGH_RICE,
    "medium_rice": drying.WANG_SINGH_RICE,
}
every_law = pytest.mark.parametrize("law", LAWS.values(), ids=LAWS.keys())
WARM = drying.LayerAir(temp_c=45.0, rh_pct=30.0)


@every_law
@pytest.mark.filterwarnings("error")
def test_drying_starts_at_one_and_goes_down_to_nothing(law):
    time_s = np.concatenate([[0.0], np.geomspace(1.0, 1e8, 200)])
    ratio = drying.moisture_ratio(time_s, law, WARM)
    assert ratio[0] == 1.0
    assert (np.diff(ratio) <= 0.0).all() and (ratio[:100] > ratio[1:101]).all()
    assert ratio[-1] < 1e-3


@every_law
def test_time_and_ratio_are_inverse(law):
    ratio = np.linspace(0.01, 1.0, 50)
    back = drying.moisture_ratio(drying.equivalent_time_s(ratio, law, WARM), law, WARM)
    assert back == pytest.approx(ratio, rel=1e-11)


@every_law
def test_many_small_steps_are_one_large_one(law):
    ratio = np.array(1.0)
    for _ in range(90):
        ratio = drying.moisture_ratio_after(ratio, 60.0, law, WARM)
    assert ratio == pytest.approx(drying.moisture_ratio(5400.0, law, WARM), rel=1e-11)


@every_law
def test_hotter_air_dries_faster(law):
    low, high = law.temp_limits_c
    air = drying.LayerAir(temp_c=np.linspace(low, high, 30), rh_pct=30.0)
    ratio = drying.moisture_ratio_after(0.8, 1800.0, law, air)
    assert (np.diff(ratio) < 0.0).all()


@every_law
@pytest.mark.filterwarnings("error")
def test_no_state_of_a_bed_breaks_a_law(law):
    rng = np.random.default_rng(4)
    air = drying.LayerAir(
        temp_c=rng.uniform(-10.0, 110.0, 2000),
        rh_pct=rng.uniform(0.0, 100.0, 2000),
        velocity_m_s=rng.uniform(0.0, 1.0, 2000),
        moisture_in_pct=rng.uniform(10.0, 40.0, 2000),
    )
    now = rng.uniform(0.0, 1.0, 2000)
    later = drying.moisture_ratio_after(now, 30.0, law, air)
    assert np.isfinite(later).all()
    assert ((later >= 0.0) & (later <= now)).all()


@every_law
def test_grain_that_took_up_water_falls_from_where_it_is(law):
    assert drying.moisture_ratio_after(1.2, 0.0, law, WARM) == pytest.approx(1.2)
    fresh = drying.moisture_ratio_after(1.0, 600.0, law, WARM)
    assert drying.moisture_ratio_after(1.2, 600.0, law, WARM) == pytest.approx(1.2 * fresh)


def test_the_quadratic_is_stable_where_its_second_constant_vanishes():
    # at 300 F the square term all but disappears; a naive root loses every digit there
    hot = drying.LayerAir(temp_c=148.9)
    ratio = drying.moisture_ratio(np.array([1e-6, 1.0, 60.0]), drying.THOMPSON_CORN, hot)
    slope = (1.0 - ratio) / np.array([1e-6, 1.0, 60.0])
    assert slope[0] == pytest.approx(1.0 / 3600.0 / (1.86178 - 0.0048843 * 300.02), rel=1e-3)


def test_range_is_told():
    assert drying.in_range(np.array([0.0, 16.0, 100.0, np.nan]), drying.THOMPSON_CORN).tolist() == [
        False,
        True,
        True,
        False,
    ]


def test_every_crop_has_a_law_and_a_borrowed_one_is_marked():
    calibrated = {name for name in CROPS if drying.crop_drying(name).is_calibrated}
    assert calibrated == {"corn", "wheat", "barley", "rough_rice"}
    borrowed = drying.crop_drying("soybean")
    assert borrowed.law is drying.THOMPSON_CORN and borrowed.rate_factor == 1.0
    assert not drying.crop_drying("no crop").is_calibrated


@pytest.mark.filterwarnings("error")
def test_shapes_and_missing_values():
    assert drying.moisture_ratio(60.0, drying.THOMPSON_CORN, WARM).shape == ()
    assert drying.moisture_ratio(np.zeros(0), drying.THOMPSON_CORN, WARM).shape == (0,)
    grid = drying.moisture_ratio(np.ones((3, 1)), drying.THOMPSON_CORN, drying.LayerAir(temp_c=np.full(4, 50.0)))
    assert grid.shape == (3, 4)
    assert np.isnan(drying.moisture_ratio_after(np.nan, 60.0, drying.THOMPSON_CORN, WARM))
    for law in LAWS.values():
        assert drying.moisture_ratio_after(0.0, 60.0, law, WARM) == pytest.approx(0.0, abs=1e-300)
