"""One step of heat and moisture balance in every layer of a bed at once: the inner loop of the bed model.

Isotherms and drying laws are those of `equilibrium` and `thin_layer`, written out so that a step passes over its
arrays as few times as it can; tests/grain/test_bed_kernel.py holds the two against each other.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import Array, BoolArray, FloatArray, Values
from dryrecords.grain.equilibrium import RH_LIMITS_PCT, Isotherm, IsothermForm
from dryrecords.grain.psychrometrics import (
    AIR_J_KG_K,
    VAPOUR_AT_ZERO_J_KG,
    VAPOUR_J_KG_K,
    WATER_TO_AIR_MASS,
    water_saturation_pressure_pa,
)
from dryrecords.grain.thin_layer import CropDrying, LayerAir

_RH_MAX = RH_LIMITS_PCT[1] / 100.0
_SLOWEST_PER_H, _MOST_FALLEN = 1e-9, 50.0  # bounds that keep Page's law finite
_NEWTON_STEPS = 2  # leave air within 0.001 of saturation; the balances close whatever their number


@dataclass(frozen=True)
class GrainConstants:
    """What the balance needs to know of one crop; moisture is a dry-basis fraction, heat is for each kg dry matter.

    Specific heat is `heat_0 + heat_1 m` [J/(kg K)]; the heat of bound water that is gone from grain is
    `exp(bound_0 + bound_1 m + bound_2 m^2)` [J/kg].
    """

    isotherm: Isotherm
    drying: CropDrying
    heat_0: float
    heat_1: float
    bound_0: float
    bound_1: float
    bound_2: float

    def bound_heat_j_kg(self, moisture: Array) -> Array:
        """Heat it took to free the bound water that is gone, any shape. [J/kg dry matter]"""
        return np.asarray(np.exp(self.bound_0 + moisture * (self.bound_1 + moisture * self.bound_2)))

    def specific_heat_j_kg_k(self, moisture: Array) -> Array:
        """Specific heat, any shape. [J/(kg dry matter K)]"""
        return np.asarray(self.heat_0 + self.heat_1 * moisture)

    def enthalpy_j_kg(self, moisture: Array, temp_c: Array) -> Array:
        """Heat content over that of grain at 0 deg C which holds no bound water, any shape. [J/kg dry matter]"""
        return self.specific_heat_j_kg_k(moisture) * temp_c + self.bound_heat_j_kg(moisture)

    def temp_c(self, moisture: Array, enthalpy_j_kg: Array) -> Array:
        """Temperature of grain from its heat content, inverse of enthalpy_j_kg. [deg C]"""
        return (enthalpy_j_kg - self.bound_heat_j_kg(moisture)) / self.specific_heat_j_kg_k(moisture)


def equilibrium(isotherm: Isotherm) -> Callable[[Array, Array], Array]:
    """Equilibrium moisture [dry-basis fraction] as a function of temperature [deg C] and humidity [fraction]."""
    a, b, c = isotherm.a, isotherm.b, isotherm.c
    forms: dict[IsothermForm, Callable[[Array, Array], Array]] = {
        IsothermForm.HENDERSON: lambda t, rh: 0.01 * (np.log1p(-rh) / (-a * (t + c))) ** (1.0 / b),
        IsothermForm.CHUNG_PFOST: lambda t, rh: np.maximum(np.log(np.log(rh) * (t + c) / -a) / (-100.0 * b), 0.0),
        IsothermForm.HALSEY: lambda t, rh: 0.01 * np.exp((a + b * t - np.log(-np.log(rh))) / c),
        IsothermForm.OSWIN: lambda t, rh: 0.01 * np.maximum(a + b * t, 0.0) * (rh / (1.0 - rh)) ** (1.0 / c),
    }
    return forms[isotherm.form]


@dataclass(frozen=True)
class Layers:
    """State of layers, and of the air where it leaves them: arrays of one shape (..., layers, scenarios)."""

    moisture: FloatArray  # water over dry matter
    temp_c: FloatArray  # of the grain and of the air that leaves it
    bound_j_kg: FloatArray  # bound_heat_j_kg of moisture
    humidity: FloatArray  # of the air that leaves [kg/kg]

    def at(self, place: int | slice | tuple[slice, ...]) -> "Layers":
        """The same states at a place of the leading axes, as views."""
        return Layers(self.moisture[place], self.temp_c[place], self.bound_j_kg[place], self.humidity[place])

    def set(self, other: "Layers") -> None:
        """Overwrite these states by others."""
        self.moisture[...] = other.moisture
        self.temp_c[...] = other.temp_c
        self.bound_j_kg[...] = other.bound_j_kg
        self.humidity[...] = other.humidity


class LayerStep:
    """Takes layers one step of time on; made for one crop, one set of layers and one length of step.

    Parameters
    ----------
    grain : constants of the crop
    dry_per_air : dry matter of each layer over the dry air that passes in a step, shape (layers, scenarios) [-];
        0 for a layer that is not there, which passes its air on as it came
    reference : moisture at which each layer began to dry, same shape. [dry-basis fraction]
    step_s : as the thin layer feels it, rate factors included, shape (scenarios,). [s]
    velocity_m_s, pressure_pa : of the air, shape (scenarios,). [m/s], [Pa]

    Equation    temperature mix; thin-layer drying by equivalent time at the mixed temperature; enthalpy balance;
                where air would pass saturation, less drying or condensation until it is just saturated
    Source      Thompson, Peart & Foster 1968, Mathematical simulation of corn drying, Trans. ASAE 11(4)
    Known gap   grain and air leave a layer at one temperature; over-dried grain takes up no vapour but condensate
    Checked by  tests/grain/test_bed_kernel.py
    """

    def __init__(
        self,
        grain: GrainConstants,
        dry_per_air: FloatArray,
        reference: FloatArray,
        step_s: FloatArray,
        velocity_m_s: FloatArray,
        pressure_pa: FloatArray,
    ) -> None:
        self._grain = grain
        self._law = grain.drying.law
        self._equilibrium = equilibrium(grain.isotherm)
        self._reference = reference
        self._reference_pct = 100.0 * reference / (1.0 + reference)
        self._step_h = step_s / 3600.0
        self._velocity = velocity_m_s
        self._pressure = pressure_pa
        self._resize(dry_per_air)

    def _resize(self, dry_per_air: FloatArray) -> None:
        self._dry = dry_per_air
        self._present: BoolArray = dry_per_air > 0.0
        self._air_per_dry = np.divide(1.0, dry_per_air, out=np.zeros_like(dry_per_air), where=self._present)
        self._heat_0, self._heat_1 = dry_per_air * self._grain.heat_0, dry_per_air * self._grain.heat_1

    def __call__(self, below_temp_c: FloatArray, below_humidity: FloatArray, was: Layers, becomes: Layers) -> None:
        """Fill `becomes` from the layers as they were and the air that enters each, shape (layers, scenarios)."""
        grain, moisture = self._grain, was.moisture
        air_heat = AIR_J_KG_K + VAPOUR_J_KG_K * below_humidity
        grain_heat = self._heat_0 + self._heat_1 * moisture
        heat = air_heat + grain_heat
        sensible = air_heat * below_temp_c + grain_heat * was.temp_c
        dried = self._dried(sensible / heat, below_humidity, moisture)

        # Heat of freeing bound water: its slope here for the search, its exact difference for the balance.
        free = VAPOUR_AT_ZERO_J_KG - was.bound_j_kg * (grain.bound_1 + 2.0 * grain.bound_2 * moisture)
        evaporated = self._dry * (moisture - dried)
        evaporated = self._not_past_saturation(evaporated, below_humidity, sensible, heat, free)

        np.subtract(moisture, evaporated * self._air_per_dry, out=becomes.moisture)
        np.add(below_humidity, evaporated, out=becomes.humidity)
        becomes.bound_j_kg[...] = grain.bound_heat_j_kg(becomes.moisture)
        spent = evaporated * VAPOUR_AT_ZERO_J_KG + self._dry * (becomes.bound_j_kg - was.bound_j_kg)
        np.divide(sensible - spent, heat + (VAPOUR_J_KG_K - grain.heat_1) * evaporated, out=becomes.temp_c)

    def _dried(self, temp_c: Array, humidity: Array, moisture: Array) -> Array:
        """Moisture after a step of the drying law; air at temp_c [deg C] and humidity [kg/kg]."""
        vapour = self._pressure * humidity / (WATER_TO_AIR_MASS + humidity)
        rh = np.minimum(vapour / water_saturation_pressure_pa(temp_c), _RH_MAX)
        resting = self._equilibrium(temp_c, rh)
        above = np.maximum(moisture - resting, 0.0)
        log_ratio = np.log(above / (np.maximum(moisture, self._reference) - resting))
        x, y = self._law.constants(
            LayerAir(temp_c=temp_c, rh_pct=100.0 * rh, velocity_m_s=self._velocity, moisture_in_pct=self._reference_pct)
        )
        fall = self._page_fall(log_ratio, x, y) if self._law.is_page else self._quadratic_fall(log_ratio, x, y)
        # resting may lie above moisture: such grain stays as it is
        return np.minimum(resting + above * np.exp(-fall), moisture)

    def _quadratic_fall(self, log_ratio: Array, a: Values, b: Values) -> Array:
        """Fall of ln MR in a step by t = a ln MR + b (ln MR)^2."""
        slope = a + 2.0 * b * log_ratio
        return np.asarray(2.0 * self._step_h / (np.sqrt(slope * slope + (4.0 * self._step_h) * b) - slope))

    def _page_fall(self, log_ratio: Array, k: Values, n: Values) -> Array:
        """Fall of ln MR in a step by MR = exp(-k t^n)."""
        if np.ndim(n) == 0 and n == 1.0:
            return np.asarray(k * self._step_h)
        # some laws fall below zero in cold moist air, and grain at rest would have dried for ever
        rate, fallen = np.maximum(k, _SLOWEST_PER_H), np.minimum(-log_ratio, _MOST_FALLEN)
        elapsed = (fallen / rate) ** (1.0 / n)
        return np.asarray(rate * (elapsed + self._step_h) ** n - fallen)

    def _not_past_saturation(
        self, evaporated: Array, humidity: Array, sensible: Array, heat: Array, free: Array
    ) -> Array:
        """Evaporation [kg/kg of dry air] cut down, to condensation if need be, where air would pass saturation."""
        shift = VAPOUR_J_KG_K - self._grain.heat_1
        temp_c = (sensible - evaporated * free) / (heat + shift * evaporated)
        saturation = water_saturation_pressure_pa(temp_c)
        passed = humidity + evaporated
        wet = (self._pressure * passed > saturation * (WATER_TO_AIR_MASS + passed)) & self._present
        if not wet.any():
            return evaporated
        for turn in range(_NEWTON_STEPS):
            if turn:
                saturation = water_saturation_pressure_pa(temp_c)
            gap = np.maximum(self._pressure - saturation, 0.05 * self._pressure)
            saturated = WATER_TO_AIR_MASS * saturation / gap
            # slope of Magnus' formula (Alduchov & Eskridge 1996, from memory)
            slope = saturated * self._pressure / gap * 4283.6 / np.square(temp_c + 243.04)
            taken = saturated - humidity
            rise = (sensible - temp_c * (heat + shift * taken) - taken * free) / (
                heat + shift * taken + slope * (shift * temp_c + free)
            )
            temp_c = temp_c + rise
        return np.where(wet, taken + slope * rise, evaporated)
