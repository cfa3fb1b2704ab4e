"""The same request twice: with an Idempotency-Key, with the same client-made id, and both at once."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connections

from dryrecords.core.ids import new_id
from dryrecords.journal.models import Change, GivenAnswer
from dryrecords.tenancy.models import Customer
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.test_problems import problem
from tests.factories import Farm

KEPT = ("ETag", "Location", "Content-Type")


def test_a_post_is_answered_again(farm: Farm, office: Client) -> None:
    first = office.post("batches", bodies(farm)["batches"], Idempotency_Key="k1")
    again = office.post("batches", bodies(farm)["batches"], Idempotency_Key="k1")
    assert (again.status_code, again.content) == (201, first.content)
    assert [again[name] for name in KEPT] == [first[name] for name in KEPT]
    assert again["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first
    assert len(office.get("batches").json()["results"]) == 2


def test_the_first_answer_stays_though_the_record_went_on(farm: Farm, office: Client) -> None:
    path = f"customers/{farm['customers'].pk}"
    first = office.patch(path, {"name": "A"}, Idempotency_Key="k1")
    office.patch(path, {"name": "B"})
    again = office.patch(path, {"name": "A"}, Idempotency_Key="k1")
    assert (again.status_code, again.content, again["ETag"]) == (200, first.content, '"2"')
    assert office.get(path).json()["name"] == "B"


def test_a_removal_is_answered_again(farm: Farm, office: Client) -> None:
    path = f"meters/{factories.meter(farm.by).pk}"
    first = office.delete(path, Idempotency_Key="k1")
    again = office.delete(path, Idempotency_Key="k1")
    assert (first.status_code, again.status_code, again.content) == (204, 204, b"")
    assert office.delete(path).status_code == 404


def test_a_key_is_for_one_request(farm: Farm, office: Client) -> None:
    office.post("customers", {"name": "A"}, Idempotency_Key="k1")
    for refused in (
        office.post("customers", {"name": "B"}, Idempotency_Key="k1"),
        office.post("meters", {"name": "A"}, Idempotency_Key="k1"),
        office.patch(f"customers/{farm['customers'].pk}", {"name": "A"}, Idempotency_Key="k1"),
    ):
        assert problem(refused, 422)["type"] == "urn:dryrecords:problem:key_reused"
    assert office.post("customers", {"name": "B"}, Idempotency_Key="k2").status_code == 201


def test_a_key_belongs_to_its_organization(farm: Farm, office: Client, stranger: Client) -> None:
    mine = office.post("customers", {"name": "A"}, Idempotency_Key="k1").json()
    theirs = stranger.post("customers", {"name": "A"}, Idempotency_Key="k1")
    assert theirs.status_code == 201
    assert theirs.json()["id"] != mine["id"]


def test_a_reader_gets_no_answer_that_a_writer_was_given(farm: Farm, office: Client) -> None:
    body = {"name": "A"}
    assert office.post("customers", body, Idempotency_Key="k1").status_code == 201
    reader = Client(factories.token(factories.organization(), "customer", farm["customers"]))
    assert reader.post("customers", body, Idempotency_Key="k1").status_code == 422


def test_a_refusal_is_not_kept(farm: Farm, office: Client) -> None:
    problem(office.post("customers", {"name": ""}, Idempotency_Key="k1"), 422)
    assert not GivenAnswer.objects.exists()
    assert office.post("customers", {"name": "A"}, Idempotency_Key="k1").status_code == 201


@pytest.mark.parametrize("key", ["", "x" * 201, "a b", "\xe9"])
def test_keys_that_are_none(key: str, farm: Farm, office: Client) -> None:
    refused = office.post("customers", {"name": "A"}, Idempotency_Key=key)
    assert problem(refused, 422)["type"].endswith("bad_idempotency_key")


@pytest.mark.parametrize("key", [{}, {"Idempotency_Key": "k2"}])
def test_a_twin_is_answered_with_the_record(key: dict[str, str], farm: Farm, office: Client) -> None:
    body = bodies(farm)["batches"] | {"id": str(new_id()), "season": None}
    first = office.post("batches", body)
    twin = office.post("batches", body, **key)
    assert (twin.status_code, twin.content, twin["Location"]) == (200, first.content, first["Location"])
    assert Change.objects.filter(record_id=body["id"]).count() == 1


def test_an_id_that_is_taken(farm: Farm, office: Client, stranger: Client) -> None:
    body = {"id": str(new_id()), "name": "A", "reference": "r"}
    office.post("customers", body)
    for client, other in ((office, body | {"name": "B"}), (office, {"id": body["id"], "name": "A"}), (stranger, body)):
        assert problem(client.post("customers", other), 409)["type"] == "urn:dryrecords:problem:id_taken"
    office.delete(f"customers/{body['id']}")
    assert problem(office.post("customers", body), 409)["errors"][0]["pointer"] == "/id"


def at_once(*calls: Any) -> list[Any]:
    together = Barrier(len(calls))

    def run(call: Any) -> Any:
        together.wait()
        try:
            return call()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("round_", range(5))
def test_both_at_once_happen_once(round_: int) -> None:
    text = factories.token(factories.organization(f"Round {round_}"))
    body = {"name": "A"}

    def post() -> Any:
        return Client(text).post("customers", body, Idempotency_Key="k1")

    answers = at_once(post, post, post)
    assert [answer.status_code for answer in answers] == [201] * 3
    assert len({answer.content for answer in answers}) == 1
    assert sorted("Idempotency-Replayed" in answer for answer in answers) == [False, True, True]
    assert Customer.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_twins_at_once_are_one_record() -> None:
    text = factories.token(factories.organization())
    body = {"id": str(new_id()), "name": "A"}
    answers = at_once(*[lambda: Client(text).post("customers", body)] * 4)
    assert sorted(answer.status_code for answer in answers) == [200, 200, 200, 201]
    assert len({answer.content for answer in answers}) == 1


@pytest.mark.django_db(transaction=True)
def test_of_two_changes_to_one_version_one_is_refused() -> None:
    owner = factories.access()
    path = f"customers/{factories.customer(owner).pk}"
    text = factories.token(factories.organization())
    answers = at_once(
        lambda: Client(text).patch(path, {"name": "A"}, If_Match='"1"'),
        lambda: Client(text).patch(path, {"name": "B"}, If_Match='"1"'),
    )
    assert sorted(answer.status_code for answer in answers) == [200, 412]
