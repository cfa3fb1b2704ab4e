"""Moisture given off in cooling against the first law worked on its own, and against rules of practice."""

import numpy as np
import psychrolib
import pytest
from scipy.integrate import solve_ivp

from dryrecords.grain import cooling
from dryrecords.grain.airflow import CFM_PER_BUSHEL_PER_S
from dryrecords.grain.crops import bushel_kg, isotherms, specific_heats
from dryrecords.grain.volume import BUSHEL_M3
from tests.reference.weather import weather_year

psychrolib.SetUnitSystem(psychrolib.SI)  # once: with numba installed each call compiles anew
CORN = np.array("corn")
ISOTHERM, HEAT = isotherms(CORN), specific_heats(CORN)


def celsius(fahrenheit):
    return (np.asarray(fahrenheit) - 32.0) / 1.8


def ceiling(moisture_pct, hot_f, cold_f):
    return cooling.cooling_ceiling_pct(moisture_pct, celsius(hot_f), celsius(cold_f), ISOTHERM, HEAT)


def _hand_latent_j_kg(dry_basis_pct, temp_c):
    """Modified Henderson corn and Clausius-Clapeyron by difference, on PsychroLib's saturation pressure."""

    def log_rh(t):
        return np.log(1.0 - np.exp(-6.6612e-5 * (t + 42.143) * dry_basis_pct**1.9677))

    slope = np.log(psychrolib.GetSatVapPres(temp_c + 0.01) / psychrolib.GetSatVapPres(temp_c - 0.01))
    ratio = 1.0 + (log_rh(temp_c + 0.01) - log_rh(temp_c - 0.01)) / slope
    return 1000.0 * (2502.2 - 2.386 * temp_c) * ratio


@pytest.mark.parametrize(
    ("moisture_pct", "hot_f", "cold_f"), [(16.0, 140.0, 50.0), (17.0, 120.0, 60.0), (25.0, 160.0, 35.0)]
)
def test_ceiling_is_the_first_law_by_an_adaptive_solver(moisture_pct, hot_f, cold_f):
    def rate(temp_c, dry):
        wet_pct = 100.0 * dry[0] / (100.0 + dry[0])
        return [(1465.0 + 35.6 * wet_pct) * (100.0 + dry[0]) / _hand_latent_j_kg(dry[0], temp_c)]

    start = 100.0 * moisture_pct / (100.0 - moisture_pct)
    end = solve_ivp(rate, (celsius(hot_f), celsius(cold_f)), [start], rtol=1e-6, atol=1e-6).y[0, -1]
    assert ceiling(moisture_pct, hot_f, cold_f) == pytest.approx(moisture_pct - 100.0 * end / (100.0 + end), rel=1e-4)


# moisture [%], from and to [F], points for each 10 F with free water and specific heat of the start, by hand
@pytest.mark.parametrize(
    ("moisture_pct", "hot_f", "cold_f", "by_hand"),
    [(16.0, 140.0, 50.0, 0.385), (17.0, 120.0, 60.0, 0.388), (15.5, 80.0, 70.0, 0.378)],
)
def test_ceiling_is_below_that_of_free_water(moisture_pct, hot_f, cold_f, by_hand):
    each = ceiling(moisture_pct, hot_f, cold_f) / (hot_f - cold_f) * 10.0
    assert 0.88 * by_hand < each < by_hand


def test_dryeration_is_within_the_printed_rules():
    # 0.20 to 0.25 point for each 10 F, and 1.5 to 2.5 points from 120 to 140 F: Midwest bulletins, from memory
    hot, cold = np.array([120.0, 140.0]), 50.0
    removed = cooling.DRYERATION.evaporative_share * ceiling(16.5, hot, cold)
    assert ((removed > 1.5) & (removed < 2.5)).all()
    assert ((removed / (hot - cold) * 10.0 > 0.2) & (removed / (hot - cold) * 10.0 < 0.25)).all()


def test_prompt_cooling_takes_about_a_point():
    # North Dakota State University via press: about 1 point in immediate cooling in storage
    after = cooling.cooled_moisture_pct(16.0, celsius([120.0, 130.0]), celsius(50.0), ISOTHERM, HEAT)
    assert 16.0 - after == pytest.approx(np.array([1.0, 1.0]), abs=0.15)


def test_a_rule_for_aeration_asks_for_more_than_there_is():
    # 1 point for each 27 F of cooling, an aeration researcher's notes: more than the grain's own heat can evaporate
    assert ceiling(15.0, 77.0, 50.0) < 1.0


def test_cooling_time_of_nebraska():
    # 15 h at 1 cfm a bushel, 3 days at 0.2: University of Nebraska 2022
    flows = np.array([1.0, 0.2]) * CFM_PER_BUSHEL_PER_S
    density = bushel_kg(CORN) / BUSHEL_M3
    hours = cooling.cooling_time_s(flows, 15.0, density, HEAT) / 3600.0
    assert hours == pytest.approx(np.array([15.0, 72.0]), rel=0.06)
    assert cooling.COOLING_RULE_AIR_CHANGES / flows[0] / 3600.0 == pytest.approx(15.0)
    # 24 h if all heat left with the air, by hand
    dry = cooling.cooling_time_s(flows[0], 15.0, density, HEAT, evaporative_share=0.0) / 3600.0
    assert dry == pytest.approx(24.0, rel=0.04)


def test_nights_of_a_real_autumn():
    # Batches of 16 % corn at 50 deg C cooled to the mean of each night of September to November: no night takes more
    # than the heat holds, and grain that is still warmer than the air stays above its driest equilibrium.
    year = weather_year()
    hourly = year["temp_c"][(year["month"] >= 9) & (year["month"] <= 11)].reshape(-1, 24)
    night_c = hourly[:, :7].mean(axis=1)
    after = cooling.cooled_moisture_pct(16.0, 50.0, night_c, ISOTHERM, HEAT)
    removed = 16.0 - after
    assert removed.shape == (91,)
    assert ((removed > 0.4) & (removed < 1.3)).all()
    order = np.argsort(night_c)
    assert (np.diff(removed[order]) <= 0.0).all()
    water = (16.0 - after) / (100.0 - after)
    heat = 2034.6 * (50.0 - night_c)  # of wet grain at the start [J/kg], Kazarian & Hall 1965
    assert (water * 2_383_000.0 < 0.5 * heat).all()
