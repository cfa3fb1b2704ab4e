"""The wavefront against the same balance in plain loops, and against the differential equations of a bed."""

import numpy as np
import pytest

from dryrecords.grain.bed import run_bed
from dryrecords.grain.bed_grain import grain_constants
from dryrecords.grain.bed_march import march
from dryrecords.grain.bed_state import Bed, Blow, Stop
from dryrecords.grain.moisture import dry_basis_pct
from dryrecords.grain.psychrometrics import humidity_ratio_of_rh, specific_volume_m3_kg

from . import bed_layer_by_layer
from .bed_equations import Equations
from .beds import batch, hours

DEPTH_M, DRY_KG_M3, PRESSURE_PA, AIRFLOW = 0.762, 609.0, 101_325.0, 0.2041
HUMIDITY = float(humidity_ratio_of_rh(10.0, 65.0, PRESSURE_PA))
FLUX = AIRFLOW / float(specific_volume_m3_kg(10.0, HUMIDITY, PRESSURE_PA))
TARGET = 15.5 / 84.5


def _march(layers, step_s, plenum_c, moisture):
    shape, row = (layers, len(plenum_c)), np.ones(len(plenum_c))
    bed = Bed(
        np.full(shape, moisture),
        np.full(shape, 10.0),
        np.full(shape, moisture),
        np.full(shape, DRY_KG_M3 * DEPTH_M / layers),
        row / DRY_KG_M3,
        moisture,
    )
    blow = Blow(np.array(plenum_c), HUMIDITY * row, FLUX * row, AIRFLOW * row, PRESSURE_PA * row, step_s * row, row)
    unused = np.nan * row
    stop = Stop(unused, TARGET * row, unused, unused, unused, 48 * 3600.0 * row)
    return march(grain_constants("corn"), bed, blow, stop)


@pytest.mark.parametrize("layers", [1, 4, 15, 40])
def test_it_is_the_balance_taken_layer_by_layer(layers):
    plenum_c, step_s, moisture = [60.0, 71.0, 90.0], 1800.0 / layers, 1.0 / 3.0
    marched = _march(layers, step_s, plenum_c, moisture)
    grain = grain_constants("corn")
    iso = grain.isotherm
    constants = (iso.a, iso.b, iso.c, grain.heat_0, grain.heat_1, grain.bound_0, grain.bound_1, grain.bound_2)
    for scenario, air_c in enumerate(plenum_c):
        moistures, temps = [moisture] * layers, [10.0] * layers
        dry = DRY_KG_M3 * DEPTH_M / layers / (FLUX * step_s)
        steps = bed_layer_by_layer.dry_bed(
            moistures, temps, air_c, HUMIDITY, dry, step_s / 3600.0, PRESSURE_PA, TARGET, *constants
        )
        assert marched.stop_step[scenario] == pytest.approx(steps, rel=1e-10)
        # the loop ends with its step, the march where the target was met in it
        assert marched.bed.moisture[:, scenario].mean() == pytest.approx(TARGET, rel=1e-12)
        last = int(np.ceil(steps))
        assert marched.course.moisture[last, scenario] == pytest.approx(np.mean(moistures), rel=1e-10)
        assert marched.course.exhaust_temp_c[last, scenario] == pytest.approx(temps[-1], rel=1e-10)


@pytest.mark.parametrize(("plenum_f", "cfm_bu"), [(140.0, 15.0), (160.0, 20.0), (180.0, 25.0)])
def test_it_agrees_with_the_differential_equations(plenum_f, cfm_bu):
    """Separate temperatures of air and grain, another way through space and time: within 3 % of the time."""
    scenario = batch(plenum_f=plenum_f, cfm_bu=cfm_bu)
    run = run_bed(scenario)
    flux = float(scenario.airflow_m3_s_m2) / float(specific_volume_m3_kg(10.0, HUMIDITY, PRESSURE_PA))
    equations = Equations(
        grain_constants("corn"),
        float(scenario.plenum_temp_c),
        HUMIDITY,
        flux,
        PRESSURE_PA,
        1.0 / 3.0,
        10.0,
        DRY_KG_M3,
        DEPTH_M,
    )
    seconds, nodes, _ = equations.dry(float(dry_basis_pct(15.5)) / 100.0, nodes=60)
    assert hours(run)[0] == pytest.approx(seconds / 3600.0, rel=0.03)
    driest, wettest = (100.0 * nodes[i, 3] / (1.0 + nodes[i, 3]) for i in (0, -1))
    assert run.driest_at_stop_pct[0] == pytest.approx(driest, abs=0.6)
    assert run.wettest_at_stop_pct[0] == pytest.approx(wettest, abs=0.6)
    assert run.exhaust_temp_at_stop_c[0] == pytest.approx(nodes[-1, 0], abs=1.5)
