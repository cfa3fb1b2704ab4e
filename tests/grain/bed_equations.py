"""The partial differential equations of a drying bed, solved by SciPy: a peer that shares no numerics with ours.

Bakker-Arkema, Lerew, De Boer & Roth 1974 (Michigan State University, Research Report 224), constants partly from
memory: air and grain have temperatures of their own, joined by a film. Method of lines, upwind in space, variables of
a node side by side so that the Jacobian is a band. Constants of the grain are those of our own model.
"""

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from dryrecords.grain.bed_kernel import GrainConstants
from dryrecords.grain.psychrometrics import water_saturation_pressure_pa

SURFACE_M2_M3 = 784.0  # 239 ft2/ft3
PORES = 0.4  # of the bed's volume; only sets how little heat the air in them holds
AIR_KG_M3 = 1.1  # likewise
BTU_H_FT2_F_W_M2_K = 5.678263
LB_H_FT2_KG_S_M2 = 0.45359237 / 3600.0 / 0.09290304


def film_w_m2_k(flux_kg_s_m2):
    flux = flux_kg_s_m2 / LB_H_FT2_KG_S_M2
    film = 0.363 * flux**0.59 if flux >= 500.0 else 0.69 * flux**0.49
    return film * BTU_H_FT2_F_W_M2_K


@dataclass(frozen=True)
class Equations:
    """One batch: air that enters, grain as loaded, dry matter in each m3."""

    grain: GrainConstants
    air_c: float
    humidity: float
    flux_kg_s_m2: float
    pressure_pa: float
    moisture: float  # fraction, dry basis
    temp_c: float
    dry_kg_m3: float
    depth_m: float

    def drying_rate(self, moisture, temp_c, rh):
        """Slope of Thompson, Peart & Foster's thin layer, modified Henderson equilibrium. [1/s], not above 0"""
        iso = self.grain.isotherm
        rest = 0.01 * (np.log1p(-np.minimum(rh, 0.95)) / (-iso.a * (temp_c + iso.c))) ** (1.0 / iso.b)
        above = np.maximum(moisture - rest, 1e-12)
        temp_f = 1.8 * temp_c + 32.0
        x, y = -1.86178 + 0.0048843 * temp_f, 427.3640 * np.exp(-0.03301 * temp_f)
        ratio = np.log(above / (np.maximum(moisture, self.moisture) - rest))
        return np.where(moisture > rest, above / (x + 2.0 * y * ratio) / 3600.0, 0.0)

    def slopes(self, _time, state, dx):
        air_c, humidity, temp_c, moisture = state.reshape(-1, 4).T
        grain = self.grain
        film = film_w_m2_k(self.flux_kg_s_m2) * SURFACE_M2_M3
        air_heat = 1006.0 + 1860.0 * humidity
        rh = self.pressure_pa * humidity / (0.621945 + humidity) / water_saturation_pressure_pa(air_c)
        surface = water_saturation_pressure_pa(temp_c)
        at_surface = 0.621945 * surface / (self.pressure_pa - surface)
        # grain gives what its law allows and the film can carry; below the dew point the film brings water instead
        carried = film / air_heat * (at_surface - humidity)
        evaporated = np.minimum(-self.dry_kg_m3 * self.drying_rate(moisture, temp_c, rh), carried)
        bound = grain.bound_heat_j_kg(moisture) * (grain.bound_1 + 2.0 * grain.bound_2 * moisture)
        taken = 2_501_000.0 + 1860.0 * air_c - grain.heat_1 * temp_c - bound
        exchanged = film * (air_c - temp_c)
        flow, stored = self.flux_kg_s_m2 / dx, PORES * AIR_KG_M3
        slopes = np.empty((air_c.size, 4))
        slopes[:, 0] = (flow * air_heat * -np.diff(air_c, prepend=self.air_c) - exchanged) / (stored * air_heat)
        slopes[:, 1] = (flow * -np.diff(humidity, prepend=self.humidity) + evaporated) / stored
        heat = self.dry_kg_m3 * grain.specific_heat_j_kg_k(moisture)
        slopes[:, 2] = (exchanged - evaporated * taken) / heat
        slopes[:, 3] = -evaporated / self.dry_kg_m3
        return slopes.ravel()

    def dry(self, target, nodes, rtol=1e-4):
        """Dry to a mean moisture [fraction, dry basis]: time [s], and state of shape (nodes, 4) at that time."""
        start = np.tile([self.temp_c, self.humidity, self.temp_c, self.moisture], nodes)

        def reached(_time, state, _dx):
            return state[3::4].mean() - target

        reached.terminal = True
        solved = solve_ivp(
            self.slopes,
            (0.0, 48.0 * 3600.0),
            start,
            method="LSODA",
            args=(self.depth_m / nodes,),
            events=reached,
            rtol=rtol,
            atol=np.tile([1e-2, 1e-6, 1e-2, 1e-6], nodes),
            lband=4,
            uband=3,
        )
        assert solved.status == 1, solved.message
        return solved.t_events[0][0], solved.y_events[0][0].reshape(-1, 4), solved.nfev
