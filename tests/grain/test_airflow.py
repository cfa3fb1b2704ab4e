"""Properties of air through grain: inverse pairs, order, limits, operating point, odd values."""

import numpy as np
import pytest
from scipy.optimize import brentq

from dryrecords.grain import airflow

CROPS = np.array(sorted(airflow.RESISTANCES))
AIRFLOWS = np.geomspace(1e-8, 10.0, 200)[:, np.newaxis]


@pytest.mark.filterwarnings("error")
def test_gradient_and_airflow_are_inverse():
    beds = airflow.resistances(CROPS)
    gradient = airflow.pressure_gradient_pa_m(AIRFLOWS, beds)
    back = airflow.airflow_at_gradient_m3_s_m2(gradient, beds)
    assert back == pytest.approx(np.broadcast_to(AIRFLOWS, back.shape), rel=1e-12)


@pytest.mark.filterwarnings("error")
def test_more_air_needs_more_pressure_between_the_first_and_second_power():
    log_gradient = np.log(airflow.pressure_gradient_pa_m(AIRFLOWS, airflow.resistances(CROPS)))
    slope = np.diff(log_gradient, axis=0) / np.diff(np.log(AIRFLOWS), axis=0)
    assert (slope >= 1.0 - 1e-9).all() and (slope < 2.0).all()


@pytest.mark.parametrize("crop", CROPS)
def test_operating_point_is_that_of_brents_method(crop):
    bed = airflow.resistances(np.array(crop))
    power, depth = np.array([0.5, 30.0, 4000.0]), np.array([6.0, 0.75, 0.4])
    ours = airflow.operating_airflow_m3_s_m2(power, depth, bed)
    theirs = [
        brentq(lambda q, p=p, d=d: q * d * float(airflow.pressure_gradient_pa_m(q, bed)) - p, 0.0, 50.0, xtol=1e-14)
        for p, d in zip(power, depth, strict=True)
    ]
    assert ours == pytest.approx(np.array(theirs), rel=1e-10)


@pytest.mark.filterwarnings("error")
def test_deeper_and_denser_beds_get_less_air():
    depth = np.linspace(0.2, 6.0, 50)
    assert (np.diff(airflow.operating_airflow_m3_s_m2(100.0, depth, airflow.resistances(np.array("corn")))) < 0.0).all()
    packing = airflow.resistances(np.full(5, "corn"), np.linspace(1.0, 2.0, 5))
    assert (np.diff(airflow.operating_airflow_m3_s_m2(100.0, 1.0, packing)) < 0.0).all()


def test_packing_multiplies_the_pressure():
    one, half_more = (airflow.resistances(np.array("oats"), factor) for factor in (1.0, 1.5))
    ratio = airflow.pressure_gradient_pa_m(0.1, half_more) / airflow.pressure_gradient_pa_m(0.1, one)
    assert ratio == pytest.approx(1.5)
    assert airflow.resistances(np.array(["corn", "wheat", "oats"])).packing.tolist() == [1.5, 1.3, 1.5]


def test_power_per_thousand_bushels_is_that_of_the_whole_bin():
    bed, q, depth_m, area_m2 = airflow.resistances(np.array("corn")), 0.1, 3.0, 50.0
    pressure = airflow.pressure_gradient_pa_m(q, bed) * depth_m
    thousands = area_m2 * depth_m / airflow.BUSHEL_M3 / 1000.0
    whole = airflow.shaft_power_w(q * area_m2, pressure)
    assert airflow.shaft_power_w_per_1000_bu(q, bed) == pytest.approx(whole / thousands)


@pytest.mark.filterwarnings("error")
def test_odd_values_and_shapes():
    bed = airflow.resistances(np.array("corn"))
    assert airflow.pressure_gradient_pa_m(0.0, bed) == 0.0
    assert np.isnan(airflow.pressure_gradient_pa_m(np.array([-0.1, np.nan]), bed)).all()
    assert airflow.airflow_at_gradient_m3_s_m2(0.0, bed) == 0.0
    assert np.isnan(airflow.airflow_at_gradient_m3_s_m2(np.array([-1.0, np.nan]), bed)).all()
    assert np.isnan(airflow.operating_airflow_m3_s_m2(10.0, np.array([0.0, -1.0, np.nan]), bed)).all()
    assert airflow.operating_airflow_m3_s_m2(0.0, 1.0, bed) == 0.0
    unknown = airflow.resistances(np.array(["rye", "no crop"]))
    assert np.isnan(airflow.pressure_gradient_pa_m(0.1, unknown)).all()
    assert np.isnan(airflow.operating_airflow_m3_s_m2(np.array([0.0, 10.0]), 1.0, unknown)).all()
    assert airflow.operating_airflow_m3_s_m2(10.0, 1.0, bed).shape == ()
    assert airflow.operating_airflow_m3_s_m2(np.zeros(0), 1.0, bed).shape == (0,)
    assert airflow.resistances(np.array([], dtype=str)).packing.shape == (0,)
    assert airflow.operating_airflow_m3_s_m2(np.ones((3, 1)), np.ones(4), bed).shape == (3, 4)


def test_range_is_told():
    flows = np.array([0.001, 0.1, 0.5, np.nan])
    assert airflow.in_range(flows, np.array("corn")).tolist() == [False, True, False, False]
    assert not airflow.in_range(0.1, np.array("no crop"))
