"""Random but repeatable batch inputs for the tests of the numeric core."""

import numpy as np

from dryrecords.grain.batch import BatchInputs
from dryrecords.grain.crops import CROPS
from dryrecords.grain.energy import PROPANE_J_PER_M3, default_fuel_use


def random_inputs(count: int, seed: int, missing: float = 0.15) -> BatchInputs:
    """Batches of every crop; each measured field is missing (NaN) with the probability given."""
    rng = np.random.default_rng(seed)
    m_in = rng.uniform(14.0, 32.0, count)
    m_out = m_in - rng.uniform(-0.5, 14.0, count)
    use, use_u = default_fuel_use(PROPANE_J_PER_M3)
    fields = {
        "wet_mass_kg": rng.uniform(5e3, 5e4, count),
        "wet_mass_u_kg": rng.uniform(10.0, 500.0, count),
        "dry_mass_kg": np.where(rng.random(count) < 0.3, rng.uniform(4e3, 4e4, count), np.nan),
        "dry_mass_u_kg": rng.uniform(10.0, 500.0, count),
        "handling_pct": rng.uniform(0.0, 1.7, count),
        "moisture_in_pct": m_in,
        "moisture_in_u_pct": rng.uniform(0.2, 0.8, count),
        "moisture_out_pct": m_out,
        "moisture_out_u_pct": rng.uniform(0.2, 0.8, count),
        "moisture_covariance_pct2": rng.uniform(0.0, 0.04, count),
        "moisture_out_parts_pct": m_out[:, None] + rng.normal(0.0, 1.0, (count, 5)),
        "base_moisture_pct": rng.uniform(10.0, 15.5, count),
        "fuel_energy_j": rng.uniform(1e8, 3e10, count),
        "fuel_energy_u_j": rng.uniform(1e6, 3e9, count),
        "fuel_energy_j_per_m3": np.full(count, PROPANE_J_PER_M3),
        "fuel_default_m3_per_point_bu": np.full(count, use),
        "fuel_default_u_m3_per_point_bu": np.full(count, use_u),
        "electricity_kwh": rng.uniform(0.0, 500.0, count),
        "electricity_u_kwh": rng.uniform(0.0, 5.0, count),
        "electricity_default_kwh_per_point_bu": np.full(count, 0.01),
        "electricity_default_u_kwh_per_point_bu": np.full(count, 0.003),
        "fan_power_w": rng.uniform(3e3, 3e4, count),
        "fan_power_u_w": rng.uniform(3e2, 3e3, count),
        "drying_s": rng.uniform(3600.0, 36000.0, count),
        "drying_u_s": rng.uniform(60.0, 600.0, count),
        "cooling_s": rng.uniform(0.0, 3600.0, count),
        "grain_temp_c": rng.uniform(-5.0, 30.0, count),
        "plenum_temp_c": rng.uniform(40.0, 100.0, count),
        "ambient_temp_c": rng.uniform(-15.0, 30.0, count),
        "ambient_rh_pct": rng.uniform(20.0, 100.0, count),
        "grain_temp_out_c": rng.uniform(30.0, 80.0, count),
        "price_grain_usd_per_bu": rng.uniform(3.0, 12.0, count),
        "price_fuel_usd_per_j": rng.uniform(1e-8, 3e-8, count),
        "price_electricity_usd_per_kwh": rng.uniform(0.05, 0.3, count),
    }
    holed = {
        name: x if "_u_" in name else np.where(rng.random(x.shape) < missing, np.nan, x) for name, x in fields.items()
    }
    return BatchInputs(crop=rng.choice(sorted(CROPS), count), **holed)
