"""The shrink calculator against printed tables; one request or an array of them."""

from __future__ import annotations

import pytest

from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.factories import Farm

ASKED = {"crop": "corn", "moisture_in_pct": 20.0, "moisture_out_pct": 15.0, "wet_mass_lb": 56_000.0}


@pytest.mark.parametrize(
    ("moisture_out_pct", "factor"),
    # Water shrink for each point removed, as printed by South Dakota State University (Dillivan 2014).
    [(16.0, 1.190), (15.5, 1.183), (15.0, 1.176)],
)
def test_water_shrink_of_the_table(moisture_out_pct: float, factor: float, farm: Farm, office: Client) -> None:
    asked = ASKED | {"moisture_out_pct": moisture_out_pct, "moisture_in_pct": moisture_out_pct + 1, "handling_pct": 0}
    told = office.post("grain/shrink", asked).json()
    assert told["shrink"]["water_pct"] == pytest.approx(factor, abs=5e-4)
    assert told["dry_mass_lb"] == pytest.approx(56_000 * (1 - factor / 100), rel=1e-5)


def test_all_of_it(farm: Farm, office: Client) -> None:
    response = office.post("grain/shrink", ASKED | {"handling_pct": 0.5, "base_moisture_pct": 15.5})
    assert response.status_code == 200, response.content
    told = response.json()
    assert {name: told[name] for name in ASKED} == ASKED
    assert told["wet_bu"] == 1000
    assert told["dry_bu"] == pytest.approx(1000 * (80 / 85 - 0.005), rel=1e-9)
    assert told["base_bu"] == pytest.approx(1000 * (80 / 85 - 0.005) * 85 / 84.5, rel=1e-9)
    assert told["market_bu"] == pytest.approx(told["dry_bu"], rel=1e-9)
    assert told["over_drying"]["points"] == 0.5
    assert told["under_drying"]["points"] == 0


def test_what_is_left_out_is_taken_as_for_batches(farm: Farm, office: Client) -> None:
    told = office.post("grain/shrink", ASKED).json()
    assert (told["handling_pct"], told["base_moisture_pct"]) == (0.5, 15)
    assert office.post("grain/shrink", ASKED | {"crop": "soybean"}).json()["base_moisture_pct"] == 13


def test_an_array_is_answered_as_an_array(farm: Farm, office: Client) -> None:
    asked = [ASKED | {"wet_mass_lb": float(n)} for n in range(1, 101)]
    told = office.post("grain/shrink", asked).json()
    assert [each["wet_mass_lb"] for each in told] == [each["wet_mass_lb"] for each in asked]
    assert told[41] == office.post("grain/shrink", asked[41]).json()
    assert office.post("grain/shrink", []).json() == []


def test_refusals(farm: Farm, office: Client) -> None:
    assert pointers(office.post("grain/shrink", [ASKED, ASKED | {"crop": "maize", "colour": 1}])) == {
        "/1/crop": "invalid_choice",
        "/1/colour": "unknown_field",
    }
    assert pointers(office.post("grain/shrink", ASKED | {"moisture_out_pct": 100})) == {
        "/moisture_out_pct": "out_of_range"
    }
    problem(office.post("grain/shrink", [1]), 422)
    problem(office.post("grain/shrink", [ASKED] * 10_001), 422)
    problem(Client().post("grain/shrink", ASKED), 401)


def test_where_nothing_can_be_left_there_is_null(farm: Farm, office: Client) -> None:
    told = office.post("grain/shrink", ASKED | {"moisture_in_pct": 60.0, "moisture_out_pct": 0.0}).json()
    assert told["shrink"]["water_pct"] == 60
