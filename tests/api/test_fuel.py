"""Accounts, efficiency, vaporisation and outlook over the API: names, units, refusals, and what a customer sees."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from dryrecords.season import services
from dryrecords.season.efficiency import REFERENCE
from tests import factories as make
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.season.scene import Yard, at

pytestmark = pytest.mark.django_db
BTU_H_W = 1055.05585262 / 3600


@pytest.fixture
def yard() -> Yard:
    return Yard()


def client(role: str = "owner", of: Any = None) -> Client:
    return Client(make.token(make.organization(), role, of))


def shared_tank(yard: Yard, **values: Any) -> list[Any]:
    """300 gal for two batches on two dryers."""
    column = make.dryer(yard.by, yard.site, tank_id=yard.tank.pk, name="Column")
    batches = [yard.dried(25.0, 15.0, **values), yard.dried(25.0, 15.0, dryer=column)]
    yard.gauge(-1, 80)
    yard.gauge(5, 50)
    services.work_off()
    return batches


def test_account_of_a_tank(yard: Yard) -> None:
    shared_tank(yard)
    body = client().get(f"tanks/{yard.tank.pk}/account").json()
    assert (body["unit"], body["season"], body["fresh"], body["fuel"]) == ("gal", 2025, True, "propane")
    assert body["totals"] == pytest.approx(
        {"drawn": 300, "delivered": 0, "allocated": 300, "other": 0, "found": 0, "unallocated": 0}
        | {"expected": body["totals"]["expected"]},
        abs=1e-6,
    )
    (interval,) = body["intervals"]
    assert sum(each["amount"] for each in interval["batches"]) == pytest.approx(300)
    assert interval["drawn_u"] == pytest.approx(10 * 2**0.5)
    assert [(each["basis"], each["whole"]) for each in body["batches"]] == [("allocated", True)] * 2
    result = client().get(f"batches/{body['batches'][0]['batch']}/result").json()
    assert (result["fuel_basis"], result["fuel_gal"]) == ("allocated", pytest.approx(body["batches"][0]["amount"]))
    assert result["expected"]["fuel_btu"] > 0
    assert body["cautions"]


def test_finding_is_told_in_plain_words(yard: Yard) -> None:
    yard.dried(25.0, 15.0)
    yard.gauge(-1, 20)
    yard.gauge(5, 60)
    services.work_off()
    body = client().get(f"tanks/{yard.tank.pk}/account?season=2025").json()
    (finding,) = body["findings"]
    assert finding["kind"] == "more_left_than_explained"
    assert any("delivery" in cause for cause in finding["likely_causes"])
    assert finding["size"] < -400
    totals = body["totals"]
    assert totals["allocated"] + totals["found"] + totals["unallocated"] == pytest.approx(-400)


def test_customer_sees_sums_but_not_its_neighbours_batch(yard: Yard) -> None:
    neighbour = make.customer(yard.by, name="Neighbour")
    theirs = make.lot(yard.by, neighbour, name="Theirs")
    shared_tank(yard, lot_id=theirs.pk)
    own = client("customer", yard.customer).get(f"tanks/{yard.tank.pk}/account").json()
    assert own["totals"]["allocated"] == pytest.approx(300)
    assert len(own["batches"]) == 1
    assert sorted(each["batch"] is None for each in own["intervals"][0]["batches"]) == [False, True]
    problem(client("customer", neighbour).get(f"tanks/{yard.tank.pk}/account"), 404)


def test_power_accounts(yard: Yard) -> None:
    for hours, count in ((-1, 1000.0), (30, 1200.0)):
        make.power_reading(yard.by, yard.dryer, at=at(hours), meter_kwh=count)
    for start in (0, 8):
        yard.dried(25.0, 15.0, start=start)
    services.work_off()
    body = client().get(f"dryers/{yard.dryer.pk}/power-account").json()
    assert (body["of"], body["unit"], body["totals"]["allocated"]) == ("dryer", "kwh", pytest.approx(200))
    empty = client().get(f"sites/{yard.site.pk}/power-account").json()
    assert (empty["intervals"], empty["computed_at"]) == ([], None)


def test_an_account_costs_the_same_for_any_number_of_batches(yard: Yard) -> None:
    office = client()
    office.get("customers")
    counts = []
    for many in (2, 8):
        for n in range(many):
            yard.dried(25.0, 15.0, start=100 * many + 6 * n)
        yard.gauge(100 * many - 1, 80)
        yard.gauge(100 * many + 60, 50)
        services.work_off()
        for path in (
            f"tanks/{yard.tank.pk}/account",
            f"dryers/{yard.dryer.pk}/efficiency",
            f"tanks/{yard.tank.pk}/vaporisation",
            f"sites/{yard.site.pk}/outlook?wet_bu=1000&moisture_in_pct=20",
        ):
            with CaptureQueriesContext(connection) as seen:
                assert office.get(path).status_code == 200
            counts.append(len(seen))
    assert counts[:4] == counts[4:]
    assert max(counts) <= 10


# Efficiency


def season_of(yard: Yard, factor: Any, ambient_c: Any = lambda n: 10.0, batches: int = 24) -> dict[str, Any]:
    """Batches of their own between two readings of a gas meter; fuel is `factor` times what is expected."""
    gas = make.tank(yard.by, yard.site, fuel="natural_gas", capacity_m3=None, name="Gas")
    dryer = make.dryer(yard.by, yard.site, tank_id=gas.pk, name="Gas dryer")
    made = [
        yard.dried(24.0, 15.0, start=12 * n, dryer=dryer, ambient_temp_c=ambient_c(n), grain_temp_c=10.0)
        for n in range(batches)
    ]
    services.work_off()
    office, count = client(), 5e12
    for n, batch in enumerate(made):
        expected = office.get(f"batches/{batch.pk}/result").json()["expected"]["fuel_btu"] * 1055.05585262
        make.fuel_reading(yard.by, gas, at=at(12 * n - 1), gauge_pct=None, meter_j=count)
        count += factor(n) * expected
        make.fuel_reading(yard.by, gas, at=at(12 * n + 5), gauge_pct=None, meter_j=count)
    services.work_off()
    assert services.all_failures() == []
    body: dict[str, Any] = office.get(f"dryers/{dryer.pk}/efficiency").json()
    return body


def test_dryer_that_begins_to_burn_more_is_told_with_likely_causes(yard: Yard) -> None:
    body = season_of(yard, lambda n: 1.1 if n < 10 else 1.5)
    assert (body["signal"], len(body["batches"])) == ("more", 24)
    assert body["usual_ratio"] == pytest.approx(1.1, abs=0.01)
    assert at(12 * 10).isoformat() <= body["since"] <= at(12 * 16).isoformat()
    assert any("fines" in cause for cause in body["likely_causes"])
    assert body["batches"][-1]["fuel_btu_per_lb_water"] == pytest.approx(
        1.5 * body["batches"][-1]["expected_btu_per_lb_water"], rel=1e-6
    )


def test_cold_weather_is_no_alarm(yard: Yard) -> None:
    """From 60 F down to 10 F the same dryer burns a third more, and that is as it should be."""
    body = season_of(yard, lambda n: 1.1, ambient_c=lambda n: 15.6 - 1.2 * n)
    assert (body["signal"], body["likely_causes"]) == ("none", [])
    first, last = body["batches"][0], body["batches"][-1]
    assert last["fuel_btu_per_lb_water"] > 1.25 * first["fuel_btu_per_lb_water"]
    assert body["explained_change_pct"] > 15


def test_few_batches_say_nothing_yet(yard: Yard) -> None:
    body = season_of(yard, lambda n: 1.0, batches=REFERENCE)
    assert (body["signal"], body["ratio_now"]) == ("too_few", None)
    empty = client().get(f"dryers/{yard.dryer.pk}/efficiency").json()
    assert (empty["batches"], empty["signal"]) == ([], "too_few")


# Vaporisation


def test_tank_that_cannot_feed_its_burner(yard: Yard) -> None:
    """1,000 gal, 30 %, -10 F: 275,520 Btu/h by the rule (from memory); a heater manual says 276,500."""
    make.dryer(yard.by, yard.site, tank_id=yard.tank.pk, name="Hot", burner_max_w=3e6 * BTU_H_W)
    yard.gauge(-1, 30)
    path = f"tanks/{yard.tank.pk}/vaporisation"
    body = client().get(f"{path}?air_temp_f=-10").json()
    assert body["gives_btu_h"] == pytest.approx(276_500, rel=0.005)
    assert (body["enough"], body["level_pct"]) == (False, pytest.approx(30))
    assert "vaporiser" in body["cautions"][0]
    # 3,000,000 Btu/h is 32.8 gal/h of 91,333 Btu, each of which takes 773 Btu to vaporise.
    assert body["vaporiser_heat_btu_h"] == pytest.approx(3e6 / 91_333 * 773, rel=1e-6)
    own = client().get(f"{path}?air_temp_f=0&level_pct=50&diameter_in=37&length_in=119").json()
    assert own["gives_btu_h"] == pytest.approx(396_270)
    assert client().get(path).json()["missing"] == ["air_temp_f", "dryer.burner_max_btu_h"]
    assert pointers(client().get(f"{path}?level_pct=120")) == {"/level_pct": "out_of_range"}


# Outlook


def test_outlook_from_the_dryers_own_rates(yard: Yard) -> None:
    """1,000 bu from 25 to 15 % take 4 h and 150 gal, day after day: 10,000 bu take 40 h and ten times the fuel. 650 gal
    stand in the tank; at 20 % of it 200 are left."""
    for n in range(4):
        yard.dried(25.0, 15.0, start=24 * n)
        yard.gauge(24 * n - 1, 90)
        yard.gauge(24 * n + 5, 75)
    yard.gauge(100, 65)
    services.work_off()
    path = f"sites/{yard.site.pk}/outlook"
    body = client().get(f"{path}?wet_bu=10000&moisture_in_pct=25&target_moisture_pct=15&hours_per_day=12").json()
    assert body["hours"] == pytest.approx(40.0)
    assert body["hours_low"] < 40 < body["hours_high"]
    assert body["days"] == pytest.approx(40 / 12)
    (tank,) = body["tanks"]
    assert tank["fuel_gal"] == pytest.approx(1500.0, rel=1e-6)
    assert tank["fuel_gal_low"] > 1000
    # 450 gal at 37.5 gal an hour and 12 hours a day.
    assert tank["level_gal"] == pytest.approx(650)
    days = 450 / (37.5 * 12)
    assert tank["low_at"][:16] == (at(100) + timedelta(days=days)).isoformat()[:16]
    assert tank["low_earliest_at"] < tank["low_at"] < tank["low_latest_at"]
    assert body["missing"] == []
    enough = client().get(f"{path}?wet_bu=1000&moisture_in_pct=20").json()
    assert enough["tanks"][0]["low_at"] is None
    assert any("Order" in said for said in body["cautions"])


def test_outlook_without_batches_says_what_is_missing(yard: Yard) -> None:
    path = f"sites/{yard.site.pk}/outlook"
    body = client().get(f"{path}?wet_bu=1000&moisture_in_pct=20").json()
    assert (body["hours"], body["missing"]) == (None, [f"batches of {yard.dryer.name}"])
    assert pointers(client().get(f"{path}?moisture_in_pct=20")) == {"/wet_bu": "required"}
    assert pointers(client().get(f"{path}?wet_bu=10&moisture_in_pct=12")) == {"/moisture_in_pct": "not_wet"}
