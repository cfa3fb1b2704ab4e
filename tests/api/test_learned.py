"""Calibration and advice over the API: names, units, freshness, and whose batches are shown to whom."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from dryrecords.season.models import DryerCalibration
from tests import factories
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.season.scene import Yard
from tests.season.synthetic import Truth, batch_dryer, learn, record, season_of
from tests.season.test_forecast import WANTED

pytestmark = pytest.mark.django_db
TOLD_OF_CALIBRATION = (
    "dryer crop fresh computed_at first_at last_at batches rmse_pct drying_rate drying_rate_u airflow "
    "airflow_u cutoff_offset_f cutoff_offset_f_u covariance covariance_terms relation outcomes left_out wild "
    "last error model_version assumed cautions"
)


class Scene:
    def __init__(self, batches: int = 4) -> None:
        self.yard = Yard()
        self.dryer = batch_dryer(self.yard)
        self.batches = season_of(self.yard, self.dryer, Truth(1.2, 0.95, 3.0), batches)
        if batches:
            learn(self.dryer)

    def client(self, role: str = "owner", of: Any = None) -> Client:
        return Client(factories.token(factories.organization(), role, of))

    def told(self, what: str, client: Client | None = None) -> dict[str, Any]:
        response = (client or self.client()).get(f"dryers/{self.dryer.pk}/{what}")
        assert response.status_code == 200, response.content
        body: dict[str, Any] = response.json()
        return body


def test_calibration() -> None:
    scene = Scene(6)
    body = scene.told("calibration?crop=corn")
    held = DryerCalibration.objects.get()
    assert set(body) == set(TOLD_OF_CALIBRATION.split())
    assert (body["fresh"], body["batches"], body["crop"], body["left_out"]) == (True, 6, "corn", [])
    assert body["drying_rate"] == pytest.approx(held.figures["drying_rate"])
    # A difference of temperatures and its uncertainty: Fahrenheit degrees without an offset.
    assert body["cutoff_offset_f"] == pytest.approx(1.8 * held.figures["cutoff_offset_c"])
    variance = held.figures["covariance"][2][2]
    assert body["cutoff_offset_f_u"] == pytest.approx(1.8 * variance**0.5)
    assert body["covariance"][2][2] == pytest.approx(1.8**2 * variance)
    assert body["first_at"] < body["last_at"]
    assert len(body["last"]) == 5
    assert [row["batch"] for row in body["last"]] == [str(batch.pk) for batch in scene.batches[-5:]]


def test_the_relation_can_be_used_as_it_is_told() -> None:
    """In Fahrenheit, by hand, the same as inside in Celsius; and its uncertainty with its covariance."""
    scene = Scene(8)
    told, held = scene.told("calibration?crop=corn")["relation"], DryerCalibration.objects.get().figures["relation"]
    cutoff_f, moisture_in, ambient_f = 128.0, 22.0, 45.0
    centre = told["centre"]
    about = [cutoff_f - centre["cutoff_temp_f"], moisture_in - centre["moisture_in_pct"]]
    about.append(ambient_f - centre["ambient_temp_f"])
    slopes = ("points_per_f_cutoff", "points_per_point_moisture_in", "points_per_f_ambient")
    by_hand = told["moisture_cooled_pct"] + sum(told[name] * x for name, x in zip(slopes, about, strict=True))
    inside = [1.0, (cutoff_f - 32) / 1.8 - held["centre"][0], moisture_in - held["centre"][1]]
    inside.append((ambient_f - 32) / 1.8 - held["centre"][2])
    assert by_hand == pytest.approx(sum(a * b for a, b in zip(inside, held["coefficients"], strict=True)))
    terms = [1.0, *about]
    variance = sum(a * b * told["covariance"][i][j] for i, a in enumerate(terms) for j, b in enumerate(terms))
    expected = sum(a * b * held["covariance"][i][j] for i, a in enumerate(inside) for j, b in enumerate(inside))
    assert variance == pytest.approx(expected)


def test_fresh_means_that_nothing_is_waiting() -> None:
    scene = Scene(2)
    assert scene.told("calibration?crop=corn")["fresh"] is True
    record(scene.yard, scene.dryer, 5, WANTED, 52.0, 8000.0, 14.0)
    assert scene.told("calibration?crop=corn")["fresh"] is False
    learn(scene.dryer)
    assert scene.told("calibration?crop=corn")["fresh"] is True
    assert scene.told("calibration?crop=corn")["batches"] == 3


def test_before_the_first_batch() -> None:
    """What is expected of any dryer; nothing is waiting, so it is fresh."""
    body = Scene(0).told("calibration")
    assert (body["batches"], body["computed_at"], body["relation"], body["crop"]) == (0, None, None, "corn")
    assert (body["fresh"], body["drying_rate"], body["drying_rate_u"]) == (True, 1.0, pytest.approx(0.3))
    assert body["assumed"]


def test_the_crop_of_the_newest_batch_counts_if_none_is_asked_for() -> None:
    scene = Scene(1)
    lot = factories.lot(scene.yard.by, scene.yard.customer, crop="soybean")
    record(scene.yard, scene.dryer, 4, WANTED, 45.0, 5000.0, 12.5, crop="soybean", lot_id=lot.pk)
    assert scene.told("calibration")["crop"] == "soybean"
    assert scene.told("calibration?crop=corn")["batches"] == 1


def test_advice() -> None:
    scene = Scene(8)
    body = scene.told("advice?crop=corn&moisture_in_pct=22&base_moisture_pct=15")
    assert 13.5 < body["target_moisture_pct"] < 15
    assert body["cutoff_low_f"] < body["cutoff_temp_f"] < body["cutoff_high_f"]
    assert body["drying_low_h"] < body["drying_h"] < body["drying_high_h"]
    assert 90 < body["cutoff_temp_f"] < 160
    assert body["forecast"]["moisture_cooled_pct"] == pytest.approx(body["target_moisture_pct"], abs=0.1)
    assert body["losses"]["at_target"] < body["losses"]["at_base"]
    assert body["losses"]["unit"] == "share_of_price"
    assert 145 < body["settings"]["plenum_temp_f"] < 180
    assert body["last"] == scene.told("calibration?crop=corn")["last"]
    assert body["model_version"]
    assert body["assumed"]
    assert body["cautions"]
    given = scene.told("advice?moisture_in_pct=22&plenum_temp_f=190&ambient_temp_f=20&ambient_rh_pct=80")
    assert given["settings"] == {"plenum_temp_f": 190, "ambient_temp_f": 20, "ambient_rh_pct": 80}
    # 120 to 160 F for corn in batch bins: extension text.
    assert any("160 F" in said for said in given["cautions"])


def test_advice_goes_by_the_buyers_schedule() -> None:
    """One that takes little off lets the aim rise; without a price of the grain its dollars weigh nothing."""
    scene = Scene(0)
    by = scene.yard.by
    asked = "advice?crop=corn&moisture_in_pct=22"
    flat = scene.told(asked)
    assert (flat["schedule"], "No schedule to go by" in flat["discount_basis"]) == (None, True)
    posted = factories.schedule(by, rules={"base_moisture_pct": "15.5", "shrink": {"method": "dry_matter"}})
    unpriced = scene.told(asked)
    assert (unpriced["schedule"], unpriced["losses"]["unit"]) == (None, "share_of_price")
    assert "Without a price" in unpriced["discount_basis"]
    factories.price(by, kind="grain", crop="corn", unit_price_usd=Decimal("4.00"))
    told = scene.told(asked)
    assert (told["schedule"], told["base_moisture_pct"]) == (str(posted.pk), 15.5)
    assert str(posted.pk) in told["discount_basis"]
    assert told["discount_basis"] in told["assumed"]
    assert told["target_moisture_pct"] > flat["target_moisture_pct"]
    assert scene.told(f"{asked}&base_moisture_pct=15")["base_moisture_pct"] == 15
    factories.schedule(by, buyer="Second Invented Elevator")
    several = scene.told(asked)
    assert (several["schedule"], "say buyer" in several["discount_basis"]) == (None, True)
    assert scene.told(f"{asked}&buyer=Invented%20Elevator")["schedule"] == str(posted.pk)
    refused = scene.client().get(f"dryers/{scene.dryer.pk}/{asked}&buyer=Nobody")
    assert pointers(refused) == {"/buyer": "no_schedule"}


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ("", {"/moisture_in_pct": "required"}),
        ("moisture_in_pct=wet", {"/moisture_in_pct": "not_a_number"}),
        ("moisture_in_pct=nan", {"/moisture_in_pct": "not_a_number"}),
        ("moisture_in_pct=inf", {"/moisture_in_pct": "not_a_number"}),
        ("moisture_in_pct=99", {"/moisture_in_pct": "out_of_range"}),
        ("moisture_in_pct=22&crop=maize", {"/crop": "invalid_choice"}),
        ("moisture_in_pct=22&plenum_temp_f=40&ambient_temp_f=60", {"/plenum_temp_f": "not_heated"}),
        ("moisture_in_pct=22&colour=red", {"/colour": "unknown_parameter"}),
    ],
)
def test_refusals_of_advice(query: str, expected: dict[str, str]) -> None:
    scene = Scene(0)
    assert pointers(scene.client().get(f"dryers/{scene.dryer.pk}/advice?{query}")) == expected


@pytest.mark.parametrize("moisture", [14, 1])
def test_grain_that_is_dry_already_gets_no_settings(moisture: float) -> None:
    scene = Scene(0)
    refused = scene.client("owner").get(f"dryers/{scene.dryer.pk}/advice?moisture_in_pct={moisture}")
    assert refused.status_code == 422
    assert refused.json()["errors"][0] == {
        "pointer": "/moisture_in_pct",
        "code": "nothing_to_dry",
        "detail": refused.json()["detail"],
    }


@pytest.mark.parametrize("role", ["owner", "office", "operator", "auditor", "customer"])
def test_whoever_sees_the_dryer_may_ask(role: str) -> None:
    scene = Scene(0)
    client = scene.client(role, scene.yard.customer if role == "customer" else None)
    scene.told("calibration", client)
    scene.told("advice?moisture_in_pct=22", client)


def test_a_customer_does_not_learn_of_its_neighbours_batches() -> None:
    """Factors are the dryer's own and the same for all; single batches are shown to who may see them."""
    scene = Scene(3)
    neighbour = factories.customer(scene.yard.by, name="Neighbour")
    lot = factories.lot(scene.yard.by, neighbour)
    theirs = [
        record(scene.yard, scene.dryer, 5, WANTED, 52.0, 8000.0, 14.0, lot_id=lot.pk),
        record(scene.yard, scene.dryer, 6, WANTED, 52.0, 8000.0, 14.0, lot_id=lot.pk, stop_reason="fault"),
        record(scene.yard, scene.dryer, 7, WANTED, 52.0, 8000.0, 20.9, lot_id=lot.pk),
    ]
    learn(scene.dryer)
    ids = {str(batch.pk) for batch in theirs}
    own, office = scene.client("customer", scene.yard.customer), scene.client()
    for what in ("calibration?crop=corn", "advice?crop=corn&moisture_in_pct=22"):
        everything, seen = scene.told(what, office), scene.told(what, own)
        assert ids & set(shown(everything))
        assert not ids & set(shown(seen)), what
        assert shown(seen)
    assert scene.told("calibration?crop=corn", own)["drying_rate"] == scene.told("calibration?crop=corn")["drying_rate"]
    other = scene.client("customer", neighbour)
    problem(other.get(f"dryers/{scene.dryer.pk}/calibration"), 404)
    problem(other.get(f"dryers/{scene.dryer.pk}/advice?moisture_in_pct=22"), 404)


def shown(body: dict[str, Any]) -> list[str]:
    rows = [*body["last"], *body.get("left_out", [])]
    return [row["batch"] for row in rows] + body.get("wild", [])
