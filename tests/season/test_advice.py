"""Advice for the next batch: what it costs against simulation, and where it leads in the dryer it was made for."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from dryrecords.core.errors import Invalid
from dryrecords.season.advice import Advice, advise, flat_discount
from dryrecords.season.calibration import calibration_of, taught_by
from dryrecords.season.forecast import forecast
from tests import factories as make
from tests.season.scene import F, Yard
from tests.season.synthetic import Truth, batch_dryer, learn, record, season_of
from tests.season.test_forecast import WANTED

pytestmark = pytest.mark.django_db
TRUTH = Truth(1.2, 0.95, 3.0)


class Learned:
    def __init__(self, batches: int = 12, **values: Any) -> None:
        self.yard = Yard()
        self.dryer = batch_dryer(self.yard, **values)
        season_of(self.yard, self.dryer, TRUTH, batches)
        if batches:
            learn(self.dryer)

    def advise(self, moisture_in: float = 23.0, base: float | None = 15.0, **more: Any) -> Advice:
        held = calibration_of(self.dryer.organization_id, self.dryer.pk, "corn")
        return advise(self.dryer, "corn", moisture_in, base, calibration=held, **more)


def test_expected_cost_against_simulation() -> None:
    """What is lost below the base is 1 - 85 / (100 - M) of the price, above it 2 % a point (extension example)."""
    learned = Learned(0)
    make.price(learned.yard.by, kind="grain", crop="corn", unit_price_usd=Decimal("4.00"))
    made = learned.advise()
    drawn = np.random.default_rng(2).normal(made.target.moisture_pct, made.spread_pct, 400_000)
    short = 4.0 * np.maximum(1 - 85 / (100 - drawn), 0)
    docked = 4.0 * 0.02 * np.maximum(drawn - 15, 0)
    assert made.money_unit == "usd_per_bu"
    assert made.target.expected_loss == pytest.approx((short + docked).mean(), rel=0.01)
    assert made.target.expected_over_drying == pytest.approx(short.mean(), rel=0.02)
    assert made.target.expected_discount == pytest.approx(docked.mean(), rel=0.02)
    assert made.target.expected_loss < made.target.expected_loss_at_base


def test_target_lies_between_over_drying_and_discount() -> None:
    """Steeper discounts push it down, none lifts it to what still keeps over winter; never above that."""
    learned = Learned(0)
    flat = learned.advise().target.moisture_pct
    steep = learned.advise(discount=lambda m, base, price: 10 * flat_discount(m, base, price)).target.moisture_pct
    none = learned.advise(discount=lambda m, base, price: np.zeros_like(m)).target.moisture_pct
    assert steep < flat < 15.0
    assert none == pytest.approx(15.0, abs=0.02)


def test_following_it_leads_to_the_target() -> None:
    """The synthetic dryer, stopped at the advised cut-off, comes out near the target and within the time told."""
    learned = Learned()
    made = learned.advise(given={"plenum_temp_c": F(162), "ambient_temp_c": 8.0, "ambient_rh_pct": 65.0})
    assert made.cutoff_from == "this dryer's batches"
    assert made.cutoff_temp_c is not None
    assert made.cutoff_within_c is not None
    settings = make_wanted(made, 23.0)
    run = TRUTH.dry(learned.dryer, settings, made.cutoff_temp_c)
    assert float(run.moisture_cooled_pct[0]) == pytest.approx(made.target.moisture_pct, abs=0.5)
    # The cut-off that this very dryer would have needed lies within the interval.
    tried = np.arange(40.0, 70.0, 0.5)
    left = np.array([float(TRUTH.dry(learned.dryer, settings, c).moisture_cooled_pct[0]) for c in tried])
    needed = tried[np.argmin(np.abs(left - made.target.moisture_pct))]
    assert abs(needed - made.cutoff_temp_c) < made.cutoff_within_c
    time, time_u = made.forecast.figures["drying_s"], made.forecast.figures["drying_s_u"]
    assert time is not None
    assert time_u is not None
    assert abs(float(run.drying_s[0]) - time) < 3 * time_u


def test_the_relation_gives_the_aim_at_the_advised_cutoff() -> None:
    learned = Learned()
    made = learned.advise(25.0)
    held = calibration_of(learned.dryer.organization_id, learned.dryer.pk, "corn")
    assert held is not None
    assert made.cutoff_temp_c is not None
    relation = held.figures["relation"]
    about = np.array([made.cutoff_temp_c, 25.0, made.settings["ambient_temp_c"]]) - relation["centre"]
    assert np.array(relation["coefficients"]) @ [1.0, *about] == pytest.approx(made.target.moisture_pct, abs=1e-9)


def make_wanted(made: Advice, moisture_in: float) -> Any:
    return replace(
        WANTED,
        moisture_in_pct=moisture_in,
        plenum_temp_c=made.settings["plenum_temp_c"],
        ambient_temp_c=made.settings["ambient_temp_c"],
        ambient_rh_pct=made.settings["ambient_rh_pct"],
    )


def test_wetter_grain_wants_a_higher_cutoff() -> None:
    learned = Learned()
    cutoffs = [learned.advise(moisture).cutoff_temp_c for moisture in (20.0, 23.0, 26.0)]
    assert cutoffs == sorted(cutoffs)
    assert cutoffs[0] != cutoffs[2]


def test_a_surer_dryer_aims_closer_to_the_base_and_is_told_so() -> None:
    unknown, known = Learned(0).advise(), Learned(14).advise()
    assert known.spread_pct < unknown.spread_pct
    assert unknown.target.moisture_pct < known.target.moisture_pct < 15.0
    assert known.cutoff_within_c is not None
    assert unknown.cutoff_within_c is not None
    assert known.cutoff_within_c < unknown.cutoff_within_c
    assert unknown.cutoff_from == "the bed model"


def test_away_from_the_plenum_of_its_batches_the_relation_is_not_used() -> None:
    made = Learned().advise(given={"plenum_temp_c": F(200)})
    assert made.cutoff_from == "the bed model"


def test_newest_settings_count_where_none_is_given() -> None:
    learned = Learned()
    typical = learned.advise().settings
    assert F(150) < typical["plenum_temp_c"] < F(175)
    given = learned.advise(given={"ambient_temp_c": -3.0}).settings
    assert given == typical | {"ambient_temp_c": -3.0}


def test_base_is_that_of_the_setting_else_of_the_crop() -> None:
    learned = Learned(0)
    assert learned.advise(base=None).base_moisture_pct == 15.0
    make.setting(learned.yard.by, customer_id=learned.yard.customer.pk, base_moisture_pct=15.5)
    assert learned.advise(base=None).base_moisture_pct == 15.5


@pytest.mark.parametrize("price", [None, Decimal(0)])
def test_without_a_price_losses_are_shares_of_it(price: Decimal | None) -> None:
    learned = Learned(0)
    if price is not None:
        make.price(learned.yard.by, kind="grain", crop="corn", unit_price_usd=price)
    made = learned.advise()
    assert made.money_unit == "share_of_price"
    assert 0 < made.target.expected_loss < 0.05


def test_spread_of_a_dryer_that_the_model_is_not_of() -> None:
    """It is that of its own outcomes, drawn towards what is expected of any by four batches' worth."""
    yard = Yard()
    dryer = batch_dryer(yard, type="continuous_flow")
    cooled = [14.0, 15.4, 13.1, 14.9, 13.6, 15.0]
    for number, moisture in enumerate(cooled):
        record(yard, dryer, number, WANTED, 52.0, 9000.0, moisture)
    held = learn(dryer)
    made = advise(dryer, "corn", 22.0, 15.0, calibration=held)
    expected = np.sqrt((4 * 0.6**2 + 6 * np.var(cooled, ddof=1)) / 10)
    assert made.spread_pct == pytest.approx(expected)
    assert any("rough" in said for said in made.assumed)


def test_time_and_fuel_are_for_the_cooling_that_the_cut_off_was_learned_with() -> None:
    """Whoever stops by the clock of a batch that cools in the bin leaves grain wet that its dryer cools itself."""
    learned = Learned(0)
    cooled_in_dryer = {"cooling_s": 3 * 3600.0}
    wanted = replace(WANTED, moisture_in_pct=22.0, plenum_temp_c=F(160))
    for number in range(6):
        record(learned.yard, learned.dryer, number, wanted, 54.0, 7200.0, 14.0 + number / 20, **cooled_in_dryer)
    learn(learned.dryer)
    made = learned.advise(22.0)
    asked = replace(
        WANTED,
        moisture_in_pct=22.0,
        target_moisture_pct=made.target.moisture_pct,
        bed_depth_m=made.settings["bed_depth_m"],
        grain_temp_c=made.settings["grain_temp_c"],
        **{name: made.settings[name] for name in ("plenum_temp_c", "ambient_temp_c", "ambient_rh_pct")},
    )
    held = calibration_of(learned.dryer.organization_id, learned.dryer.pk, "corn")
    in_dryer, in_bin = (
        forecast(learned.dryer, replace(asked, cooling=cooling), taught_by(held)).figures["drying_s"]
        for cooling in ("in_dryer", "in_bin")
    )
    assert made.forecast.figures["drying_s"] == in_dryer
    assert in_dryer > 1.1 * in_bin


def test_grain_as_dry_as_the_target_gets_no_settings() -> None:
    with pytest.raises(Invalid, match="nothing to dry"):
        Learned(0).advise(14.0)
