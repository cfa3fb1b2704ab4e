"""Uncertainties of whole batches against Monte Carlo, away from the kink at the base moisture."""

from functools import partial

import numpy as np
import pytest

from dryrecords.grain.batch import UNCERTAIN_INPUTS, BatchInputs, batch_figures
from dryrecords.grain.energy import PROPANE_J_PER_M3, default_fuel_use
from dryrecords.grain.figures import FIGURES, batch_formulas, crop_arrays

DRAWS = 200_000
USE, USE_U = (float(x) for x in default_fuel_use(PROPANE_J_PER_M3))

METERED = {
    "wet_mass_kg": 20_000.0,
    "wet_mass_u_kg": 60.0,
    "handling_pct": 0.5,
    "moisture_in_pct": 24.0,
    "moisture_in_u_pct": 0.2,
    "moisture_out_pct": 13.0,
    "moisture_out_u_pct": 0.15,
    "moisture_covariance_pct2": 0.02,
    "base_moisture_pct": 15.0,
    "fuel_energy_j": 1.3e10,
    "fuel_energy_u_j": 3e8,
    "fuel_energy_j_per_m3": PROPANE_J_PER_M3,
    "electricity_kwh": 80.0,
    "electricity_u_kwh": 1.5,
    "drying_s": 9000.0,
    "drying_u_s": 150.0,
    "grain_temp_c": 8.0,
    "plenum_temp_c": 80.0,
    "price_grain_usd_per_bu": 4.2,
    "price_fuel_usd_per_j": 1.6e-8,
    "price_electricity_usd_per_kwh": 0.12,
}
ESTIMATED = METERED | {
    "fuel_energy_j": np.nan,
    "fuel_energy_u_j": np.nan,
    "electricity_kwh": np.nan,
    "electricity_u_kwh": np.nan,
    "fuel_default_m3_per_point_bu": USE,
    "fuel_default_u_m3_per_point_bu": 0.2 * USE_U,
    "electricity_default_kwh_per_point_bu": 0.01,
    "electricity_default_u_kwh_per_point_bu": 0.0005,
}
FAN = ESTIMATED | {"fan_power_w": 15_000.0, "fan_power_u_w": 500.0, "cooling_s": 1800.0}
BOTH_WEIGHED = METERED | {"dry_mass_kg": 17_300.0, "dry_mass_u_kg": 50.0}
DRY_ONLY = BOTH_WEIGHED | {"wet_mass_kg": np.nan, "wet_mass_u_kg": np.nan}
PARTS = METERED | {"moisture_out_parts_pct": np.array([[12.0, 13.2, 13.8, 12.6, 18.0]])}
UNDER_DRIED = METERED | {"moisture_out_pct": 17.0}

CASES = {
    "metered corn": ("corn", METERED),
    "metered soybean": ("soybean", METERED | {"base_moisture_pct": 14.5}),
    "metered wheat": ("wheat", METERED),
    "estimated": ("corn", ESTIMATED),
    "electricity from the fan": ("sorghum", FAN),
    "both weighed": ("corn", BOTH_WEIGHED),
    "dry weighed": ("barley", DRY_ONLY),
    "parts": ("corn", PARTS),
    "under-dried": ("corn", UNDER_DRIED),
}


def _drawn(crop, fields):
    """Standard deviation of every figure over DRAWS draws of the uncertain inputs."""
    rng = np.random.default_rng(20)
    x = {name: np.atleast_1d(np.asarray(value, dtype=float)) for name, value in vars(fields).items() if name != "crop"}
    u_in, u_out = fields.moisture_in_u_pct, fields.moisture_out_u_pct
    covariance = fields.moisture_covariance_pct2
    matrix = [[u_in**2, covariance], [covariance, u_out**2]]
    errors = rng.multivariate_normal([0.0, 0.0], matrix, DRAWS).T
    shifts = dict(zip(("moisture_in_pct", "moisture_out_pct"), errors, strict=True))
    for name, u_name in UNCERTAIN_INPUTS.items():
        x[name] = x[name] + shifts.get(name, rng.normal(size=DRAWS) * x[u_name])
    parts = np.atleast_2d(x["moisture_out_parts_pct"])
    x["moisture_out_parts_pct"] = parts + shifts["moisture_out_pct"][:, None]
    formulas = partial(batch_formulas, crop=crop_arrays(np.full(DRAWS, crop)))
    return {name: np.std(y) for name, y in formulas(x).items()}


@pytest.mark.parametrize("case", CASES)
def test_uncertainties_agree_with_monte_carlo_to_two_percent(case):
    crop, fields = CASES[case]
    inputs = BatchInputs(crop=np.array([crop]), **fields)
    ours, drawn = batch_figures(inputs), _drawn(crop, inputs)
    for name in FIGURES:
        u, value = ours.uncertainties[name][0], ours.values[name][0]
        assert np.isnan(u) == np.isnan(value), name
        rounding = 1e-12 * abs(value)
        assert u == pytest.approx(drawn[name], rel=0.02, abs=rounding, nan_ok=True), name


def test_shared_bias_makes_points_surer_than_strangers_would():
    apart = batch_figures(BatchInputs(crop=np.array(["corn"]), **(METERED | {"moisture_covariance_pct2": 0.0})))
    shared = batch_figures(BatchInputs(crop=np.array(["corn"]), **METERED))
    assert shared.uncertainties["points_removed"] < apart.uncertainties["points_removed"]
