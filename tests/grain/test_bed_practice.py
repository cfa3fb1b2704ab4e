"""A bed at the top of a bin 24 ft across, 15 hp, 175 F, corn at 25 %: common practice, no source.

What is taken for it, and nothing else: fan efficiency 0.5; packing 1.0 on 1.5 ft of loose wet grain, or 1.5 on 1.4 ft;
air of 50 F and 65 %; grain stopped hot at 16.0 %; refilled when settled by 2 in; 4 minutes of air in the dryer; then
10 hours of night air of 43 F and 85 % by a 4 hp fan through 12 ft of corn, kernels tempered on the way there.
"""

import numpy as np
import pytest

from dryrecords.grain.airflow import (
    CFM_PER_BUSHEL_PER_S,
    FAN_EFFICIENCY,
    operating_airflow_m3_s_m2,
    pressure_gradient_pa_m,
    resistances,
)
from dryrecords.grain.bed import BedScenario, run_bed
from dryrecords.grain.energy import HORSEPOWER_W
from dryrecords.grain.volume import FOOT_M, INCH_M, circle_area_m2

from .beds import celsius, fahrenheit, hours

AREA_M2 = float(circle_area_m2(24.0 * FOOT_M))
BEDS = {"loose": (1.0, 1.5 * FOOT_M), "packed": (1.5, 1.4 * FOOT_M)}  # packing, depth


def _airflow(horsepower, depth_m, packing):
    bed = resistances(np.array(["corn"]), packing)
    return operating_airflow_m3_s_m2(horsepower * HORSEPOWER_W * FAN_EFFICIENCY / AREA_M2, depth_m, bed)


def _batch(packing, depth_m, count=1, **changes):
    fields = {
        "moisture_in_pct": 25.0,
        "grain_temp_c": celsius(50.0),
        "plenum_temp_c": celsius(175.0),
        "ambient_temp_c": celsius(50.0),
        "ambient_rh_pct": 65.0,
        "bed_depth_m": depth_m,
        "airflow_m3_s_m2": _airflow(15.0, depth_m, packing),
        "sensor_height_m": 0.8 * depth_m,
        "stop_moisture_pct": 16.0,
        "refill_settled_m": 2.0 * INCH_M,
        "cooling_s": 240.0,
        "bin_cooling_s": 10.0 * 3600.0,
        "bin_airflow_m3_s_m2": _airflow(4.0, 12.0 * FOOT_M, packing),
        "bin_air_temp_c": celsius(43.0),
        "bin_air_rh_pct": 85.0,
    }
    return BedScenario(crop=np.full(count, "corn"), **(fields | changes))


@pytest.fixture(params=sorted(BEDS))
def bed(request):
    return BEDS[request.param]


def test_what_the_fan_drives_through_the_bed(bed):
    packing, depth_m = bed
    airflow = float(_airflow(15.0, depth_m, packing)[0])
    assert 42.0 < airflow / depth_m / CFM_PER_BUSHEL_PER_S < 54.0
    pressure = float(pressure_gradient_pa_m(airflow, resistances(np.array(["corn"]), packing))[0]) * depth_m
    assert airflow * AREA_M2 * pressure / FAN_EFFICIENCY == pytest.approx(15.0 * HORSEPOWER_W, rel=1e-9)


def test_heated_air_for_two_to_two_and_a_half_hours(bed):
    assert 2.0 < hours(run_bed(_batch(*bed)))[0] < 2.5


def test_never_near_four_hours(bed):
    """Nor with corn as wet as 28 %, or dried in the bed to 15.0 %."""
    run = run_bed(
        _batch(*bed, count=2, moisture_in_pct=np.array([28.0, 25.0]), stop_moisture_pct=np.array([16.0, 15.0]))
    )
    assert (hours(run) < 3.3).all()


def test_the_bed_settles_visibly_within_40_minutes(bed):
    run = run_bed(_batch(*bed))
    depth_m = np.interp(40.0 * 60.0, run.curve_s, run.curve_depth_m[0])
    assert 0.75 * INCH_M < bed[1] - depth_m < 1.5 * INCH_M


def test_a_refill_one_to_one_and_three_quarter_hours_in(bed):
    run = run_bed(_batch(*bed))
    assert 1.0 < run.refill_s[0] / 3600.0 < 1.75
    assert run.refill_depth_m[0] == pytest.approx(2.0 * INCH_M, abs=0.1 * INCH_M)


def test_next_morning_is_below_15_and_about_14(bed):
    run = run_bed(_batch(*bed))
    assert 13.5 < run.moisture_cooled_pct[0] < 15.0
    assert fahrenheit(run.grain_temp_cooled_c)[0] == pytest.approx(43.0, abs=2.0)
    # hot grain that is cooled in the dryer alone would be well above
    assert run.moisture_dryer_cooled_pct[0] > 15.5


def test_without_tempering_the_night_takes_less_than_half_as_much(bed):
    run = run_bed(_batch(*bed, count=2, bin_tempered=np.array([0.0, 1.0])))
    by_night = run.moisture_dryer_cooled_pct - run.moisture_cooled_pct
    assert by_night[0] < 0.5 * by_night[1]
    assert run.moisture_cooled_pct[0] < 15.5


def test_the_thermometer_of_practice_is_cooler_than_this_model(bed):
    """Practice reads 110 to 112 F where grain is done; the coolest place of this bed, its top, stands near 140 F.

    No place in an evenly blown bed is cooler than its exhaust, so a height of the sensor cannot explain it. A
    thermometer out of the main stream of air, or grain that dries faster than the law says, can.
    """
    run = run_bed(_batch(*bed))
    exhaust, sensor = fahrenheit(run.exhaust_temp_at_stop_c)[0], fahrenheit(run.sensor_temp_at_stop_c)[0]
    assert 134.0 < exhaust < 144.0
    assert exhaust < sensor < 150.0


def test_grain_that_dries_twice_as_fast_meets_time_and_temperature_together():
    """On 1.75 ft, packed. Not taken as the default: one farm's practice is no source for a drying law."""
    run = run_bed(_batch(1.5, 1.75 * FOOT_M, drying_rate_factor=2.0))
    assert 2.0 < hours(run)[0] < 2.5
    assert 105.0 < fahrenheit(run.exhaust_temp_at_stop_c)[0] < 113.0
    assert run.moisture_cooled_pct[0] < 15.0
