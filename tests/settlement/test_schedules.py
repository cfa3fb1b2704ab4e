"""Schedules: rules that can be settled with, and one at a time for a buyer's grain, whoever writes at once."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from dryrecords.core import clock
from dryrecords.settlement import services as settlement
from dryrecords.settlement.models import Schedule
from tests import factories as make
from tests.api.client import Client
from tests.api.offline import mutation, push, told
from tests.api.test_problems import pointers, problem
from tests.api.test_twice import at_once

pytestmark = [pytest.mark.django_db, pytest.mark.services]

RULES = {"base_moisture_pct": "15"}
HELD = {"buyer": "Invented Elevator", "crop": "corn", "rules": RULES}
FIRST = HELD | {"effective_from": "2025-09-01", "effective_to": "2025-11-01"}


def office(organization: str = "Invented Drying") -> Client:
    return Client(make.token(make.organization(organization)))


@pytest.mark.parametrize(
    ("first", "second", "clash"),
    [
        ({}, {"effective_from": "2025-10-31"}, True),
        ({}, {"effective_from": "2025-11-01", "effective_to": None}, False),
        ({}, {"effective_from": "2025-08-01", "effective_to": "2025-09-01"}, False),
        ({}, {"effective_from": "2025-08-01", "effective_to": "2025-09-02"}, True),
        ({}, {"effective_from": "2025-08-01"}, True),
        ({"effective_to": None}, {"effective_from": "2030-01-01", "effective_to": "2031-01-01"}, True),
        ({"disposition": "sold"}, {}, True),
        ({}, {"disposition": "stored"}, True),
        ({"disposition": "stored"}, {"disposition": "stored"}, True),
        ({"disposition": "sold"}, {"disposition": "stored"}, False),
        ({}, {"buyer": "Second Invented Elevator"}, False),
        ({}, {"crop": "soybean"}, False),
    ],
)
def test_two_at_a_time_are_refused_and_the_other_is_named(
    first: dict[str, Any], second: dict[str, Any], clash: bool
) -> None:
    client = office()
    there = client.post("schedules", FIRST | first).json()["id"]
    answer = client.post("schedules", FIRST | second)
    if not clash:
        assert answer.status_code == 201, answer.content
        return
    refused = problem(answer, 409)
    assert refused["type"] == "urn:dryrecords:problem:overlaps"
    assert [(each["pointer"], each["code"]) for each in refused["errors"]] == [("/effective_from", "overlaps")]
    assert there in refused["detail"]
    assert "from 2025-09-01" in refused["detail"]


def test_each_organization_has_its_own() -> None:
    for name in ("Invented Drying", "Another Invented Drying"):
        assert office(name).post("schedules", FIRST).status_code == 201


def test_a_correction_is_kept_apart_as_well() -> None:
    client = office()
    there = client.post("schedules", FIRST).json()["id"]
    path = client.post("schedules", FIRST | {"effective_from": "2025-11-01", "effective_to": None})["Location"]
    assert client.patch(path, {"effective_from": "2025-12-01"}).status_code == 200
    assert client.patch(path, {"jurisdiction": "US-IA"}).status_code == 200
    assert there in problem(client.patch(path, {"effective_from": "2025-10-01"}), 409)["detail"]
    assert client.patch(f"schedules/{there}", {"effective_to": "2025-12-01"}).status_code == 200


def test_a_place_that_was_taken_meanwhile() -> None:
    client = office()
    path = client.post("schedules", FIRST)["Location"]
    client.delete(path)
    assert client.post("schedules", FIRST).status_code == 201
    assert problem(client.post(f"{path}/restore", None), 409)["type"] == "urn:dryrecords:problem:overlaps"


def test_of_two_in_one_push_one_is_held() -> None:
    client, second = office(), mutation("schedules", FIRST)
    results = push(client, mutation("schedules", FIRST), second)
    assert [told(each) for each in results] == [
        ("applied", {}),
        ("held", {"/record/effective_from": "overlaps"}),
    ]
    [again] = push(client, second)
    assert results[0]["record_id"] in again["problem"]["detail"]


def test_the_database_refuses_two_past_the_service() -> None:
    by = make.access()
    moment = clock.now()
    given = {
        "organization_id": by.organization_id,
        "buyer": "Invented Elevator",
        "crop": "corn",
        "effective_from": datetime(2025, 9, 1, tzinfo=UTC),
        "rules": RULES,
        "created_at": moment,
        "updated_at": moment,
    }
    Schedule.objects.create(**given, disposition="sold")
    Schedule.objects.create(**given, disposition="stored")
    for disposition in Schedule.Disposition.values:
        with pytest.raises(IntegrityError, match="schedule_one_at_a_time"), transaction.atomic():
            Schedule.objects.create(**given, disposition=disposition)
    with pytest.raises(IntegrityError, match="schedule_ends_after_it_begins"), transaction.atomic():
        Schedule.objects.update(effective_to=given["effective_from"])


@pytest.mark.django_db(transaction=True)
def test_both_at_once_are_one_and_the_other_is_told_of_it() -> None:
    client = office()
    answers = at_once(*[lambda: client.post("schedules", FIRST)] * 3)
    assert sorted(answer.status_code for answer in answers) == [201, 409, 409]
    [made] = [answer.json()["id"] for answer in answers if answer.status_code == 201]
    assert all(made in answer.json()["detail"] for answer in answers if answer.status_code == 409)
    assert Schedule.objects.count() == 1


@pytest.mark.parametrize(
    ("rules", "expected"),
    [
        (None, {"/rules": "null"}),
        ([], {"/rules": "not_an_object"}),
        ({}, {"/rules/base_moisture_pct": "required"}),
        ({"base_moisture_pct": "15", "colour": 1}, {"/rules/colour": "unknown"}),
        ({"base_moisture_pct": "\0"}, {"/rules/base_moisture_pct": "not_exact"}),
        (
            {
                "base_moisture_pct": 15,
                "discount": [
                    {"above_pct": 15, "up_to_pct": 16, "step_pct": 0.5, "per_step_usd_bu": 0.02},
                    {"above_pct": 17, "step_pct": 0.5, "per_step_usd_bu": 0.02},
                ],
            },
            {"/rules/discount/1/above_pct": "gap"},
        ),
    ],
)
def test_what_is_wrong_with_rules_is_pointed_at(rules: Any, expected: dict[str, str]) -> None:
    client = office()
    assert pointers(client.post("schedules", FIRST | {"rules": rules})) == expected
    path = client.post("schedules", FIRST)["Location"]
    assert pointers(client.patch(path, {"rules": rules})) == expected


def test_rules_read_back_as_they_were_given() -> None:
    rules = {"base_moisture_pct": 15, "drying_charge": {"per_point_usd_bu": 0.048, "on": "wet_bu"}}
    client = office()
    path = client.post("schedules", FIRST | {"rules": rules})["Location"]
    assert client.get(path).json()["rules"] == rules
    assert settlement.rules_of(Schedule.objects.get().rules) == settlement.rules_of(rules)


def test_an_end_is_after_its_beginning() -> None:
    body = FIRST | {"effective_to": FIRST["effective_from"]}
    assert pointers(office().post("schedules", body)) == {"/effective_to": "times_out_of_order"}
