"""Properties of the storage time: order, branches, clamps, life used, odd values."""

import numpy as np
import pytest

from dryrecords.grain import storage
from dryrecords.grain.crops import CROPS
from dryrecords.grain.storage import ColdBranch


@pytest.mark.filterwarnings("error")
def test_drier_and_colder_grain_keeps_longer():
    moisture = np.linspace(13.0, 35.0, 60)
    temp_c = np.linspace(-5.0, 15.5, 40)
    for branch in ColdBranch:
        grid = storage.allowable_storage_s(moisture[:, None], temp_c, cold_branch=branch)
        assert (np.diff(grid, axis=0) < 0.0).all()
        assert (np.diff(grid, axis=1) < 0.0).all()
    warm = storage.allowable_storage_s(moisture[:, None], np.linspace(15.7, 30.0, 40))
    assert (np.diff(warm, axis=1) < 0.0).all()


def test_the_default_branch_is_the_shorter_one():
    cold = np.linspace(-10.0, 15.5, 50)
    steele = storage.allowable_storage_s(18.0, cold)
    thompson = storage.allowable_storage_s(18.0, cold, cold_branch=ColdBranch.THOMPSON)
    assert (steele <= thompson).all()
    assert thompson[-1] == pytest.approx(steele[-1], rel=0.01)
    assert storage.allowable_storage_s(18.0, 25.0) == storage.allowable_storage_s(
        18.0, 25.0, cold_branch=ColdBranch.THOMPSON
    )
    # 10 deg C (50 F) and 4.4 deg C (40 F): 26 and 59 % apart, worked by hand
    apart = storage.allowable_storage_s(18.0, np.array([10.0, 40.0 / 9.0]), cold_branch=ColdBranch.THOMPSON)
    assert apart / storage.allowable_storage_s(18.0, np.array([10.0, 40.0 / 9.0])) == pytest.approx(
        [1.26, 1.59], abs=0.01
    )


def test_damage_and_loss():
    assert storage.allowable_storage_s(20.0, 10.0, damage_pct=10.0) > storage.allowable_storage_s(20.0, 10.0)
    loss = np.linspace(0.0, 1.0, 11)
    times = storage.allowable_storage_s(20.0, 10.0, loss_pct=loss)
    assert times[0] == pytest.approx(0.0, abs=1.0)
    assert (np.diff(times) > 0.0).all()
    assert times[5] == pytest.approx(storage.allowable_storage_s(20.0, 10.0))


def test_dry_grain_is_promised_no_more_than_at_the_end_of_the_range():
    assert storage.allowable_storage_s(8.0, 10.0) == storage.allowable_storage_s(13.0, 10.0)
    assert not storage.in_range(8.0, 10.0)
    assert storage.in_range(13.0, 10.0) and storage.in_range(10.0, 10.0, "soybean")
    assert not storage.in_range(20.0, 35.0) and not storage.in_range(np.nan, 10.0)


def test_every_crop_has_an_offset_and_says_where_it_is_from():
    assert set(storage.CORN_OFFSETS) == set(CROPS) == set(storage.SAFE_MOISTURES)
    estimated = {name for name, each in storage.CORN_OFFSETS.items() if each.is_estimated}
    assert estimated == {"sunflower", "canola", "flax"}
    for each in storage.SAFE_MOISTURES.values():
        assert each.source and (each.cool_pct is None or each.cool_pct > each.warm_pct)


def test_crops_side_by_side():
    crops = np.array(["corn", "soybean", "sunflower", "no crop"])
    equivalent = storage.corn_equivalent_moisture_pct(12.0, crops)
    assert equivalent[:3].tolist() == [12.0, 15.0, 17.5] and np.isnan(equivalent[3])
    times = storage.allowable_storage_s(np.full(4, 14.0), 10.0, crop=crops)
    assert times[1] == storage.allowable_storage_s(17.0, 10.0)
    assert np.isnan(times[3])


@pytest.mark.filterwarnings("error")
def test_life_used_is_cumulative():
    allowable = np.array([[100.0, 50.0, 50.0], [10.0, 10.0, np.nan]])
    used = storage.storage_life_used(20.0, allowable)
    assert used[0] == pytest.approx([0.2, 0.6, 1.0])
    assert used[1, :2] == pytest.approx([2.0, 4.0]) and np.isnan(used[1, 2])
    assert storage.storage_left_s(used[0], 100.0) == pytest.approx([80.0, 40.0, 0.0])
    assert storage.storage_left_s(3.0, 100.0) == 0.0
    assert storage.storage_life_used(20.0, np.zeros((2, 0))).shape == (2, 0)


@pytest.mark.filterwarnings("error")
def test_shapes_and_missing_values():
    assert storage.allowable_storage_s(20.0, 10.0).shape == ()
    assert storage.allowable_storage_s(np.zeros(0), 10.0).shape == (0,)
    assert storage.allowable_storage_s(np.full((3, 1), 20.0), np.full(4, 10.0)).shape == (3, 4)
    assert np.isnan(storage.allowable_storage_s(np.array([np.nan, 20.0]), np.array([10.0, np.nan]))).all()
    assert np.isnan(storage.allowable_storage_s(20.0, 10.0, loss_pct=np.nan))
