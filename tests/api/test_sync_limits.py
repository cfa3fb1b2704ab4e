"""How much a push may bring, what it costs, and what is said of the clock of the device."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import orjson
import pytest
import time_machine
from django.conf import settings
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from dryrecords.core.ids import new_id
from dryrecords.harvest.models import Sample
from dryrecords.tenancy.access import Role
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.offline import mutation, push
from tests.api.test_problems import pointers, problem
from tests.api.test_rubbish import SEVERAL, VALUES, rolled_back
from tests.factories import Farm

NOW = datetime(2025, 10, 8, 12, tzinfo=UTC)


def test_more_than_a_post_may_have(farm: Farm, office: Client) -> None:
    body = orjson.dumps({"mutations": []}) + b" " * settings.MAX_BODY_BYTES
    assert office.post("sync/push", body).json()["results"] == []
    refused = problem(office.post("sync/push", body + b" " * settings.MAX_PUSH_BYTES), 413)
    assert str(settings.MAX_PUSH_BYTES) in refused["detail"]


def test_too_many(farm: Farm, office: Client) -> None:
    sent = [{"id": str(new_id())} for _ in range(settings.MAX_MUTATIONS + 1)]
    assert pointers(office.post("sync/push", {"mutations": sent})) == {"/mutations": "too_many"}


def test_too_deep_and_too_long(farm: Farm, office: Client) -> None:
    good = mutation("samples", bodies(farm)["samples"])
    for record, code in (
        (b'{"a":' * 33 + b"1" + b"}" * 33, "too_deep"),
        (b'"' + b"x" * settings.MAX_RECORD_BYTES + b'"', "too_large"),
    ):
        bad = orjson.dumps({"id": new_id(), "resource": "samples", "op": "create", "record": orjson.Fragment(record)})
        body = b'{"mutations": [' + orjson.dumps(good) + b"," + bad + b"]}"
        assert pointers(office.post("sync/push", body)) == {"/mutations/1/record": code}
    assert Sample.objects.count() == 1
    assert pointers(office.post("sync/push", b"[" * 100_000)) in ({"": "too_deep"}, {"": "invalid"})
    assert pointers(office.post("sync/push", b'{"mutations":[{"record":' + b"[" * 100_000)) == {"": "too_deep"}


@pytest.mark.parametrize(
    ("body", "pointer", "code"),
    [
        ({}, "/mutations", "required"),
        (b"", "/mutations", "required"),
        ({"mutations": {}}, "/mutations", "invalid"),
        ({"mutations": [3]}, "/mutations/0", "invalid"),
        ({"mutations": [{}]}, "/mutations/0/id", "required"),
        ({"mutations": [{"id": str(new_id())}, {"id": "1"}]}, "/mutations/1/id", "invalid"),
        ({"mutations": [{"id": str(new_id()), "base_verison": 1}]}, "/mutations/0/base_verison", "unknown_field"),
        ({"mutations": [], "device": "x"}, "/device", "unknown_field"),
        ({"mutations": [], "sent_at": "noon"}, "/sent_at", "invalid"),
    ],
)
def test_what_is_not_even_a_push(body: Any, pointer: str, code: str, farm: Farm, office: Client) -> None:
    assert pointers(office.post("sync/push", body)) == {pointer: code}


@pytest.mark.parametrize("body", [b"{", b" ", b'{"mutations": [{"id": "\xff"}]}', b'{"mutations": [{"record": NaN}]}'])
def test_what_is_not_json(body: bytes, farm: Farm, office: Client) -> None:
    problem(office.post("sync/push", body), 400)


@SEVERAL
@given(
    record=VALUES,
    resource=st.sampled_from(["samples", "batches", "readings", "lots", "prices"]) | VALUES,
    op=st.sampled_from(["create", "update", "delete"]) | VALUES,
    base=st.sampled_from([None, 1]) | VALUES,
)
def test_rubbish_is_kept_and_shown(farm: Farm, office: Client, record: Any, resource: Any, op: Any, base: Any) -> None:
    def once() -> Any:
        sent = {"id": str(new_id()), "resource": resource, "op": op, "record": record, "base_version": base}
        [result] = push(office, sent)
        assert result["status"] == "held"
        kept = office.get(f"sync/held/{sent['id']}").json()
        assert {name: kept[name] for name in sent} == orjson.loads(orjson.dumps(sent))
        return result

    rolled_back(once)


def test_time_that_is_over(farm: Farm, office: Client, monkeypatch: Any) -> None:
    sent = mutation("samples", bodies(farm)["samples"])
    change = mutation("batches", {"id": str(farm["batches"].pk), "note": "n"}, "update")
    with monkeypatch.context() as hurried:
        hurried.setattr(settings, "MAX_PUSH_S", -1)
        results = push(office, sent, change)
    assert [each["problem"]["type"] for each in results] == ["urn:dryrecords:problem:out_of_time"] * 2
    assert [each["status"] for each in push(office, sent, change)] == ["applied"] * 2


def test_a_push_costs_few_queries_however_much_it_brings(farm: Farm, office: Client) -> None:
    office.get("customers")
    counts = []
    for number in (2, 40):
        names = ("samples", "readings", "batches") * number
        sent = [mutation(name, bodies(farm)[name]) for name in names]
        for again in (False, True):
            with CaptureQueriesContext(connection) as seen:
                results = push(office, *sent)
            assert {each["status"] for each in results} == {"duplicate" if again else "applied"}
            counts.append(len(seen))
    assert counts[:2] == counts[2:]
    assert counts[0] <= 60


def test_the_future_is_a_warning(farm: Farm, office: Client) -> None:
    with time_machine.travel(NOW, tick=False):
        ahead = {"taken_at": "2025-10-08T12:10:00Z", "tested_at": "2025-10-08T12:11:00Z"}
        late = mutation("samples", bodies(farm)["samples"] | ahead)
        batch = mutation("batches", {"dryer": str(farm["dryers"].pk), "crop": "corn", "mass_basis": "scale"})
        batch["record"]["started_at"] = "2025-10-09T00:00:00Z"
        fine = mutation("samples", bodies(farm)["samples"] | {"taken_at": "2025-10-08T12:04:00Z", "tested_at": None})
        results = push(office, late, batch, fine)
        assert [each["status"] for each in results] == ["applied"] * 3
        told = [{warning["pointer"]: warning["code"] for warning in each["warnings"]} for each in results]
        assert told == [
            {"/record/taken_at": "in_the_future", "/record/tested_at": "in_the_future"},
            {"/record/started_at": "in_the_future"},
            {},
        ]
        assert push(office, late)[0]["warnings"] == results[0]["warnings"]
    assert office.get(f"samples/{late['record']['id']}").json()["taken_at"] == "2025-10-08T12:10:00Z"


def test_the_skew_of_a_clock_is_a_median(farm: Farm) -> None:
    tablet = Client(factories.token(factories.organization(), Role.OPERATOR, device="tablet"))
    other = Client(factories.token(factories.organization(), Role.OPERATOR, device="phone"))
    with time_machine.travel(NOW, tick=False):

        def skew(client: Client, behind_s: float | None) -> Any:
            sent_at = None if behind_s is None else (NOW - timedelta(seconds=behind_s)).isoformat()
            return client.post("sync/push", {"mutations": [], "sent_at": sent_at}).json()["clock_skew_s"]

        assert skew(tablet, None) is None
        assert skew(tablet, 7200) == 7200
        # One that waited ten minutes on the way.
        assert skew(tablet, 7800) == 7500
        assert skew(tablet, 7200) == 7200
        assert skew(other, -3600) == -3600
        assert skew(tablet, None) == 7200
