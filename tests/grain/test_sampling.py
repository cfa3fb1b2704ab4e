"""Batch moistures from samples: textbook statistics, shared meters against Monte Carlo, any order, odd input."""

import numpy as np
import pytest

from dryrecords.grain.sampling import UNNAMED_METER, combine_moisture, moisture_covariance_pct2
from dryrecords.grain.uncertainty import SINGLE_SAMPLE_U_PCT

READINGS = np.array([14.1, 15.2, 14.6, 14.9, 15.5])


def _one_batch(readings, weight=1.0, meter=UNNAMED_METER, meter_u=0.0):
    count = len(readings)
    return combine_moisture(
        np.asarray(readings, dtype=float),
        np.broadcast_to(np.asarray(weight, dtype=float), count),
        np.broadcast_to(np.asarray(meter), count),
        np.broadcast_to(np.asarray(meter_u, dtype=float), count),
        np.zeros(count, dtype=int),
        1,
    )


def _random_samples(seed, count=400, batches=60):
    rng = np.random.default_rng(seed)
    meter = rng.integers(-1, 6, count)
    return {
        "moisture_pct": rng.uniform(12.0, 28.0, count).round(1),
        "weight": rng.uniform(1.0, 10.0, count),
        "meter": meter,
        "meter_u_pct": np.array([0.3, 0.35, 0.4, 0.45, 0.5, 0.55, 0.6])[meter + 1],
        "batch": rng.integers(0, batches, count),
        "batches": batches,
    }


def test_equal_weights_give_the_standard_error():
    ours = _one_batch(READINGS)
    assert ours.moisture_pct == pytest.approx([READINGS.mean()])
    assert ours.moisture_u_pct == pytest.approx([READINGS.std(ddof=1) / np.sqrt(5.0)])


def test_single_sample_has_the_published_scatter_and_the_meter():
    ours = _one_batch([15.0], meter=3, meter_u=0.4)
    assert ours.moisture_u_pct == pytest.approx([np.hypot(SINGLE_SAMPLE_U_PCT, 0.4)])


def test_one_meter_does_not_average_out_and_several_do():
    same = _one_batch([15.0] * 4, meter=2, meter_u=0.4)
    several = _one_batch([15.0] * 4, meter=[0, 1, 2, 3], meter_u=0.4)
    unnamed = _one_batch([15.0] * 4, meter_u=0.4)
    assert same.moisture_u_pct == pytest.approx([0.4])
    assert several.moisture_u_pct == pytest.approx([0.2])
    assert unnamed.moisture_u_pct == pytest.approx([0.4])


def test_weights_weigh():
    ours = _one_batch([18.0, 14.0], weight=[600.0, 400.0])
    assert ours.moisture_pct == pytest.approx([16.4])


def test_shared_meters_agree_with_monte_carlo():
    wet = {"readings": [25.0, 26.0, 24.0], "weight": [2.0, 1.0, 1.0], "meter": [0, 0, 1]}
    dry = {"readings": [15.0, 14.0], "weight": [1.0, 3.0], "meter": [1, 0]}
    meter_u = np.array([0.4, 0.6])
    means = [_one_batch(**each, meter_u=meter_u[each["meter"]]) for each in (wet, dry)]
    bias = np.random.default_rng(3).normal(0.0, meter_u, (200_000, 2))
    drawn = [np.average(bias[:, each["meter"]], axis=1, weights=each["weight"]) for each in (wet, dry)]
    assert moisture_covariance_pct2(*means) == pytest.approx(np.cov(*drawn)[0, 1], rel=0.02)


def test_unnamed_meters_of_two_stages_are_strangers():
    wet, dry = _one_batch([25.0], meter_u=0.4), _one_batch([15.0], meter_u=0.4)
    assert moisture_covariance_pct2(wet, dry).tolist() == [0.0]


def test_order_of_samples_and_numbers_of_meters_do_not_move_a_bit():
    samples = _random_samples(1)
    other = _random_samples(2)
    plain = combine_moisture(**samples)
    shuffle = np.random.default_rng(0).permutation(samples["weight"].size)
    renumber = np.array([-1, 5, 3, 0, 4, 1, 2])
    mixed = {name: x if np.ndim(x) == 0 else x[shuffle] for name, x in samples.items()}
    mixed["meter"] = renumber[mixed["meter"] + 1]
    other_mixed = other | {"meter": renumber[other["meter"] + 1]}
    moved = combine_moisture(**mixed)
    assert np.array_equal(plain.moisture_pct, moved.moisture_pct, equal_nan=True)
    assert np.array_equal(plain.moisture_u_pct, moved.moisture_u_pct, equal_nan=True)
    covariance = moisture_covariance_pct2(plain, combine_moisture(**other))
    assert np.array_equal(covariance, moisture_covariance_pct2(moved, combine_moisture(**other_mixed)))


def test_batch_alone_is_the_batch_among_others():
    samples = _random_samples(3)
    together = combine_moisture(**samples)
    for batch in range(samples["batches"]):
        own = samples["batch"] == batch
        alone = {name: x if np.ndim(x) == 0 else x[own] for name, x in samples.items()}
        alone |= {"batch": np.zeros(own.sum(), dtype=int), "batches": 1}
        single = combine_moisture(**alone)
        assert np.array_equal(single.moisture_u_pct, together.moisture_u_pct[[batch]], equal_nan=True)
        assert np.array_equal(single.moisture_pct, together.moisture_pct[[batch]], equal_nan=True)


@pytest.mark.filterwarnings("error")
def test_odd_samples_are_left_out():
    ours = _one_batch([15.0, np.nan, 17.0, 99.0, 20.0], weight=[1.0, 1.0, 1.0, 0.0, np.nan])
    assert ours.samples.tolist() == [2]
    assert ours.moisture_pct == pytest.approx([16.0])


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("batches", [0, 2])
def test_no_samples_at_all(batches):
    nothing, none = np.zeros(0), np.zeros(0, dtype=int)
    ours = combine_moisture(nothing, nothing, none, nothing, none, batches)
    assert ours.moisture_pct.shape == ours.moisture_u_pct.shape == (batches,)
    assert np.isnan(ours.moisture_u_pct).all()
    assert moisture_covariance_pct2(ours, ours).tolist() == [0.0] * batches
