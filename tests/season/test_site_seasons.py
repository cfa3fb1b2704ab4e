"""Sums and means of a site's season are those of its batches."""

import pytest

from dryrecords.core.errors import NotFound
from dryrecords.season import selectors, services
from dryrecords.season.models import BatchResult
from dryrecords.tenancy.access import Role
from tests import factories as make
from tests.season.scene import LB, Yard

pytestmark = [pytest.mark.django_db, pytest.mark.services]


@pytest.fixture
def yard() -> Yard:
    yard = Yard()
    yard.prices()
    return yard


def test_sums_and_weighted_means(yard: Yard) -> None:
    yard.dried(25.0, 13.0, wet_mass_kg=LB(56_000))
    yard.dried(20.0, 15.0, start=24, wet_mass_kg=LB(28_000))
    services.work_off()
    view = selectors.site_season(yard.by, yard.site.pk, 2025)
    results = list(BatchResult.objects.order_by("batch_id"))
    assert (view.batches, view.complete_batches, view.fresh) == (2, 2, True)
    for name in ("wet_bu", "market_bu", "water_removed_kg", "fuel_volume_m3", "over_drying_total_usd"):
        assert view.figures[name] == pytest.approx(sum(getattr(r, name) for r in results)), name
    # 1,000 bu lost 12 points and 500 bu lost 5: (12000 + 2500) / 1500.
    assert view.figures["points_removed"] == pytest.approx(9.6667, abs=1e-4)
    energy = sum(r.fuel_energy_j + r.electricity_kwh * 3.6e6 for r in results)
    water = sum(r.water_removed_kg for r in results)
    assert view.figures["energy_j_per_kg_water"] == pytest.approx(energy / water)


def test_incomplete_batch_counts_and_does_not_spoil_the_means(yard: Yard) -> None:
    yard.dried(25.0, 15.0)
    yard.sample(yard.batch(start=24), "wet", 30.0)
    services.work_off()
    view = selectors.site_season(yard.by, yard.site.pk, 2025)
    assert (view.batches, view.complete_batches) == (2, 1)
    assert view.figures["points_removed"] == pytest.approx(10.0)
    # What went in is that of the same batches as what came out, so that the figures add up.
    assert view.figures["wet_bu"] == pytest.approx(1000.0)
    assert view.fuel_metered_batches == 0


def test_best_and_worst_go_by_money_lost(yard: Yard) -> None:
    over, right, worst = (yard.dried(22.0, out, start=24 * n) for n, out in enumerate((14.0, 15.0, 12.0)))
    services.work_off()
    view = selectors.site_season(yard.by, yard.site.pk, 2025)
    assert view.worst == [str(worst.pk), str(over.pk)]
    assert view.best[0] == str(right.pk)


def test_overview_adds_up_the_sites(yard: Yard) -> None:
    other = make.site(yard.by, make.customer(yard.by, name="Other"), name="Away")
    dryer = make.dryer(yard.by, other)
    yard.dried(25.0, 13.0)
    yard.dried(21.0, 14.0, dryer=dryer, lot_id=None)
    services.work_off()
    overview = selectors.season_overview(yard.by, 2025)
    assert len(overview.sites) == 2
    for name in ("wet_bu", "market_bu", "over_drying_unsold_bu"):
        assert overview.total.figures[name] == pytest.approx(sum(s.figures[name] for s in overview.sites)), name
    alone = selectors.season_overview(yard.by, 2025, customer_id=yard.customer.pk)
    assert [view.site for view in alone.sites] == [yard.site]


def test_splitting_a_batch_in_two_gives_the_same_totals(yard: Yard) -> None:
    yard.dried(25.0, 13.0, wet_mass_kg=LB(60_000), hours=4)
    halved = Yard("Halved")
    halved.prices()
    for n, mass in enumerate((20_000, 40_000)):
        halved.dried(25.0, 13.0, start=24 * n, wet_mass_kg=LB(mass), hours=4)
    services.work_off()
    whole, parts = (selectors.site_season(y.by, y.site.pk, 2025).figures for y in (yard, halved))
    for name in ("wet_bu", "dry_bu", "base_bu", "market_bu", "fuel_volume_m3", "over_drying_unsold_usd"):
        assert parts[name] == pytest.approx(whole[name]), name


def test_season_of_another_organization_is_not_there(yard: Yard) -> None:
    stranger = make.access(make.organization("Strangers"))
    with pytest.raises(NotFound):
        selectors.site_season(stranger, yard.site.pk, 2025)
    assert selectors.season_overview(stranger, 2025).sites == []


def test_customer_sees_its_own_sites_only(yard: Yard) -> None:
    other = make.customer(yard.by, name="Other")
    away = make.site(yard.by, other, name="Away")
    yard.dried(25.0, 13.0)
    yard.dried(25.0, 13.0, dryer=make.dryer(yard.by, away), lot_id=None)
    services.work_off()
    seen = selectors.season_overview(make.access(make.organization(), Role.CUSTOMER, other), 2025)
    assert [view.site for view in seen.sites] == [away]
