"""Forecasts of a bed: one against SciPy on its differential equations, 256 against compiled loops of the same model."""

from __future__ import annotations

import importlib.util
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numba
import numpy as np

from dryrecords.grain.bed import LAYERS, run_bed
from dryrecords.grain.bed_grain import grain_constants
from dryrecords.grain.bed_phases import run_phases
from dryrecords.grain.bed_scenario import BedScenario
from tests.benchmarks.measure import Outcome, in_turns
from tests.grain.bed_equations import Equations
from tests.grain.beds import batch

ROUNDS = 15
NODES = 60  # leave as much of the time open as our 15 layers: 0.7 %
SCENARIOS = 256
RTOL = 1e-3  # no tighter than the time needs: 1e-5 moves it by 0.02 %
# Both solve the same equations; a difference of 3 % in the time of drying is what layers and films may make.
AGREE, SAME = 0.03, 1e-9


def run(_directory: Path | None = None) -> Iterator[Outcome]:
    yield _one_forecast()
    yield _grid()


def _one_forecast() -> Outcome:
    scenario = batch()
    blow = run_phases("corn", scenario.spread(), LAYERS).drying.blow
    equations = Equations(
        grain_constants("corn"),
        float(blow.temp_c[0]),
        float(blow.humidity[0]),
        float(blow.flux_kg_s_m2[0]),
        float(blow.pressure_pa[0]),
        1.0 / 3.0,
        10.0,
        609.0,
        float(scenario.bed_depth_m),
    )

    def ours() -> float:
        return float(run_bed(scenario).drying_s[0])

    def peer() -> float:
        return float(equations.dry(15.5 / 84.5, NODES, RTOL)[0])

    apart = ours() / peer() - 1.0
    assert abs(apart) < AGREE, f"the times of drying are {100 * apart:.1f} % apart"
    times = in_turns(ROUNDS, {"ours": ours, "peer": peer})
    best = {name: timing.best_ms for name, timing in times.items()}
    details = {"times_faster": best["peer"] / best["ours"], "hours": ours() / 3600.0, "apart_pct": 100.0 * apart}
    of = f"solve_ivp (LSODA) on the equations, {NODES} nodes, best of {ROUNDS} rounds"
    return Outcome("bed, one", best["ours"], best["peer"], "ms", of, details)


def _grid() -> Outcome:
    scenario = _scenarios().spread()
    batches = run_phases("corn", scenario, LAYERS)
    blow, constants = batches.drying.blow, _grain()
    dry = 609.0 * np.asarray(scenario.bed_depth_m) / LAYERS / (blow.flux_kg_s_m2 * blow.step_s)
    start = np.asarray(scenario.moisture_in_pct) / (100.0 - np.asarray(scenario.moisture_in_pct))
    target = np.asarray(scenario.stop_moisture_pct) / (100.0 - np.asarray(scenario.stop_moisture_pct))
    loop = _compiled()

    def ours() -> Any:
        return run_bed(scenario).drying_s

    def peer() -> Any:
        air = (blow.temp_c, blow.humidity, dry, blow.step_s / 3600.0, blow.pressure_pa)
        return loop(start, np.asarray(scenario.grain_temp_c), target, *air, LAYERS, constants) * blow.step_s

    np.testing.assert_allclose(ours(), peer(), rtol=SAME)
    times = in_turns(ROUNDS, {"ours": ours, "peer": peer})
    of = f"numba loops of the same model, best of {ROUNDS} rounds"
    best = {name: timing.best_ms for name, timing in times.items()}
    return Outcome("bed, 256", best["ours"], best["peer"], "ms", of, {"scenarios": SCENARIOS})


def _scenarios() -> BedScenario:
    random = np.random.default_rng(20251006)
    return batch(
        SCENARIOS,
        plenum_f=random.uniform(130.0, 200.0, SCENARIOS),
        cfm_bu=random.uniform(15.0, 45.0, SCENARIOS),
        moisture_in_pct=random.uniform(19.0, 29.0, SCENARIOS),
        stop_moisture_pct=random.uniform(14.0, 17.0, SCENARIOS),
        depth_in=random.uniform(18.0, 30.0, SCENARIOS),
    )


def _grain() -> tuple[float, ...]:
    grain = grain_constants("corn")
    iso = grain.isotherm
    return (iso.a, iso.b, iso.c, grain.heat_0, grain.heat_1, grain.bound_0, grain.bound_1, grain.bound_2)


def _compiled() -> Any:
    """The plain loops as numba compiles them, each function before those that call it, in a copy of their module."""
    spec = importlib.util.find_spec("tests.grain.bed_layer_by_layer")
    loops = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(loops)
    for name in ("log_saturation", "bound_heat", "thin_layer", "layer", "dry_bed"):
        setattr(loops, name, numba.njit(getattr(loops, name)))
    dry_bed = loops.dry_bed

    @numba.njit
    def all_beds(start, grain_c, target, air_c, humidity, dry, step_h, pressure, layers, k):
        steps = np.empty(start.size)
        for i in range(start.size):
            moistures, temps = np.full(layers, start[i]), np.full(layers, grain_c[i])
            steps[i] = dry_bed(
                moistures,
                temps,
                air_c[i],
                humidity[i],
                dry[i],
                step_h[i],
                pressure[i],
                target[i],
                k[0],
                k[1],
                k[2],
                k[3],
                k[4],
                k[5],
                k[6],
                k[7],
            )
        return steps

    return all_beds
