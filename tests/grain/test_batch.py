"""Properties of whole batches: nothing is created, parts add up, company does not matter, odd input passes."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import dryrecords.grain.batch as batch_module
from dryrecords.grain.batch import BatchInputs, batch_figures
from dryrecords.grain.energy import DEFAULT_GRAIN_TEMP_C, PROPANE_J_PER_M3, default_fuel_use
from dryrecords.grain.figures import FIGURES, FLAGS

from .inputs import random_inputs

USE, USE_U = (float(x) for x in default_fuel_use(PROPANE_J_PER_M3))
KNOWN = {
    "wet_mass_kg": 20_000.0,
    "wet_mass_u_kg": 60.0,
    "handling_pct": 0.5,
    "moisture_in_pct": 22.0,
    "moisture_in_u_pct": 0.4,
    "moisture_out_pct": 14.0,
    "moisture_out_u_pct": 0.4,
    "base_moisture_pct": 15.0,
    "fuel_energy_j": 1.3e10,
    "fuel_energy_u_j": 3e8,
    "fuel_energy_j_per_m3": PROPANE_J_PER_M3,
    "fuel_default_m3_per_point_bu": USE,
    "fuel_default_u_m3_per_point_bu": USE_U,
    "electricity_kwh": 80.0,
    "electricity_u_kwh": 1.5,
    "electricity_default_kwh_per_point_bu": 0.01,
    "electricity_default_u_kwh_per_point_bu": 0.003,
    "fan_power_w": 15_000.0,
    "fan_power_u_w": 1_500.0,
    "drying_s": 9000.0,
    "drying_u_s": 300.0,
    "grain_temp_c": 8.0,
    "plenum_temp_c": 80.0,
    "price_grain_usd_per_bu": 4.2,
    "price_fuel_usd_per_j": 1.6e-8,
    "price_electricity_usd_per_kwh": 0.12,
}


def _figures(crop="corn", **changes):
    return batch_figures(BatchInputs(crop=np.array([crop]), **(KNOWN | changes)))


def _values(**changes):
    return {name: float(x[0]) for name, x in _figures(**changes).values.items()}


def _flags(**changes):
    return {name for name, x in _figures(**changes).flags.items() if x[0]}


def _take(inputs, rows):
    return replace(inputs, **{each.name: getattr(inputs, each.name)[rows] for each in fields(inputs)})


def _same(one, other, rows=slice(None)):
    for group in ("values", "uncertainties", "flags"):
        for name, x in getattr(one, group).items():
            assert np.array_equal(x[rows], getattr(other, group)[name], equal_nan=group != "flags"), (group, name)


moistures = st.floats(5.0, 40.0)
batches = st.fixed_dictionaries(
    {
        "wet_mass_kg": st.floats(100.0, 1e6),
        "moisture_in_pct": moistures,
        "moisture_out_pct": moistures,
        "handling_pct": st.floats(0.0, 2.0),
        "base_moisture_pct": st.floats(9.0, 16.0),
        "moisture_out_parts_pct": st.lists(moistures, min_size=1, max_size=6).map(lambda x: np.array([x])),
    }
)


@given(batches)
def test_dry_matter_out_is_dry_matter_in_less_handling(fields_):
    y = _values(**fields_)
    dry_matter_in = y["wet_mass_kg"] * (100.0 - y["moisture_in_pct"]) / 100.0
    handling = y["wet_mass_kg"] * fields_["handling_pct"] / 100.0 * (100.0 - y["moisture_out_pct"]) / 100.0
    assert y["dry_matter_kg"] + handling == pytest.approx(dry_matter_in, rel=1e-9)


@given(batches)
def test_mass_out_is_mass_in_less_water_and_handling(fields_):
    y = _values(**fields_)
    lost = y["water_removed_kg"] + y["wet_mass_kg"] * y["shrink_handling_pct"] / 100.0
    assert y["dry_mass_kg"] == pytest.approx(y["wet_mass_kg"] - lost, rel=1e-9)
    assert y["shrink_total_pct"] == pytest.approx(100.0 * (1.0 - y["dry_mass_kg"] / y["wet_mass_kg"]), abs=1e-9)


@given(batches)
def test_drying_never_creates_bushels(fields_):
    y = _values(**fields_)
    assert y["market_bu"] <= y["base_bu"]
    dry_matter_in = y["wet_bu"] * (100.0 - y["moisture_in_pct"]) / (100.0 - fields_["base_moisture_pct"])
    assert y["base_bu"] <= dry_matter_in * (1.0 + 1e-12)


@given(st.floats(1000.0, 1e6), moistures, moistures)
def test_one_sample_sells_the_base_mass_or_what_is_there(wet, m_in, m_out):
    y = _values(wet_mass_kg=wet, moisture_in_pct=m_in, moisture_out_pct=m_out)
    expected = y["base_bu"] if m_out >= 15.0 else y["dry_bu"]
    assert y["market_bu"] == pytest.approx(expected, rel=1e-14)


@given(batches, st.floats(0.05, 0.95))
def test_two_halves_of_a_batch_add_up_to_it(fields_, share):
    extensive = ("wet_mass_kg", "fuel_energy_j", "electricity_kwh", "drying_s")
    known = KNOWN | fields_
    whole = _values(**fields_)
    halves = [_values(**(fields_ | {name: part * known[name] for name in extensive})) for part in (share, 1.0 - share)]
    for name in FIGURES:
        if name.endswith(("_kg", "_bu", "_usd", "_j", "_m3", "_kwh", "_s")) and "per_" not in name:
            total = halves[0][name] + halves[1][name]
            assert total == pytest.approx(whole[name], rel=1e-9, abs=1e-9, nan_ok=True), name
        elif name != "throughput_bu_h":
            assert halves[0][name] == pytest.approx(whole[name], rel=1e-9, nan_ok=True), name


def test_batch_is_the_same_alone_among_others_and_in_any_order():
    inputs = random_inputs(500, seed=1)
    together = batch_figures(inputs)
    order = np.random.default_rng(0).permutation(500)
    _same(together, batch_figures(_take(inputs, order)), order)
    for row in range(500):
        _same(together, batch_figures(_take(inputs, [row])), [row])


def test_samples_of_other_batches_do_not_matter():
    inputs = random_inputs(3, seed=4)
    padded = np.pad(inputs.moisture_out_parts_pct, ((0, 0), (0, 40)), constant_values=np.nan)
    _same(batch_figures(inputs), batch_figures(replace(inputs, moisture_out_parts_pct=padded)))


def test_a_block_of_one_would_differ(monkeypatch):
    # the reason for blocks: were this to pass without them, the test above could not fail
    inputs = random_inputs(500, seed=1)
    together = batch_figures(inputs).values["latent_heat_j"]
    monkeypatch.setattr(batch_module, "BLOCK", 1)
    assert not np.array_equal(together, batch_figures(inputs).values["latent_heat_j"], equal_nan=True)


odd = st.one_of(st.sampled_from([0.0, -1.0, 15.0, 99.999, 100.0, 1e300, -1e300, np.inf, np.nan]), st.floats())
odd_inputs = st.fixed_dictionaries(
    {each.name: odd for each in fields(BatchInputs) if each.name not in ("crop", "moisture_out_parts_pct")}
)


@pytest.mark.filterwarnings("error")
@settings(max_examples=300, deadline=None)
@given(odd_inputs, st.lists(odd, max_size=3), st.sampled_from(["corn", "wheat", "rye", "no crop", ""]))
def test_odd_input_never_raises_or_warns(values, parts, crop):
    made = {name: np.array([value]) for name, value in values.items()}
    y = batch_figures(BatchInputs(crop=np.array([crop]), moisture_out_parts_pct=np.array([parts]), **made))
    assert set(y.values) == set(y.uncertainties) == set(FIGURES)
    assert set(y.flags) == set(FLAGS)
    assert not any(np.isinf(x).any() for x in [*y.values.values(), *y.uncertainties.values()])


def test_uncertainty_is_known_exactly_where_the_value_is():
    y = batch_figures(random_inputs(2000, seed=9))
    for name in FIGURES:
        assert np.array_equal(np.isnan(y.values[name]), np.isnan(y.uncertainties[name])), name


@pytest.mark.filterwarnings("error")
def test_no_batches_no_figures():
    y = batch_figures(BatchInputs(crop=np.array([], dtype=str)))
    assert all(x.shape == (0,) for x in [*y.values.values(), *y.uncertainties.values(), *y.flags.values()])


def test_scalars_are_one_batch():
    y = batch_figures(BatchInputs(crop=np.array("corn"), **KNOWN))
    _same(_figures(), y)


def test_field_of_another_length_is_refused():
    with pytest.raises(ValueError, match="broadcast"):
        batch_figures(BatchInputs(crop=np.array(["corn"] * 3), wet_mass_kg=np.ones(2)))


def test_wetter_out_than_in_has_no_energy_for_its_water():
    y = _values(moisture_out_pct=25.0)
    assert y["water_removed_kg"] < 0.0
    assert y["under_drying_points"] == 10.0
    for name in ("energy_j_per_kg_water", "thermal_efficiency_pct", "fuel_m3_per_point_bu", "cost_usd_per_point_bu"):
        assert np.isnan(y[name]), name
    assert np.isnan(_values(moisture_out_pct=25.0, fuel_energy_j=np.nan)["fuel_energy_j"])


def test_zero_fuel_is_a_figure():
    y = _values(fuel_energy_j=0.0)
    assert y["fuel_j_per_kg_water"] == y["cost_fuel_usd"] == y["fuel_volume_m3"] == 0.0
    assert y["thermal_efficiency_pct"] > 100.0  # natural air: the ambient brings the heat


def test_weighed_dry_grain_tells_the_handling_loss():
    y = _values(dry_mass_kg=18_000.0, handling_pct=np.nan)
    expected = 20_000.0 * (100.0 - 22.0) / (100.0 - 14.0)
    assert y["shrink_handling_pct"] == pytest.approx(100.0 * (expected - 18_000.0) / 20_000.0)
    assert "dry_mass_weighed" in _flags(dry_mass_kg=18_000.0)


def test_wet_mass_comes_from_the_dry():
    dry = _values()["dry_mass_kg"]
    y = _values(wet_mass_kg=np.nan, dry_mass_kg=dry)
    assert y["wet_mass_kg"] == pytest.approx(20_000.0)
    assert "wet_mass_from_dry" in _flags(wet_mass_kg=np.nan, dry_mass_kg=dry)
    assert "wet_mass_from_dry" not in _flags()


def test_loss_is_the_mean_of_the_losses():
    # samples of 13 and 17 % average to the base, yet half of the batch was over-dried
    y = _values(moisture_out_pct=15.0, moisture_out_parts_pct=np.array([[13.0, 17.0, np.nan]]))
    half = y["dry_mass_kg"] / 2.0
    assert y["over_drying_water_kg"] == pytest.approx(half * (87.0 / 85.0 - 1.0))
    assert y["over_drying_points"] == y["under_drying_points"] == 1.0
    assert y["market_bu"] < y["base_bu"]
    assert _values(moisture_out_pct=15.0)["over_drying_water_kg"] == 0.0


def test_extra_cost_is_the_share_of_water_that_need_not_have_gone():
    y = _values()
    share = y["over_drying_water_kg"] / y["water_removed_kg"]
    assert 0.0 < share < 0.2
    for extra, whole in [
        ("extra_fuel_m3", "fuel_volume_m3"),
        ("extra_fuel_usd", "cost_fuel_usd"),
        ("extra_electricity_kwh", "electricity_kwh"),
        ("extra_electricity_usd", "cost_electricity_usd"),
        ("extra_s", "drying_s"),
    ]:
        assert y[f"over_drying_{extra}"] == pytest.approx(share * y[whole]), extra


def test_share_of_grain_that_came_in_too_dry_stops_at_what_was_removed():
    y = _values(moisture_in_pct=13.0, moisture_out_pct=12.9)
    assert y["over_drying_water_kg"] > y["water_removed_kg"]
    assert y["over_drying_extra_fuel_usd"] == y["cost_fuel_usd"]
    wetter = _values(moisture_in_pct=12.0, moisture_out_pct=13.0)
    assert wetter["over_drying_unsold_bu"] > 0.0
    assert wetter["over_drying_extra_s"] == 0.0


def test_total_is_the_known_part_of_the_loss():
    y = _values(price_electricity_usd_per_kwh=np.nan)
    known = y["over_drying_unsold_usd"] + y["over_drying_extra_fuel_usd"]
    assert y["over_drying_total_usd"] == pytest.approx(known)
    assert np.isnan(y["over_drying_extra_electricity_usd"])
    assert np.isnan(_values(price_grain_usd_per_bu=np.nan)["over_drying_total_usd"])


def test_nothing_lost_costs_nothing_whatever_the_price():
    y = _values(moisture_out_pct=15.5, price_grain_usd_per_bu=np.nan, price_fuel_usd_per_j=np.nan)
    assert y["over_drying_total_usd"] == y["over_drying_unsold_usd"] == y["over_drying_extra_fuel_usd"] == 0.0


def test_fuel_and_electricity_say_where_they_come_from():
    assert not _flags() & {"fuel_estimated", "electricity_from_fan", "electricity_estimated"}
    assert "fuel_estimated" in _flags(fuel_energy_j=np.nan)
    assert "electricity_from_fan" in _flags(electricity_kwh=np.nan)
    estimated = _flags(electricity_kwh=np.nan, fan_power_w=np.nan)
    assert "electricity_estimated" in estimated
    assert "electricity_from_fan" not in estimated
    assert "fuel_estimated" not in _flags(fuel_energy_j=np.nan, wet_mass_kg=np.nan)


def test_fan_runs_through_the_cooling():
    kwh = _values(electricity_kwh=np.nan, cooling_s=1800.0)["electricity_kwh"]
    assert kwh == pytest.approx(15.0 * (9000.0 + 1800.0) / 3600.0)
    assert _values(electricity_kwh=np.nan)["electricity_kwh"] == pytest.approx(15.0 * 9000.0 / 3600.0)


def test_gas_has_energy_and_cost_but_no_liquid_volume():
    y = _values(fuel_energy_j_per_m3=np.nan)
    assert np.isnan(y["fuel_volume_m3"])
    assert np.isnan(y["fuel_m3_per_point_bu"])
    assert y["cost_total_usd"] > 0.0
    estimated = _values(fuel_energy_j_per_m3=np.nan, fuel_energy_j=np.nan)["fuel_energy_j"]
    assert estimated == pytest.approx(_values(fuel_energy_j=np.nan)["fuel_energy_j"])


def test_heat_adds_up_to_what_was_bought():
    y = _values()
    heat = y["latent_heat_j"] + y["grain_heat_j"] + y["other_heat_j"]
    assert heat == pytest.approx(y["fuel_energy_j"] + 3.6e6 * y["electricity_kwh"])


def test_heat_left_in_the_grain_is_mass_by_specific_heat_by_warming():
    # corn at 14 %: 1.465 + 0.0356 x 14 kJ/(kg K), Kazarian & Hall 1965, from memory; 8 to 50 deg C
    y = _values(grain_temp_out_c=50.0)
    assert y["grain_heat_j"] == pytest.approx(y["dry_mass_kg"] * 1963.4 * 42.0)
    assert _values()["grain_heat_j"] == pytest.approx(y["dry_mass_kg"] * 1963.4 * 72.0)


def test_throughput_counts_wet_bushels_of_drying_hours():
    y = _values(cooling_s=7200.0)
    assert y["throughput_bu_h"] == pytest.approx(y["wet_bu"] / 2.5)
    assert np.isnan(_values(drying_s=0.0)["throughput_bu_h"])


@pytest.mark.parametrize(
    ("name", "impossible"),
    [
        ("wet_mass_kg", -1.0),
        ("wet_mass_kg", np.inf),
        ("dry_mass_kg", -1.0),
        ("moisture_in_pct", 100.0),
        ("moisture_out_pct", 130.0),
        ("moisture_out_pct", -0.1),
        ("base_moisture_pct", 100.0),
    ],
)
def test_the_impossible_is_not_known(name, impossible):
    _same(_figures(**{name: np.nan}), _figures(**{name: impossible}))


def test_assumed_temperatures_are_said():
    y, flags = _values(grain_temp_c=np.nan), _flags(grain_temp_c=np.nan)
    assert y["latent_heat_j"] == _values(grain_temp_c=DEFAULT_GRAIN_TEMP_C)["latent_heat_j"]
    assert "grain_temp_assumed" in flags
    assert "grain_temp_out_from_plenum" in flags
    assert not _flags(grain_temp_out_c=50.0) & {"grain_temp_assumed", "grain_temp_out_from_plenum"}
    assert _flags(crop="canola") >= {"isotherm_generic", "specific_heat_generic"}
