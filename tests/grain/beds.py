"""Bed scenarios that several tests share, in the trade units of the sources they come from."""

import numpy as np

from dryrecords.grain.airflow import CFM_PER_BUSHEL_PER_S
from dryrecords.grain.bed import BedRun, BedScenario
from dryrecords.grain.volume import INCH_M

BTU_LB_J_KG = 2326.0


def celsius(temp_f):
    return (np.asarray(temp_f, dtype=float) - 32.0) / 1.8


def fahrenheit(temp_c):
    return 1.8 * np.asarray(temp_c) + 32.0


def batch(count=1, crop="corn", cfm_bu=20.0, depth_in=30.0, plenum_f=160.0, **changes):
    """Corn from 25 to 15.5 %, 30 in deep, 160 F from air of 50 F and 65 %, 20 cfm/bu, indirect heat."""
    depth_m = np.asarray(depth_in) * INCH_M
    fields = {
        "moisture_in_pct": 25.0,
        "grain_temp_c": celsius(50.0),
        "plenum_temp_c": celsius(plenum_f),
        "ambient_temp_c": celsius(50.0),
        "ambient_rh_pct": 65.0,
        "bed_depth_m": depth_m,
        "airflow_m3_s_m2": np.asarray(cfm_bu) * CFM_PER_BUSHEL_PER_S * depth_m,
        "dry_density_kg_m3": 609.0,
        "direct_fired": 0.0,
        "stop_moisture_pct": 15.5,
    }
    return BedScenario(crop=np.full(count, crop), **(fields | changes))


def hours(run: BedRun):
    return run.drying_s / 3600.0


def spread_pct(run: BedRun):
    return run.wettest_at_stop_pct - run.driest_at_stop_pct


def heat_btu_lb(run: BedRun):
    """Heat to the air for each mass of water removed."""
    return run.heat_j_m2 / run.water_removed_kg_m2 / BTU_LB_J_KG
