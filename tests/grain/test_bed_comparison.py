"""Figures that another implementation of the same published method gave: model comparison, not measurement."""

import numpy as np
import pytest

from dryrecords.grain.bed import run_bed

from .beds import batch, celsius, fahrenheit, heat_btu_lb, hours

# --- model comparison, not measurement: another implementation of Thompson, Peart & Foster 1968, with constant
# specific heats of 1.12 and 4.19 kJ/(kg K) and heat of bound water 4.35 exp(-28.25 m), 15 layers, steps of 1 min.
# Rye has no constants of its own and takes corn's isotherm and law with those specific heats. ---

PLENUM_F = np.repeat([120.0, 140.0, 160.0, 180.0, 200.0], 3)
CFM_BU = np.tile([15.0, 20.0, 25.0], 5)
HOURS = np.array([12.9, 10.9, 9.7, 9.2, 7.6, 6.6, 7.2, 5.8, 4.9, 5.9, 4.7, 3.9, 5.1, 3.9, 3.3])
BOTTOM = np.array([11.6, 12.3, 12.8, 10.1, 11.0, 11.6, 8.4, 9.5, 10.2, 6.7, 7.9, 8.7, 5.1, 6.3, 7.2])
TOP = np.array([19.1, 18.4, 18.0, 20.3, 19.5, 18.9, 21.5, 20.6, 20.0, 22.6, 21.6, 20.9, 23.6, 22.5, 21.8])
EXHAUST_F = np.array([98, 102, 105, 103, 109, 113, 105, 113, 118, 103, 113, 121, 99, 112, 121])
HEAT = np.array([2141, 2408, 2681, 1969, 2153, 2342, 1873, 2000, 2133, 1825, 1911, 2010, 1808, 1864, 1935])


# time, bottom, top [points], exhaust [F], heat; corn itself: specific heat of Kazarian & Hall is a quarter higher
@pytest.mark.parametrize(
    ("crop", "time", "bottom", "top", "exhaust", "heat"),
    [("rye", 0.02, 0.4, 0.6, 6.5, 0.01), ("corn", 0.04, 0.6, 1.0, 12.0, 0.04)],
)
def test_another_implementation_at_15_plenums_and_airflows(crop, time, bottom, top, exhaust, heat):
    run = run_bed(batch(15, crop, plenum_f=PLENUM_F, cfm_bu=CFM_BU))
    np.testing.assert_allclose(hours(run), HOURS, rtol=time)
    np.testing.assert_allclose(run.driest_at_stop_pct, BOTTOM, atol=bottom)
    np.testing.assert_allclose(run.wettest_at_stop_pct, TOP, atol=top)
    np.testing.assert_allclose(fahrenheit(run.exhaust_temp_at_stop_c), EXHAUST_F, atol=exhaust)
    np.testing.assert_allclose(heat_btu_lb(run), HEAT, rtol=heat)


@pytest.mark.parametrize(
    ("layers", "time_h", "bottom", "top", "exhaust_f", "heat"),
    [
        (5, 6.02, 10.76, 19.53, 115.4, 2092),
        (10, 5.82, 9.80, 20.28, 113.4, 2023),
        (15, 5.75, 9.46, 20.55, 112.7, 2000),
        (30, 5.69, 9.17, 20.82, 112.1, 1982),
        (60, 5.67, 9.02, 20.95, 111.9, 1974),
    ],
)
def test_another_implementation_at_other_layers(layers, time_h, bottom, top, exhaust_f, heat):
    """Our steps are longer, which takes back some of what few layers add to the time."""
    run = run_bed(batch(crop="rye"), layers)
    assert hours(run)[0] == pytest.approx(time_h, rel=0.05 if layers < 10 else 0.03)
    assert run.driest_at_stop_pct[0] == pytest.approx(bottom, abs=0.5 if layers < 10 else 0.3)
    assert run.wettest_at_stop_pct[0] == pytest.approx(top, abs=0.5 if layers < 10 else 0.3)
    assert fahrenheit(run.exhaust_temp_at_stop_c)[0] == pytest.approx(exhaust_f, abs=5.5 if layers < 10 else 4.0)
    assert heat_btu_lb(run)[0] == pytest.approx(heat, rel=0.05 if layers < 10 else 0.03)


@pytest.mark.parametrize(
    ("changes", "time_h", "heat"),
    [
        ({"direct_fired": 1.0}, 5.87, 2050),
        ({"drying_rate_factor": 1.3}, 5.40, 1879),
        ({"drying_rate_factor": 0.7}, 6.43, 2238),
        ({"ambient_temp_c": celsius(30.0), "ambient_rh_pct": 80.0, "grain_temp_c": celsius(30.0)}, 5.55, 2374),
    ],
)
def test_another_implementation_with_one_thing_changed(changes, time_h, heat):
    run = run_bed(batch(crop="rye", **changes))
    assert hours(run)[0] == pytest.approx(time_h, rel=0.03)
    assert heat_btu_lb(run)[0] == pytest.approx(heat, rel=0.03)


def test_one_cutoff_for_all_leaves_wetter_what_came_in_wetter():
    """Another implementation: exhaust of 115 F leaves 12.4 to 16.0 %, 0.36 point for each point that came in."""
    moisture_in = np.array([18.0, 20.0, 22.0, 25.0, 28.0])
    run = run_bed(
        batch(5, "rye", moisture_in_pct=moisture_in, stop_moisture_pct=np.nan, stop_exhaust_temp_c=celsius(115.0))
    )
    np.testing.assert_allclose(run.moisture_at_stop_pct, [12.4, 13.2, 14.0, 15.0, 16.0], atol=0.4)
    assert np.polyfit(moisture_in, run.moisture_at_stop_pct, 1)[0] == pytest.approx(0.36, abs=0.02)
