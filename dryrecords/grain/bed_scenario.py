"""The settings of batches that the bed model forecasts."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from dryrecords.grain.airflow import FAN_EFFICIENCY
from dryrecords.grain.arrays import BoolArray, IntArray, StrArray, Values
from dryrecords.grain.psychrometrics import STANDARD_PRESSURE_PA

# Heat in the air over the gross heating value of propane burnt in it: 84,250 over 91,333 Btu a gallon (lower: GREET,
# from memory; gross: US Energy Information Administration). What the plenum's walls lose comes on top.
BURNER_EFFICIENCY = 84_250.0 / 91_333.0


@dataclass(frozen=True, kw_only=True)
class BedScenario:
    """Batches to forecast: crop of shape (n,), every other field an array of shape (n,) or one number for all.

    NaN means not known, and for a stop or refill rule, not used. A batch that lacks a field without a default is
    answered by NaN. Airflow is volume of ambient air over floor area.
    """

    crop: StrArray
    moisture_in_pct: Values  # [% wet basis]
    grain_temp_c: Values  # as loaded [deg C]
    plenum_temp_c: Values  # of the air below the bed [deg C]
    ambient_temp_c: Values  # [deg C]
    ambient_rh_pct: Values  # [%]
    bed_depth_m: Values  # as loaded [m]
    airflow_m3_s_m2: Values  # [m3/(s m2)]
    pressure_pa: Values = STANDARD_PRESSURE_PA  # [Pa]
    dry_density_kg_m3: Values = np.nan  # dry matter in a m3 as loaded; NaN for the crop's own [kg/m3]
    drying_rate_factor: Values = 1.0  # the drying law's clock runs faster by it, in dryer and bin [-]
    airflow_factor: Values = 1.0  # on airflow_m3_s_m2 [-]
    direct_fired: Values = 1.0  # 1: the water of burnt propane goes into the air; 0: it does not
    burner_efficiency: Values = BURNER_EFFICIENCY  # heat in the air over the fuel's gross heating value [-]

    stop_time_s: Values = np.nan  # of heated air [s]
    stop_moisture_pct: Values = np.nan  # mean of the bed, hot [% wet basis]
    stop_sensor_temp_c: Values = np.nan  # [deg C]
    stop_exhaust_temp_c: Values = np.nan  # of the air that leaves the bed [deg C]
    sensor_height_m: Values = np.nan  # above the floor [m]

    refill_at_s: Values = np.nan  # [s]
    refill_settled_m: Values = np.nan  # refill when the bed has settled by so much; goes before refill_at_s [m]
    refill_depth_m: Values = np.nan  # of the wet grain put on; NaN to fill up to where the bed began [m]
    refill_moisture_pct: Values = np.nan  # NaN for that of the batch [% wet basis]
    refill_temp_c: Values = np.nan  # NaN for that of the batch [deg C]

    cooling_s: Values = 0.0  # ambient air through the bed in the dryer [s]
    bin_cooling_s: Values = 0.0  # then, mixed and moved, in a bin below of the same area [s]
    bin_airflow_m3_s_m2: Values = np.nan  # [m3/(s m2)]
    bin_air_temp_c: Values = np.nan  # NaN for ambient [deg C]
    bin_air_rh_pct: Values = np.nan  # NaN for ambient [%]
    bin_tempered: Values = 1.0  # share of the moisture gradient in kernels that evens out on the way, 0 to 1 [-]

    static_pressure_pa: Values = np.nan  # of the dryer's fan, for its energy [Pa]
    bin_static_pressure_pa: Values = np.nan  # of the bin's fan [Pa]
    fan_efficiency: Values = FAN_EFFICIENCY  # air over shaft power [-]

    def spread(self) -> BedScenario:
        """The same batches with an array of shape (n,) in every field, and NaN replaced where another field says."""
        crop = np.asarray(self.crop)
        names = [each.name for each in fields(self) if each.name != "crop"]
        columns = {name: np.broadcast_to(np.asarray(getattr(self, name), dtype=float), crop.shape) for name in names}
        for name, other in _STANDS_IN.items():
            columns[name] = np.where(np.isnan(columns[name]), columns[other], columns[name])
        return replace(self, crop=crop, **columns)

    def take(self, rows: IntArray) -> BedScenario:
        """Some of the batches of a scenario that is spread out."""
        return replace(self, **{each.name: getattr(self, each.name)[rows] for each in fields(self)})

    def is_complete(self) -> BoolArray:
        """Which of the batches of a scenario that is spread out can be forecast at all."""
        needed = np.stack([getattr(self, name) for name in _NEEDED])
        positive = np.stack([getattr(self, name) for name in _POSITIVE])
        lasting = np.stack([self.cooling_s, self.bin_cooling_s])
        percent = np.stack([self.moisture_in_pct, self.ambient_rh_pct, self.refill_moisture_pct, self.bin_air_rh_pct])
        in_bin = (np.asarray(self.bin_airflow_m3_s_m2) > 0.0) | (np.asarray(self.bin_cooling_s) == 0.0)
        known = np.isfinite(needed).all(axis=0) & (positive > 0.0).all(axis=0) & (lasting >= 0.0).all(axis=0)
        return np.asarray(known & in_bin & ((percent >= 0.0) & (percent <= 100.0)).all(axis=0) & self._is_physical())

    def _is_physical(self) -> BoolArray:
        temps = np.stack([self.grain_temp_c, self.plenum_temp_c, self.ambient_temp_c, self.refill_temp_c])
        early = np.stack([self.refill_at_s, self.refill_settled_m, self.refill_depth_m]) <= 0.0
        dense = np.asarray(self.dry_density_kg_m3) <= 0.0
        moist = (np.stack([self.moisture_in_pct, self.refill_moisture_pct]) > _MOISTURE_LIMIT_PCT).any(axis=0)
        share = (np.asarray(self.bin_tempered) >= 0.0) & (np.asarray(self.bin_tempered) <= 1.0)
        return np.asarray(share & (np.abs(temps) <= _TEMP_LIMIT_C).all(axis=0) & ~early.any(axis=0) & ~dense & ~moist)


_TEMP_LIMIT_C = 150.0  # far beyond any dryer, and where the drying laws end
_MOISTURE_LIMIT_PCT = 60.0  # wetter is no grain
_STANDS_IN = {
    "refill_moisture_pct": "moisture_in_pct",
    "refill_temp_c": "grain_temp_c",
    "bin_air_temp_c": "ambient_temp_c",
    "bin_air_rh_pct": "ambient_rh_pct",
}
_POSITIVE = (
    "moisture_in_pct",
    "bed_depth_m",
    "airflow_m3_s_m2",
    "pressure_pa",
    "drying_rate_factor",
    "airflow_factor",
)
_NEEDED = (
    *_POSITIVE,
    "grain_temp_c",
    "plenum_temp_c",
    "ambient_temp_c",
    "ambient_rh_pct",
    "cooling_s",
    "bin_cooling_s",
)
