"""Properties of the isotherms: inverse pairs, order, ends, shapes, and what happens beyond the range."""

import numpy as np
import pytest

from dryrecords.grain.crops import CROPS, isotherms
from dryrecords.grain.energy import bound_water_ratio
from dryrecords.grain.equilibrium import (
    ISOTHERMS,
    PREFERRED,
    IsothermForm,
    equilibrium_moisture_dry_basis_pct,
    equilibrium_moisture_pct,
    equilibrium_rh_pct,
    in_range,
    named_isotherms,
    preferred_isotherms,
)
from dryrecords.grain.moisture import dry_basis_pct, wet_basis_pct
from dryrecords.grain.psychrometrics import log_saturation_slope_per_k

NAMES = np.array(sorted(ISOTHERMS))


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("temp_c", [0.0, 10.0, 25.0, 50.0])
def test_moisture_and_humidity_are_inverse(temp_c):
    rh = np.linspace(10.0, 95.0, 60)[:, np.newaxis]
    sets = named_isotherms(NAMES)
    there = equilibrium_moisture_pct(temp_c, rh, sets)
    inside = there > 0.0
    assert inside.mean() > 0.95
    back = equilibrium_rh_pct(temp_c, there, sets)
    assert back[inside] == pytest.approx(np.broadcast_to(rh, there.shape)[inside], rel=1e-10)


@pytest.mark.filterwarnings("error")
def test_moister_air_holds_moister_grain_and_warmer_air_drier():
    rh = np.linspace(15.0, 95.0, 40)
    temp_c = np.linspace(0.0, 50.0, 20)
    grid = equilibrium_moisture_pct(temp_c[:, None, None], rh[None, :, None], named_isotherms(NAMES))
    assert (np.diff(grid, axis=1) > 0.0).all()
    assert (np.diff(grid, axis=0) < 0.0).all()


@pytest.mark.filterwarnings("error")
def test_ends_are_clamped_and_told():
    sets = named_isotherms(NAMES)
    # a hot plenum: the Chung-Pfost form of corn falls below zero there
    hot = equilibrium_moisture_pct(71.0, 2.5, sets)
    assert (hot >= 0.0).all()
    assert (hot[NAMES == "corn_chung_pfost_1995"] == 0.0).all()
    assert hot[NAMES == "corn_henderson_1995"] == pytest.approx(1.8, abs=0.05)  # worked by hand
    assert not in_range(71.0, 2.5)
    assert equilibrium_moisture_pct(15.0, 100.0, sets) == pytest.approx(equilibrium_moisture_pct(15.0, 95.0, sets))
    assert not in_range(15.0, 95.1)
    assert in_range(15.0, 95.0) and in_range(0.0, 10.0) and in_range(50.0, 10.0)
    assert equilibrium_moisture_pct(15.0, 0.0, sets) == pytest.approx(np.zeros(NAMES.size))
    assert (equilibrium_moisture_pct(200.0, 50.0, sets) >= 0.0).all()


def test_a_form_without_an_answer_is_nan():
    cold = named_isotherms(np.array(["corn_chung_pfost_1995", "corn_henderson_1995", "soybean_halsey_1995"]))
    assert np.isnan(equilibrium_moisture_pct(-45.0, 50.0, cold)).tolist() == [True, True, False]
    assert np.isnan(equilibrium_rh_pct(-45.0, 15.0, cold)).tolist() == [True, True, False]


@pytest.mark.filterwarnings("error")
def test_humidity_stays_between_nothing_and_saturation():
    sets = named_isotherms(NAMES)
    rh = equilibrium_rh_pct(20.0, np.array([0.0, 5.0, 20.0, 60.0])[:, None], sets)
    assert ((rh >= 0.0) & (rh <= 100.0)).all()
    assert (np.diff(rh, axis=0) >= 0.0).all()
    assert (rh[-1] > 98.0).all()


@pytest.mark.filterwarnings("error")
def test_shapes_and_missing_values():
    corn = preferred_isotherms(np.array("corn"))
    assert equilibrium_moisture_pct(20.0, 60.0, corn).shape == ()
    assert equilibrium_moisture_pct(np.zeros((3, 1)), np.full(4, 50.0), corn).shape == (3, 4)
    assert equilibrium_moisture_pct(np.zeros(0), 50.0, corn).shape == (0,)
    assert equilibrium_moisture_pct(20.0, 60.0, preferred_isotherms(np.array([], dtype=str))).shape == (0,)
    assert np.isnan(equilibrium_moisture_pct(np.array([np.nan, 20.0]), np.array([50.0, np.nan]), corn)).all()
    assert np.isnan(equilibrium_rh_pct(20.0, np.nan, corn))
    assert not in_range(np.nan, 50.0)


def test_mixed_crops_answer_as_each_alone():
    rng = np.random.default_rng(3)
    names = rng.choice(NAMES, 200)
    temp_c, rh = rng.uniform(0.0, 50.0, 200), rng.uniform(10.0, 95.0, 200)
    together = equilibrium_moisture_pct(temp_c, rh, named_isotherms(names))
    alone = [
        equilibrium_moisture_pct(t, r, named_isotherms(np.array(name)))
        for t, r, name in zip(temp_c, rh, names, strict=True)
    ]
    assert together == pytest.approx(np.array(alone), rel=1e-13)


def test_dry_and_wet_basis_agree():
    soybean = preferred_isotherms(np.array("soybean"))
    dry = equilibrium_moisture_dry_basis_pct(20.0, 60.0, soybean)
    assert equilibrium_moisture_pct(20.0, 60.0, soybean) == wet_basis_pct(dry)


def test_every_preferred_set_exists_and_keeps_the_heat_of_bound_water():
    assert set(PREFERRED) <= set(CROPS)
    names = np.array(sorted(CROPS))
    trusted, preferred = isotherms(names), preferred_isotherms(names)
    known = ~trusted.is_generic
    assert known.sum() == 6
    assert (trusted.a[known] == preferred.a[known]).all()
    assert preferred_isotherms(np.array(["rye", "flax", "no crop"])).is_generic.all()


def test_every_form_is_in_use_and_says_where_it_is_from():
    assert {each.form for each in ISOTHERMS.values()} == set(IsothermForm)
    for name, each in ISOTHERMS.items():
        assert name.endswith(str(each.generation))
        assert "from memory" in each.source


def test_a_name_that_is_not_there_raises():
    with pytest.raises(KeyError, match="corn_henderson_2050"):
        named_isotherms(np.array(["corn_henderson_1995", "corn_henderson_2050"]))


@pytest.mark.parametrize("temp_c", [5.0, 25.0, 60.0])
def test_heat_of_bound_water_is_the_slope_of_every_set(temp_c):
    # Clausius-Clapeyron by central difference over the isotherm itself
    sets, moisture_pct, step = named_isotherms(NAMES), 14.0, 1e-3
    near = [np.log(equilibrium_rh_pct(temp_c + d, moisture_pct, sets)) for d in (-step, step)]
    slope = (near[1] - near[0]) / (2.0 * step)
    ratio = bound_water_ratio(dry_basis_pct(moisture_pct), temp_c, sets)
    assert ratio - 1.0 == pytest.approx(slope / log_saturation_slope_per_k(temp_c), rel=1e-5)
