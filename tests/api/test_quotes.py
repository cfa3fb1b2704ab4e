"""What a schedule makes of a load over the API: every figure by hand, decimals as text, and whoever sees it may ask."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from typing import Any

import pytest

from tests import factories
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.api.test_roles import client_of
from tests.factories import Farm

LOAD = {"gross_lb": 79860, "tare_lb": 27500, "moisture_pct": 20.3, "price_usd_bu": "4.20"}
# Shrink from another base than the charge, and half-point brackets that get dearer: the form of a schedule posted by
# an elevator in 2023, shortened.
HALF_POINTS = {
    "base_moisture_pct": "15",
    "moisture_rounding": {"step_pct": "0.1"},
    "shrink": {"method": "factor", "factor_pct_per_point": "1.5", "base_moisture_pct": "14.5"},
    "drying_charge": {
        "bands": [
            {"above_pct": "15", "up_to_pct": "17.5", "step_pct": "0.5", "per_step_usd_bu": "0.02"},
            {"above_pct": "17.5", "step_pct": "0.5", "per_step_usd_bu": "0.02"},
        ],
        "on": "wet_bu",
    },
    "reject_above_pct": "30",
    "rounding": {"bu": "0.001"},
}
DRYING = {
    "target_moisture_pct": "15",
    "gas_gal_per_point_bu": "0.02",
    "gas_usd_gal": "1.5",
    "electricity_kwh_per_point_bu": 0,
    "electricity_usd_kwh": 0,
    "handling_pct": "0.5",
}


def quoted(client: Client, farm: Farm, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(f"schedules/{farm['schedules'].pk}/quote", body)
    assert answer.status_code == 200, answer.content
    told: dict[str, Any] = answer.json()
    return told


def change_rules(office: Client, farm: Farm, rules: dict[str, Any]) -> None:
    assert office.patch(f"schedules/{farm['schedules'].pk}", {"rules": rules}).status_code == 200


def test_every_line_by_hand(farm: Farm, office: Client) -> None:
    """52,360 lb are 935 bushels of 56 lb; 1.5 x 5.8 points are 8.7 %; eleven half points at 2 cents are 22 cents."""
    change_rules(office, farm, HALF_POINTS)
    told = quoted(office, farm, LOAD)
    figures = {name: Decimal(value) for name, value in told.items() if isinstance(value, str) and name != "schedule"}
    assert figures == {
        "bushel_lb": Decimal(56),
        "wet_bu": Decimal(935),
        "moisture_used_pct": Decimal("20.3"),
        "shrink_pct": Decimal("8.7"),
        "shrink_bu": Decimal("81.345"),
        "net_bu": Decimal("853.655"),
        "moisture_discount_usd_bu": Decimal(0),
        "moisture_discount_usd": Decimal(0),
        "drying_charge_usd_bu": Decimal("0.22"),
        "drying_charge_usd": Decimal("205.70"),
        "gross_usd": Decimal("3585.35"),
        "net_amount_usd": Decimal("3379.65"),
    }
    assert told["rejected"] is False
    assert [line["what"] for line in told["lines"]][-1] == "drying charge on wet bushels"
    usd = [Decimal(line["usd"]) for line in told["lines"] if line["usd"] is not None]
    assert sum(usd) == Decimal("3379.65")
    assert told["cautions"]


def test_a_load_that_is_rejected(farm: Farm, office: Client) -> None:
    change_rules(office, farm, HALF_POINTS)
    told = quoted(office, farm, LOAD | {"moisture_pct": "30.1"})
    assert told["rejected"] is True
    assert (Decimal(told["net_bu"]), Decimal(told["net_amount_usd"])) == (0, 0)


def test_drying_first_by_hand(farm: Farm, office: Client) -> None:
    """Extension example of 2019: 1,000 wet bushels at 20.5 %, dried to 15 % with half a percent handling, are

    930.294 bushels (it prints 1,000 x 79.5 / 85, less 5); at $3.50 and 0.02 gal of $1.50 a point and bushel.
    """
    load = {"gross_lb": "56000", "tare_lb": "0", "moisture_pct": "20.5", "price_usd_bu": "3.50", "drying": DRYING}
    told = quoted(office, farm, load)
    compared = told["drying_first"]
    assert compared["gas_gal"] == "110.00"
    assert compared["gas_usd"] == "165.00"
    assert Decimal(compared["dry"]["net_bu"]) == Decimal("930.29")
    assert Decimal(compared["dry_usd"]) == Decimal("3256.02") - 165
    assert Decimal(compared["gain_usd"]) == Decimal(compared["dry_usd"]) - Decimal(told["net_amount_usd"])
    assert compared["own"]["labor_h"] == "0"
    assert told["assumed"] == []
    assert any("manual" in said for said in told["cautions"])


def test_what_is_not_said_comes_from_the_records(farm: Farm, office: Client) -> None:
    factories.price(farm.by, unit_price_usd=Decimal("1.72"))
    factories.price(farm.by, kind="electricity", unit_price_usd=Decimal("0.11"))
    told = quoted(office, farm, LOAD)
    assert told["drying_first"]["own"]["gas_usd_gal"] == "1.720000"
    assert any("0.02 gal" in said for said in told["assumed"])
    assert any("1.72" in said for said in told["assumed"])


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({}, "no price of power"),
        ({"moisture_pct": "14"}, "as dry as that already"),
        ({"price_usd_bu": None}, "decides between wet and dry"),
    ],
)
def test_where_nothing_is_compared_it_says_why(change: dict[str, Any], reason: str, farm: Farm, office: Client) -> None:
    factories.price(farm.by)
    if change:
        factories.price(farm.by, kind="electricity", unit_price_usd=Decimal("0.11"))
    told = quoted(office, farm, LOAD | change)
    assert told["drying_first"] is None
    assert any(reason in said for said in told["assumed"]), told["assumed"]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"tare_lb": 79860}, {"/tare_lb": "weights_out_of_order"}),
        ({"moisture_pct": 61}, {"/moisture_pct": "out_of_range"}),
        ({"gross_lb": None}, {"/gross_lb": "null"}),
        ({"colour": 1}, {"/colour": "unknown_field"}),
        ({"drying": {"colour": 1}}, {"/drying/colour": "unknown_field"}),
        ({"drying": DRYING | {"handling_pct": 11}}, {"/drying/handling_pct": "out_of_range"}),
        ({"drying": DRYING | {"target_moisture_pct": 21}}, {"/drying/target_moisture_pct": "nothing_to_dry"}),
    ],
)
def test_refusals(change: dict[str, Any], expected: dict[str, str], farm: Farm, office: Client) -> None:
    assert pointers(office.post(f"schedules/{farm['schedules'].pk}/quote", LOAD | change)) == expected


def test_a_discount_in_percent_needs_a_price(farm: Farm, office: Client) -> None:
    share = [{"above_pct": "15", "step_pct": "0.1", "per_step_pct_of_price": "0.2"}]
    change_rules(office, farm, {"base_moisture_pct": "15", "discount": share})
    refused = office.post(f"schedules/{farm['schedules'].pk}/quote", LOAD | {"price_usd_bu": None})
    assert pointers(refused) == {"/price_usd_bu": "required"}
    # 2 % a point: 5.3 points of $4.20 are 44.52 cents.
    assert Decimal(quoted(office, farm, LOAD)["moisture_discount_usd_bu"]) == Decimal("0.4452")


def test_its_own_table_from_base_to_rejection(farm: Farm, office: Client) -> None:
    change_rules(office, farm, HALF_POINTS)
    path = f"schedules/{farm['schedules'].pk}/table"
    told = office.get(path).json()
    by_moisture = {Decimal(row["moisture_pct"]): row for row in told["rows"]}
    assert (min(by_moisture), max(by_moisture)) == (Decimal("14.5"), Decimal(30))
    assert len(by_moisture) == 156
    at = by_moisture[Decimal("20.3")]
    assert (Decimal(at["drying_charge_usd_bu"]), Decimal(at["shrink_pct"])) == (Decimal("0.22"), Decimal("8.7"))
    assert told["rules"]["shrink"]["base_moisture_pct"] == "14.5"
    exported = office.get(f"{path}?format=csv")
    assert exported["Content-Type"] == "text/csv; charset=utf-8"
    assert list(csv.DictReader(io.StringIO(exported.content.decode(), newline=""))) == told["rows"]


@pytest.mark.parametrize("role", ["owner", "office", "operator", "auditor", "customer"])
def test_whoever_sees_a_schedule_may_ask(role: str, farm: Farm) -> None:
    client, path = client_of(role, farm), f"schedules/{farm['schedules'].pk}"
    for answer in (client.post(f"{path}/quote", LOAD), client.get(f"{path}/table")):
        if role == "customer":
            problem(answer, 404)
        else:
            assert answer.status_code == 200
