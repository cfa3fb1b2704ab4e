"""Pages of fuel: a tank's account closes and names what cannot be right, a dryer's drift, what is left of a harvest."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from dryrecords.season import services
from dryrecords.tenancy.access import Role
from tests import factories as make
from tests.office.client import signed_in
from tests.office.test_pages import MOST_QUERIES, numbers_of, text_of
from tests.season.scene import GAL, Yard, at, result

pytestmark = pytest.mark.django_db


@pytest.fixture
def yard() -> Yard:
    return Yard()


@pytest.fixture
def keeper(db: None) -> Client:
    return signed_in("kim")


def worked_off() -> None:
    services.work_off()
    assert services.all_failures() == []


def days(yard: Yard, count: int = 4, unwritten: int | None = None) -> Any:
    """Each day a batch in each of two dryers, 240 gal; on one of them 300 gal come that nobody writes down."""
    column = make.dryer(yard.by, yard.site, tank_id=yard.tank.pk, name="Column")
    level = 95.0
    for day in range(count):
        yard.dried(21.0, 15.0, start=24 * day)
        batch = yard.dried(21.0, 15.0, start=24 * day, dryer=column)
        yard.gauge(24 * day - 1, level)
        level += -20.0 + (30.0 if day == unwritten else 0.0)
    yard.gauge(24 * count - 1, level)
    worked_off()
    return batch


def tank(yard: Yard) -> str:
    return f"/office/tanks/{yard.tank.pk}"


def test_parts_add_up_to_what_was_drawn(yard: Yard, keeper: Client) -> None:
    days(yard, unwritten=2)
    told = text_of(keeper, tank(yard))
    labels = ("Burnt by batches", "Taken by the site besides", "Set aside by what is found below")
    parts = [_gallons(told, label) for label in (*labels, "No batch was there for it")]
    drawn = _gallons(told, "Drawn in all")
    assert sum(parts) == drawn == 500
    rows = numbers_of(keeper, f"{tank(yard)}?csv=account")
    names = [f"{name}, gal" for name in ("To batches", "Site besides", "Set aside", "Of no batch")]
    assert sum(float(row["Drawn, gal"]) for row in rows) == pytest.approx(500)
    for row in rows:
        assert sum(float(row[name]) for name in names) == pytest.approx(float(row["Drawn, gal"]), abs=1e-6)
    shares = numbers_of(keeper, f"{tank(yard)}?csv=shares")
    assert sum(float(row["Got, gal"]) for row in shares) == pytest.approx(
        sum(float(row["To batches, gal"]) for row in rows)
    )


def _gallons(told: str, label: str) -> int:
    found = re.search(rf"{label} ([−\d,]+) gal", told)
    assert found, label
    return int(found[1].replace("−", "-").replace(",", ""))


def test_what_cannot_be_right_is_said_in_words_and_where(yard: Yard, keeper: Client) -> None:
    days(yard, unwritten=2)
    told = text_of(keeper, tank(yard))
    assert "More is in the tank than what was burnt can have left" in told
    assert "a delivery that nobody wrote down" in told
    assert "Oct 8, 2025, 6:00 am to Oct 9, 2025, 6:00 am" in told
    assert f'href="{tank(yard)}/seasons/2025"' in keeper.get("/office/gaps?season=2025").content.decode()
    make.fuel_delivery(yard.by, yard.tank, at=at(60), volume_m3=GAL(300))
    assert "about to change" in text_of(keeper, tank(yard))
    worked_off()
    told = text_of(keeper, f"{tank(yard)}/seasons/2025")
    assert "Readings, deliveries and batches agree" in told
    assert "300 gal delivered meanwhile" in told


def test_share_of_a_batch_leads_to_the_account(yard: Yard, keeper: Client) -> None:
    batch = days(yard)
    page = keeper.get(f"/office/batches/{batch.pk}").content.decode()
    assert re.search(rf'Fuel, its share of the tank</dt><dd><a href="{tank(yard)}/seasons/2025">', page)
    late = yard.dried(21.0, 15.0, start=24 * 9)
    assert result(late).fuel_basis == "estimated"
    told = text_of(keeper, f"/office/sites/{yard.site.pk}")
    assert "9 of them with all figures; their fuel was read for 0" in told
    assert "is a share of what a tank gave for 8 and estimated for 1." in told
    assert "fuel, read or a share of what a tank gave" in told
    assert f"{tank(yard)}/seasons" not in keeper.get(f"/office/batches/{late.pk}").content.decode()
    assert f'href="/office/batches/{batch.pk}"' in keeper.get(tank(yard)).content.decode()


def test_batches_of_others_are_not_named(yard: Yard) -> None:
    """A neighbour dries here too: sums are shown to both, single batches only to whose they are."""
    batch = days(yard)
    second = make.customer(yard.by, name="South Field Farm")
    lot = make.lot(yard.by, second, name="Theirs")
    theirs = yard.batch(start=24 * 5, lot_id=lot.pk)
    yard.sample(theirs, "wet", 21.0)
    yard.sample(theirs, "cooled", 15.0, after=16)
    yard.gauge(24 * 6, 5)
    worked_off()
    own = signed_in("lee", role=Role.CUSTOMER, of=yard.customer)
    page = own.get(tank(yard)).content.decode()
    assert f"/office/batches/{batch.pk}" in page
    assert str(theirs.pk) not in page
    assert "another's batch" in page
    with CaptureQueriesContext(connection) as seen:
        own.get(tank(yard))
    assert len([query for query in seen if "SAVEPOINT" not in query["sql"]]) <= MOST_QUERIES


def test_vapour_against_what_burners_ask(yard: Yard, keeper: Client) -> None:
    """A common 1000 gal tank, 41 by 192 in, a fifth full at 0 F, gives 41 * 192 * 60 Btu/h (training literature of the
    propane trade, from memory), and a burner of 4,000,000 Btu/h asks for more."""
    make.dryer(yard.by, yard.site, tank_id=yard.tank.pk, name="Tower", burner_max_w=4e6 * 1055.056 / 3600)
    told = text_of(keeper, f"{tank(yard)}?air_temp_f=0&level_pct=20&diameter_in=41&length_in=192")
    assert "Its own vapour gives 470,000 Btu/h" in told
    assert "which is more" in told
    assert "flames may go out" in told
    assert "If you smell gas" in told
    assert "Enter a number" in text_of(keeper, f"{tank(yard)}?air_temp_f=cold")


def test_drift_of_a_dryer_comes_with_likely_causes(yard: Yard, keeper: Client) -> None:
    path = f"/office/dryers/{yard.dryer.pk}"
    assert "Nothing can be said before 9 batches" in text_of(keeper, path)
    level = 100.0
    for day in range(20):
        yard.dried(21.0, 15.0, start=24 * day)
        yard.gauge(24 * day - 1, level)
        level -= 10.0 if day < 10 else 19.0
        yard.gauge(24 * day + 20, level)
        make.fuel_delivery(yard.by, yard.tank, at=at(24 * day + 21), volume_m3=GAL(10 * (100 - level)))
        level = 100.0
    worked_off()
    told = text_of(keeper, path)
    assert "it takes more than before" in told
    assert "a burner that is set wrong" in told
    rows = numbers_of(keeper, f"{path}?crop=corn&csv=efficiency")
    assert len(rows) == 20
    assert float(rows[-1]["Average"]) > float(rows[-1]["Upper limit"])
    assert "?crop=corn&amp;csv=efficiency" in keeper.get(f"{path}?crop=corn").content.decode()


def test_outlook_tells_hours_fuel_and_the_day_a_tank_is_low(yard: Yard, keeper: Client) -> None:
    days(yard)
    path = f"/office/sites/{yard.site.pk}/outlook"
    asked = f"{path}?wet_bu=5000&moisture_in_pct=21&crop=corn&hours_per_day="
    with CaptureQueriesContext(connection) as seen:
        told = text_of(keeper, asked)
    assert len([query for query in seen if "SAVEPOINT" not in query["sql"]]) <= MOST_QUERIES
    assert re.search(r"about \d+ hours \(\d+ to \d+\)", told)
    assert re.search(rf"{yard.tank.name} *: about [\d,]+ gal", told)
    assert "down to 20 % on about Oct" in told
    assert "Never heat a tank" in told
    assert "No answer: The grain must be wetter" in text_of(keeper, f"{path}?wet_bu=50&moisture_in_pct=9&crop=corn")
    assert "This field is required" in text_of(keeper, f"{path}?wet_bu=")
    assert "nothing tells how fast" in text_of(keeper, f"{path}?wet_bu=50&moisture_in_pct=20&crop=soybean")
    assert f'action="{path}"' in keeper.get(f"/office/sites/{yard.site.pk}").content.decode()
