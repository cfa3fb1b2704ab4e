"""From records to figures through the database: published examples, and what is missing, assumed or odd."""

import math
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from dryrecords.harvest import services as harvest
from dryrecords.season.models import BatchResult
from tests import factories as make
from tests.season.scene import GAL, LB, F, Yard, assumed, at, codes, result

pytestmark = [pytest.mark.django_db, pytest.mark.services]


def test_field_guide_load_of_corn() -> None:
    """56,000 lb at 26 % dried to 15 %: 870.6 bu (Purdue field guide, 11 points at 1.176 %); no handling loss there."""
    yard = Yard()
    make.setting(yard.by, handling_pct=0.0)
    found = result(yard.dried(26.0, 15.0))
    assert found.dry_bu == pytest.approx(870.59, abs=0.01)
    assert found.base_bu == pytest.approx(870.59, abs=0.01)
    assert found.over_drying_unsold_bu == 0
    assert found.wet_bu == pytest.approx(1000.0, abs=1e-6)


def test_corn_dried_two_points_too_far() -> None:
    """56,000 lb at 15 % dried to 13 %: 977 bu paid, 23 bu and $92 short at $4 (R. Nielsen, Purdue)."""
    yard = Yard()
    yard.prices()
    make.setting(yard.by, handling_pct=0.0)
    found = result(yard.dried(15.0, 13.0))
    assert found.market_bu == pytest.approx(977.011, abs=0.001)
    assert found.over_drying_unsold_bu == pytest.approx(22.989, abs=0.001)
    assert found.over_drying_unsold_usd == pytest.approx(91.95, abs=0.01)


def test_total_shrink_with_handling_loss() -> None:
    """1,000 lb corn from 25.5 to 15.5 %: 12.33 % total shrink with 0.5 % handling (seed-industry agronomy page)."""
    yard = Yard()
    found = result(yard.dried(25.5, 15.5, wet_mass_kg=LB(1000)))
    assert found.shrink_total_pct == pytest.approx(12.33, abs=0.01)
    assert found.dry_mass_kg == pytest.approx(LB(876.66), rel=1e-4)
    assert "handling_pct" in assumed(found)


def test_loss_is_the_mean_of_losses_not_the_loss_of_the_mean() -> None:
    yard = Yard()
    make.setting(yard.by, handling_pct=0.0)
    batch = yard.batch()
    yard.sample(batch, "wet", 22.0)
    yard.sample(batch, "cooled", 13.0, after=16)
    yard.sample(batch, "cooled", 17.0, after=16.5)
    found = result(batch)
    assert found.moisture_out_pct == pytest.approx(15.0)
    # Half of the grain at 13 % weighs (1 - 0.87/0.85) less than at base: -2.353 % of its dry weight unsold.
    assert found.over_drying_unsold_bu == pytest.approx(found.dry_bu / 2 * (0.87 / 0.85 - 1), rel=1e-9)
    assert found.market_bu == pytest.approx(found.base_bu - found.over_drying_unsold_bu, rel=1e-12)


def test_several_samples_give_a_mean_and_its_standard_error() -> None:
    yard = Yard()
    batch = yard.batch()
    yard.sample(batch, "wet", 22.0)
    for moisture in (14.0, 14.4, 14.8):
        yard.sample(
            batch, "cooled", moisture, after=16, meter_id=make.meter(yard.by, standard_uncertainty_pct=0.001).pk
        )
    found = result(batch)
    assert found.moisture_out_pct == pytest.approx(14.4)
    # s = 0.4, n = 3 (JCGM 100:2008, 4.2.3).
    assert found.moisture_out_pct_u == pytest.approx(0.4 / math.sqrt(3), rel=1e-3)


def test_one_meter_makes_the_difference_surer_than_two() -> None:
    yard = Yard()
    other = make.meter(yard.by, name="Elevator meter")
    one, two = yard.dried(25.0, 15.0), yard.batch(start=24)
    yard.sample(two, "wet", 25.0)
    yard.sample(two, "cooled", 15.0, after=16, meter_id=other.pk)
    assert result(one).points_removed_u < 0.7 * result(two).points_removed_u


def test_only_hot_samples_are_used_and_flagged() -> None:
    yard = Yard()
    batch = yard.batch()
    yard.sample(batch, "wet", 25.0)
    yard.sample(batch, "hot", 13.5, after=4)
    found = result(batch)
    assert found.moisture_out_pct == 13.5
    assert codes(found) == ["hot_samples_only"]
    yard.sample(batch, "cooled", 15.0, after=16)
    found = result(batch)
    assert (found.moisture_out_pct, codes(found)) == (15.0, [])


def test_what_is_missing_is_named_and_the_rest_is_computed() -> None:
    yard = Yard()
    batch = yard.batch(drying_ended_at=None, hours=0)
    yard.sample(batch, "wet", 25.0)
    found = result(batch)
    assert found.missing == [
        "drying_ended_at",
        "prices.grain",
        "prices.propane",
        "prices.electricity",
        "moisture_out_pct",
    ]
    assert found.complete is False
    assert found.wet_bu == pytest.approx(1000)
    assert (found.dry_bu, found.cost_total_usd) == (None, None)


def test_batch_with_nothing_at_all_has_a_result() -> None:
    yard = Yard()
    found = result(yard.batch(wet_mass_kg=None, lot_id=None))
    assert {"wet_mass_lb", "moisture_in_pct", "moisture_out_pct"} <= set(found.missing)
    assert found.base_moisture_pct == 15.0
    assert "base_moisture_pct" in assumed(found)


def test_wetter_out_than_in_is_said_and_raises_nothing() -> None:
    found = result(Yard().dried(14.0, 16.0))
    assert codes(found) == ["wetter_out_than_in"]
    assert found.water_removed_kg < 0
    assert found.energy_j_per_kg_water is None


def test_late_cooled_sample_is_said() -> None:
    yard = Yard()
    batch = yard.batch()
    yard.sample(batch, "wet", 25.0)
    yard.sample(batch, "cooled", 14.0, after=80)
    assert codes(result(batch)) == ["late_sample"]


def test_overlap_warns_on_both_batches_and_goes_when_corrected() -> None:
    yard = Yard()
    first = yard.dried(25.0, 15.0, emptied_at=at(5))
    second = yard.dried(25.0, 15.0, start=4.7)
    assert codes(result(first)) == codes(result(second)) == ["overlaps_another_batch"]
    assert result(first).warnings[0]["batches"] == [str(second.pk)]
    harvest.batches.correct(yard.by, first.pk, {"emptied_at": at(4.7)})
    assert codes(result(first)) == codes(result(second)) == []


# Mass


def test_mass_by_level_fill_depth() -> None:
    """A 24 ft bin holds 363.52 volume bushels a foot (0.7854 D2 h over 1.2444560 ft3); here 2.5 ft at 54 lb/bu."""
    yard = Yard()
    dryer = make.dryer(yard.by, yard.site, diameter_m=24 * 0.3048)
    batch = yard.dried(
        22.0,
        15.0,
        dryer=dryer,
        wet_mass_kg=None,
        fill_depth_m=2.5 * 0.3048,
        mass_basis="volume",
        test_weight_kg_m3=LB(54) / 0.03523907016688,
    )
    found = result(batch)
    assert found.wet_mass_kg == pytest.approx(LB(363.52 * 2.5 * 54), rel=2e-5)
    assert found.wet_mass_kg_u / found.wet_mass_kg > 0.02


def test_peaked_fill_adds_the_cone() -> None:
    """Corn at 23 degrees in a 24 ft bin peaks with 617.2 bu (MWPS-style angle table)."""
    yard = Yard()
    dryer = make.dryer(yard.by, yard.site, diameter_m=24 * 0.3048)
    depth = {"dryer": dryer, "wet_mass_kg": None, "fill_depth_m": 0.3048, "mass_basis": "volume"}
    level, peaked = yard.dried(22.0, 15.0, **depth), yard.dried(22.0, 15.0, start=48, fill_peaked=True, **depth)
    extra = result(peaked).wet_mass_kg - result(level).wet_mass_kg
    assert extra == pytest.approx(LB(617.2 * 56), rel=1e-3)
    assert "test_weight_lb_bu" in assumed(result(peaked))


def test_fill_depth_without_a_diameter_names_what_is_missing() -> None:
    yard = Yard()
    dryer = make.dryer(yard.by, yard.site, diameter_m=None)
    found = result(yard.dried(22.0, 15.0, dryer=dryer, wet_mass_kg=None, fill_depth_m=1.0, mass_basis="volume"))
    assert "dryer.diameter_ft" in found.missing


def test_mass_known_only_after_drying() -> None:
    yard = Yard()
    found = result(yard.dried(25.5, 15.5, wet_mass_kg=None, dry_mass_kg=LB(876.66)))
    assert found.wet_mass_kg == pytest.approx(LB(1000), rel=1e-4)


def test_weighed_before_and_after_shows_the_handling_loss() -> None:
    yard = Yard()
    found = result(yard.dried(25.5, 15.5, wet_mass_kg=LB(1000), dry_mass_kg=LB(873)))
    assert found.shrink_handling_pct == pytest.approx(88.1657 - 87.3, abs=1e-3)
    assert "handling_pct" not in assumed(found)


def test_refill_counts_with_its_own_mass_and_moisture() -> None:
    """600 lb at 18 % and 400 lb at 14 % blend to 16.4 % (mass-weighted mean, exact)."""
    yard = Yard()
    refill = {"at": at(1).isoformat(), "mass_kg": LB(400), "moisture_pct": 14.0}
    found = result(yard.dried(18.0, 12.0, wet_mass_kg=LB(600), refills=[refill]))
    assert found.moisture_in_pct == pytest.approx(16.4)
    assert found.wet_mass_kg == pytest.approx(LB(1000))


def test_refill_with_only_the_dry_grain_weighed() -> None:
    """The same blend, recovered from what came out."""
    yard = Yard()
    refill = {"at": at(1).isoformat(), "mass_kg": LB(400), "moisture_pct": 14.0}
    weighed = result(yard.dried(18.0, 12.0, wet_mass_kg=LB(600), refills=[refill])).dry_mass_kg
    found = result(yard.dried(18.0, 12.0, start=48, wet_mass_kg=None, dry_mass_kg=weighed, refills=[refill]))
    assert found.moisture_in_pct == pytest.approx(16.4)
    assert found.wet_mass_kg == pytest.approx(LB(1000))


# Settings and prices


def test_most_particular_setting_in_force_counts() -> None:
    yard = Yard()
    start = datetime(2025, 8, 1, tzinfo=UTC)
    make.setting(yard.by, handling_pct=0.4)
    make.setting(yard.by, handling_pct=0.3, crop="corn")
    make.setting(yard.by, handling_pct=0.2, customer_id=yard.customer.pk, effective_from=start)
    make.setting(yard.by, handling_pct=0.1, customer_id=yard.customer.pk, effective_from=at(24))
    early, late = yard.dried(25.0, 15.0), yard.dried(25.0, 15.0, start=48)
    assert result(early).shrink_handling_pct == 0.2
    assert result(late).shrink_handling_pct == 0.1


def test_price_of_the_site_goes_before_the_general_one() -> None:
    yard = Yard()
    yard.prices()
    make.price(yard.by, kind="grain", crop="corn", site_id=yard.site.pk, unit_price_usd=Decimal("5.00"))
    found = result(yard.dried(20.0, 13.0))
    assert found.over_drying_unsold_usd == pytest.approx(5 * found.over_drying_unsold_bu)


# Fuel and electricity


def test_fuel_between_two_gauge_readings_with_a_delivery() -> None:
    yard = Yard()
    yard.prices()
    batch = yard.dried(25.0, 15.0)
    yard.gauge(-1, 50)
    make.fuel_delivery(yard.by, yard.tank, at=at(2), volume_m3=GAL(300))
    yard.gauge(5, 60)
    found = result(batch)
    # 500 + 300 - 600 gal; 91,333 Btu/gal gross (US Energy Information Administration, Federal Register 2007).
    assert found.fuel_basis == "metered"
    assert found.fuel_volume_m3 == pytest.approx(GAL(200))
    assert found.fuel_energy_j == pytest.approx(200 * 91_333 * 1055.05585262, rel=1e-9)
    assert found.cost_fuel_usd == pytest.approx(200 * 1.90)


def test_cold_liquid_is_brought_to_60_degrees() -> None:
    """Factor 1.031 at 40 F for a specific gravity of 0.51 (29 CFR 1910.110(b)(19))."""
    yard = Yard()
    batch = yard.dried(25.0, 15.0)
    yard.gauge(-1, 80, fuel_temp_c=F(40))
    yard.gauge(5, 60, fuel_temp_c=F(40))
    assert result(batch).fuel_volume_m3 == pytest.approx(GAL(200 * 1.031), rel=1e-6)


def test_price_of_the_last_delivery_stands_in_for_a_missing_price() -> None:
    yard = Yard()
    batch = yard.dried(25.0, 15.0)
    assert result(batch).cost_fuel_usd is None
    make.fuel_delivery(yard.by, yard.tank, at=at(-48), unit_price_usd=Decimal("2.10"))
    found = result(batch)
    assert found.cost_fuel_usd == pytest.approx(200 * 2.10)
    assert "prices.propane" in assumed(found)
    assert "prices.propane" not in found.missing
    yard.prices()
    assert result(batch).cost_fuel_usd == pytest.approx(200 * 1.90)


def test_readings_far_outside_of_the_batch_are_said() -> None:
    yard = Yard()
    batch = yard.dried(25.0, 15.0)
    yard.gauge(-60, 80)
    yard.gauge(60, 60)
    found = result(batch)
    assert (found.fuel_basis, codes(found)) == ("metered", ["readings_far_apart"])


def test_another_batch_on_the_tank_takes_its_share_of_the_drawdown() -> None:
    """200 gal between the readings. Batch and intruder ask for the same, but of the intruder half came after."""
    yard = Yard()
    neighbour = make.dryer(yard.by, yard.site, tank_id=yard.tank.pk, name="Column")
    batch = yard.dried(25.0, 15.0)
    yard.gauge(-1, 80)
    yard.gauge(5, 60)
    assert result(batch).fuel_basis == "metered"
    intruder = yard.dried(25.0, 15.0, start=3, dryer=neighbour)
    found = result(batch)
    assert (found.fuel_basis, codes(found)) == ("allocated", [])
    assert found.fuel_volume_m3 == pytest.approx(GAL(200 / 1.5), rel=0.1)
    # What the intruder burnt after the last reading nobody knows yet.
    assert result(intruder).fuel_basis == "estimated"
    harvest.batches.remove(yard.by, intruder.pk)
    assert result(batch).fuel_basis == "metered"


def test_estimated_fuel_follows_the_extension_rule() -> None:
    """0.02 gal propane per point and wet bushel (Iowa State, South Dakota State): 10 points on 1,000 bu, 200 gal."""
    yard = Yard()
    found = result(yard.dried(25.0, 15.0))
    assert found.fuel_basis == "estimated"
    assert found.fuel_volume_m3 == pytest.approx(GAL(200), rel=1e-9)
    assert "fuel_use_gal_per_point_bu" in assumed(found)


def test_tank_that_rose_without_delivery_is_said() -> None:
    yard = Yard()
    batch = yard.dried(25.0, 15.0)
    yard.gauge(-1, 7)
    yard.gauge(5, 60)
    found = result(batch)
    assert (found.fuel_basis, codes(found)) == ("estimated", ["tank_rose_without_delivery"])


def test_natural_gas_is_billed_in_therms() -> None:
    yard = Yard()
    gas = make.tank(yard.by, yard.site, fuel="natural_gas", capacity_m3=None)
    dryer = make.dryer(yard.by, yard.site, tank_id=gas.pk)
    make.price(yard.by, kind="natural_gas", unit_price_usd=Decimal("0.90"))
    batch = yard.dried(25.0, 15.0, dryer=dryer)
    therm = 1e5 * 1055.05585262
    for hours, count in ((-1, 100), (5, 290)):
        make.fuel_reading(yard.by, gas, at=at(hours), gauge_pct=None, meter_j=count * therm)
    found = result(batch)
    assert found.fuel_energy_j == pytest.approx(190 * therm)
    assert found.cost_fuel_usd == pytest.approx(171.0)
    assert found.fuel_volume_m3 is None


def test_power_meter_that_counts_backwards_is_said() -> None:
    yard = Yard()
    batch = yard.dried(25.0, 15.0)
    make.power_reading(yard.by, yard.dryer, at=at(-1), meter_kwh=1080.0)
    make.power_reading(yard.by, yard.dryer, at=at(5), meter_kwh=1000.0)
    found = result(batch)
    assert (found.electricity_basis, codes(found)) == ("estimated", ["power_count_fell"])


def test_electricity_from_the_dryers_own_meter() -> None:
    yard = Yard()
    batch = yard.dried(25.0, 15.0)
    make.power_reading(yard.by, yard.dryer, at=at(-1), meter_kwh=1000.0)
    make.power_reading(yard.by, yard.dryer, at=at(5), meter_kwh=1080.0)
    found = result(batch)
    assert (found.electricity_basis, found.electricity_kwh) == ("metered", 80.0)


def test_zero_fuel_is_a_figure() -> None:
    yard = Yard()
    batch = yard.dried(18.0, 16.0)
    yard.gauge(-1, 60)
    yard.gauge(5, 60)
    found = result(batch)
    assert (found.fuel_basis, found.fuel_energy_j) == ("metered", 0.0)
    assert codes(found) == ["energy_implausible"]


def test_basis_is_empty_where_there_is_no_figure() -> None:
    found = result(Yard().dried(14.0, 16.0))
    assert (found.fuel_energy_j, found.fuel_basis) == (None, "")


SLIPS: dict[str, tuple[str, dict[str, Any]]] = {
    "fraction for percent": ("moisture_implausible", {"moisture_out": 0.141}),
    "more came out than went in": ("weighed_more_than_possible", {"dry_mass_kg": LB(60_000)}),
    "bushels for pounds": ("mass_implausible", {"wet_mass_kg": LB(28)}),
    "no time at all": ("drying_time_implausible", {"drying_ended_at": at(0.01)}),
    "refill on another day": (
        "refill_outside_batch",
        {"refills": [{"at": at(30).isoformat(), "mass_kg": 1000.0, "moisture_pct": 24.0}]},
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_slip_of_the_pen_is_said(slip: str) -> None:
    code, values = SLIPS[slip]
    moisture_out = values.get("moisture_out", 15.0)
    found = result(Yard().dried(25.0, moisture_out, **{k: v for k, v in values.items() if k != "moisture_out"}))
    assert code in codes(found)


def test_cooled_sample_before_the_end_of_drying_is_said() -> None:
    yard = Yard()
    batch = yard.batch()
    yard.sample(batch, "wet", 25.0)
    yard.sample(batch, "cooled", 14.0, after=1)
    assert codes(result(batch)) == ["early_sample"]


def test_removed_batch_has_no_result() -> None:
    yard = Yard()
    batch = yard.dried(25.0, 15.0)
    result(batch)
    harvest.batches.remove(yard.by, batch.pk)
    with pytest.raises(BatchResult.DoesNotExist):
        result(batch)
