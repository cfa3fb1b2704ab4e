"""Figures of many dried batches at once: what goes in (BatchInputs), what comes out (BatchFigures)."""

from dataclasses import dataclass, fields
from functools import partial

import numpy as np

from dryrecords.grain.arrays import Array, BoolArray, FloatArray, StrArray
from dryrecords.grain.figures import FIGURES, FLAGS, batch_flags, batch_formulas, crop_arrays
from dryrecords.grain.uncertainty import propagate

METHOD_VERSION = "2026.2"  # goes up with every change that moves a figure

# Every batch is computed inside a block of this many, padded, so that it meets the same instructions whether
# it comes alone or among thousands: NumPy may round differently in a partly filled vector register.
BLOCK = 256

Measured = FloatArray | float


@dataclass(frozen=True, kw_only=True)
class BatchInputs:
    """What is known of n batches; NaN where it is not. Moisture is percent wet basis.

    Every field is a float64 array of shape (n,), or of a shape that broadcasts to it; n is that of `crop`.
    A field `x_u_unit` is the standard uncertainty of `x_unit`; it must be given wherever
    `x_unit` is (0 if exact).
    """

    crop: StrArray  # names in crops.CROPS

    # Mass. Of wet and dry, one is enough; with both, the weighing tells the handling loss.
    wet_mass_kg: Measured = np.nan  # all that was put in, refills included
    wet_mass_u_kg: Measured = np.nan
    dry_mass_kg: Measured = np.nan  # only if weighed after drying
    dry_mass_u_kg: Measured = np.nan
    handling_pct: Measured = np.nan  # loss of dry matter, percent of the wet mass

    # Moisture
    moisture_in_pct: Measured = np.nan
    moisture_in_u_pct: Measured = np.nan
    moisture_out_pct: Measured = np.nan
    moisture_out_u_pct: Measured = np.nan
    moisture_covariance_pct2: Measured = np.nan  # of in and out; NaN counts as 0
    # (n, k), NaN-padded: samples that each stand for an equal share of the dried mass;
    # where there is none, moisture_out_pct stands for the whole
    moisture_out_parts_pct: Measured = np.nan
    base_moisture_pct: Measured = np.nan

    # Fuel. Energy is gross; NaN when not metered, then the default use is taken and flagged.
    fuel_energy_j: Measured = np.nan
    fuel_energy_u_j: Measured = np.nan
    fuel_energy_j_per_m3: Measured = np.nan  # liquid at 15.56 deg C; NaN for gas by therm
    # per point and wet bushel, in the volume that fuel_energy_j_per_m3 belongs to; for gas, liquid propane
    fuel_default_m3_per_point_bu: Measured = np.nan
    fuel_default_u_m3_per_point_bu: Measured = np.nan

    # Electricity: from a meter, else fan power over drying and cooling time, else the default use, flagged.
    electricity_kwh: Measured = np.nan
    electricity_u_kwh: Measured = np.nan
    electricity_default_kwh_per_point_bu: Measured = np.nan
    electricity_default_u_kwh_per_point_bu: Measured = np.nan
    fan_power_w: Measured = np.nan  # electric power drawn, motor losses included
    fan_power_u_w: Measured = np.nan

    # Time and temperature
    drying_s: Measured = np.nan
    drying_u_s: Measured = np.nan
    cooling_s: Measured = np.nan  # fan on, burner off; NaN counts as none
    grain_temp_c: Measured = np.nan  # before drying; NaN: the default of energy
    plenum_temp_c: Measured = np.nan
    ambient_temp_c: Measured = np.nan  # outside; where not known, those of demand
    ambient_rh_pct: Measured = np.nan
    grain_temp_out_c: Measured = np.nan  # when the burner stopped; NaN: the plenum's

    # Prices, exact
    price_grain_usd_per_bu: Measured = np.nan
    price_fuel_usd_per_j: Measured = np.nan
    price_electricity_usd_per_kwh: Measured = np.nan


# Each uncertain input and the field that holds its standard uncertainty.
UNCERTAIN_INPUTS = {
    "wet_mass_kg": "wet_mass_u_kg",
    "dry_mass_kg": "dry_mass_u_kg",
    "moisture_in_pct": "moisture_in_u_pct",
    "moisture_out_pct": "moisture_out_u_pct",
    "fuel_energy_j": "fuel_energy_u_j",
    "fuel_default_m3_per_point_bu": "fuel_default_u_m3_per_point_bu",
    "electricity_kwh": "electricity_u_kwh",
    "electricity_default_kwh_per_point_bu": "electricity_default_u_kwh_per_point_bu",
    "fan_power_w": "fan_power_u_w",
    "drying_s": "drying_u_s",
}


# What cannot be is taken as not known: lowest value, and the value that is already too high.
LIMITS = {
    "wet_mass_kg": (0.0, np.inf),
    "dry_mass_kg": (0.0, np.inf),
    "moisture_in_pct": (0.0, 100.0),
    "moisture_out_pct": (0.0, 100.0),
    "moisture_out_parts_pct": (0.0, 100.0),
    "base_moisture_pct": (0.0, 100.0),
}


@dataclass(frozen=True)
class BatchFigures:
    """Figures of n batches: name -> (n,). NaN where a figure cannot be computed.

    values, uncertainties : keys are `figures.FIGURES`; the uncertainty is the standard one,
        0 where the figure is exact, NaN where the value is NaN.
    flags : keys are `figures.FLAGS`; True where the figure rests on what the flag says.
    """

    values: dict[str, FloatArray]
    uncertainties: dict[str, FloatArray]
    flags: dict[str, BoolArray]


def batch_figures(inputs: BatchInputs) -> BatchFigures:
    """All figures of n batches, each independent of the company it is computed in, to the last bit.

    Parameters
    ----------
    inputs : BatchInputs of n batches (n may be 0)

    Returns
    -------
    BatchFigures, arrays of shape (n,)

    Raises
    ------
    ValueError
        A field whose shape does not broadcast to (n,). Odd values never raise and never warn: the
        figures that cannot be computed from them are NaN.

    Known gap   First order: next to the kink at the base moisture the uncertainty of the over-drying
                figures is that of the side the batch is on, and 0 on the side where nothing is lost.
    Source      JCGM 100:2008 eq. 10 and 13 for the uncertainties.
    Checked by  tests/grain/test_batch_monte_carlo.py, tests/reference
    """
    count = np.atleast_1d(inputs.crop).size
    columns = _padded_columns(inputs, count)
    starts = range(0, columns["crop"].size, BLOCK)
    blocks = [{name: x[start : start + BLOCK] for name, x in columns.items()} for start in starts]
    return _joined([_block_figures(block) for block in blocks], count)


def _padded_columns(inputs: BatchInputs, count: int) -> dict[str, Array]:
    """Every field as an array of shape (m,), m blocks full, the last batch repeated; the impossible is NaN."""
    rows = np.minimum(np.arange(-(-count // BLOCK) * BLOCK), count - 1)
    columns = {each.name: np.atleast_1d(getattr(inputs, each.name)) for each in fields(inputs)}
    parts = np.atleast_2d(columns.pop("moisture_out_parts_pct"))
    padded = {name: np.broadcast_to(x, (count,))[rows] for name, x in columns.items()}
    padded["moisture_out_parts_pct"] = np.broadcast_to(parts, (count, parts.shape[1]))[rows]
    return padded | {name: _within(padded[name], *limits) for name, limits in LIMITS.items()}


def _within(x: Array, low: float, below: float) -> Array:
    return np.where((x >= low) & (x < below), x, np.nan)


@np.errstate(all="ignore")
def _block_figures(block: dict[str, Array]) -> BatchFigures:
    """Figures of one full block."""
    crop = crop_arrays(block["crop"])
    numbers = {name: x for name, x in block.items() if name != "crop"}
    values, uncertainties = propagate(
        partial(batch_formulas, crop=crop),
        numbers,
        {name: numbers[u_name] for name, u_name in UNCERTAIN_INPUTS.items()},
        {("moisture_in_pct", "moisture_out_pct"): np.nan_to_num(numbers["moisture_covariance_pct2"])},
    )
    return BatchFigures(values, uncertainties, batch_flags(numbers, dict(values), crop))


def _joined(blocks: list[BatchFigures], count: int) -> BatchFigures:
    """Blocks side by side, without the padding."""
    if not blocks:
        empty = {name: np.zeros(0) for name in FIGURES}
        return BatchFigures(empty, dict(empty), {name: np.zeros(0, dtype=bool) for name in FLAGS})
    return BatchFigures(
        {name: np.concatenate([each.values[name] for each in blocks])[:count] for name in FIGURES},
        {name: np.concatenate([each.uncertainties[name] for each in blocks])[:count] for name in FIGURES},
        {name: np.concatenate([each.flags[name] for each in blocks])[:count] for name in FLAGS},
    )
