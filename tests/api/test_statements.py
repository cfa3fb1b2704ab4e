"""Statements over the API: issue, preview, correct, list; the same as JSON, page and PDF; nothing ever changes one."""

from __future__ import annotations

import re
from typing import Any

import pytest

from dryrecords.core.ids import new_id
from dryrecords.settlement.models import Statement
from tests import factories
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.api.test_query_counts import LIST, queries
from tests.factories import Farm


@pytest.fixture
def body(farm: Farm) -> dict[str, Any]:
    return {"customer": str(farm["customers"].pk), "season": 2025}


def test_issue_read_and_correct(farm: Farm, office: Client, body: dict[str, Any]) -> None:
    made = office.post("statements", body)
    assert made.status_code == 201
    first = made.json()
    assert made["Location"] == f"/api/v1/statements/{first['id']}"
    assert (first["number"], first["corrects"], first["total_usd"]) == ("2025-0001", None, "0.00")
    assert first["document"]["number"] == "2025-0001"
    # The farm's one batch has no sample of the dried grain, and nobody computed it.
    assert [each["code"] for each in first["document"]["unresolved"]] == ["not_fresh"]
    assert office.get(made["Location"]).json() == first

    second = office.post("statements", body | {"corrects": first["id"]}).json()
    assert (second["number"], second["corrects"]) == ("2025-0002", first["id"])
    assert office.get(f"statements/{first['id']}").json() == first | {"corrected_by": second["id"]}
    assert pointers(office.post("statements", body | {"corrects": first["id"]}), 409) == {
        "/corrects": "already_corrected"
    }
    listed = office.get("statements").json()["results"]
    assert [each["number"] for each in listed] == ["2025-0002", "2025-0001"]
    assert listed[0] == {name: value for name, value in second.items() if name != "document"}


def test_asked_for_again_with_nothing_changed_the_same_one_stands(
    farm: Farm, office: Client, body: dict[str, Any]
) -> None:
    first = office.post("statements", body)
    again = office.post("statements", body)
    assert (again.status_code, again.json(), again["Location"]) == (200, first.json(), first["Location"])
    # Said to correct it, or saying something else, it is another; and then that one stands.
    second = office.post("statements", body | {"corrects": first.json()["id"]}).json()
    assert office.post("statements", body).json() == second
    office.patch(f"customers/{body['customer']}", {"name": "New name"})
    third = office.post("statements", body)
    assert (third.status_code, third.json()["number"], third.json()["corrects"]) == (201, "2025-0003", second["id"])
    assert office.post("statements", body).json() == third.json()


def test_a_preview_writes_nothing(farm: Farm, office: Client, body: dict[str, Any]) -> None:
    shown = office.post("statements", body | {"preview": True})
    assert shown.status_code == 200
    assert shown.json()["document"]["number"] is None
    assert Statement.objects.count() == 0
    issued = office.post("statements", body).json()["document"]
    only = {"number", "issued_at"}
    assert {k: v for k, v in issued.items() if k not in only} == {
        k: v for k, v in shown.json()["document"].items() if k not in only
    }


def test_what_is_asked_for_in_vain(farm: Farm, office: Client, body: dict[str, Any]) -> None:
    assert pointers(office.post("statements", {})) == {"/customer": "required", "/season": "required"}
    assert pointers(office.post("statements", body | {"customer": str(new_id())})) == {"/customer": "unknown_reference"}
    assert pointers(office.post("statements", body | {"corrects": str(new_id())})) == {"/corrects": "unknown_reference"}
    assert pointers(office.post("statements", body | {"number": 7})) == {"/number": "unknown_field"}
    problem(office.get(f"statements/{new_id()}.pdf"), 404)


def test_customers_of_others(farm: Farm, stranger: Client, body: dict[str, Any]) -> None:
    assert pointers(stranger.post("statements", body)) == {"/customer": "unknown_reference"}
    factories.statement(farm.by, farm["customers"])
    assert stranger.get("statements").json()["results"] == []
    assert stranger.get(f"statements?customer={farm['customers'].pk}").json()["results"] == []


def test_nothing_changes_one(farm: Farm, office: Client) -> None:
    path = f"statements/{factories.statement(farm.by, farm['customers']).pk}"
    for method in ("PUT", "PATCH", "DELETE", "POST"):
        problem(office.send(method, path, {"total_usd": "0"}), 405)


def test_sent_twice_with_one_key_it_is_one(farm: Farm, office: Client, body: dict[str, Any]) -> None:
    first, again = (office.post("statements", body, Idempotency_Key="k") for _ in range(2))
    assert (first.json()["id"], again["Idempotency-Replayed"]) == (again.json()["id"], "true")
    assert Statement.objects.count() == 1


@pytest.mark.parametrize(("ending", "accept"), [(".html", "*/*"), ("", "text/html"), ("", "text/html,*/*;q=0.8")])
def test_the_page(ending: str, accept: str, farm: Farm, office: Client) -> None:
    statement = factories.statement(farm.by, farm["customers"])
    page = office.get(f"statements/{statement.pk}{ending}", Accept=accept)
    assert page["Content-Type"] == "text/html; charset=utf-8"
    assert "Statement 2025-0001" in page.content.decode()
    policy = page["Content-Security-Policy"]
    assert re.fullmatch(r"default-src 'none'; style-src 'sha256-[\w+/]{43}='; frame-ancestors 'none'", policy)
    assert page["Vary"] == "Accept"


@pytest.mark.parametrize(("ending", "accept"), [(".pdf", "*/*"), ("", "application/pdf")])
def test_the_pdf(ending: str, accept: str, farm: Farm, office: Client) -> None:
    statement = factories.statement(farm.by, farm["customers"])
    answer = office.get(f"statements/{statement.pk}{ending}", Accept=accept)
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'inline; filename="statement-2025-0001.pdf"'
    assert answer.content.startswith(b"%PDF-")
    assert office.get(f"statements/{statement.pk}{ending}", Accept=accept).content == answer.content


@pytest.mark.parametrize("accept", ["application/json", "*/*", "", "image/png"])
def test_json_otherwise(accept: str, farm: Farm, office: Client) -> None:
    statement = factories.statement(farm.by, farm["customers"])
    answer = office.get(f"statements/{statement.pk}", Accept=accept)
    assert answer["Content-Type"] == "application/json"


def test_roles(farm: Farm, body: dict[str, Any]) -> None:
    statement = factories.statement(farm.by, farm["customers"])
    other = factories.customer(farm.by, name="Neighbour")
    for role, of, may, sees in (
        ("owner", None, True, True),
        ("office", None, True, True),
        ("operator", None, False, True),
        ("auditor", None, False, True),
        ("customer", farm["customers"], False, True),
        ("customer", other, False, False),
    ):
        client = Client(factories.token(factories.organization(), role, of))
        for more in ({"preview": True}, {}):
            assert (client.post("statements", body | more).status_code < 300) == may, role
        assert (len(client.get("statements").json()["results"]) > 0) == sees, role
        for ending in ("", ".html", ".pdf"):
            assert client.get(f"statements/{statement.pk}{ending}").status_code == (200 if sees else 404), role


def test_lists_are_narrowed_and_paged(farm: Farm, office: Client) -> None:
    other = factories.customer(farm.by, name="Neighbour")
    for season in (2024, 2025):
        for who in (farm["customers"], other):
            factories.statement(farm.by, who, season)

    def numbers(query: str) -> list[str]:
        return sorted(each["number"] for each in office.get(f"statements?{query}").json()["results"])

    assert numbers("season=2024") == ["2024-0001", "2024-0002"]
    assert numbers(f"customer={other.pk}") == ["2024-0002", "2025-0002"]
    first = office.get("statements?limit=3").json()
    rest = office.get(f"statements?limit=3&cursor={first['next_cursor']}").json()
    assert (len(first["results"]), len(rest["results"]), rest["next"]) == (3, 1, None)


def test_a_list_costs_the_same_for_any_length(farm: Farm, office: Client) -> None:
    office.get("statements")
    for count in (2, 5):
        for _ in range(count):
            factories.statement(farm.by, farm["customers"])
        with queries(LIST):
            office.get("statements")


def test_a_rate_as_it_is_posted(farm: Farm, office: Client) -> None:
    body = {"effective_from": "2025-10-01", "drying_on": "wet_bu", "drying_per_point_usd_bu": "0.05"}
    band = {"above_points": "0", "up_to_points": "5", "step_points": "0.50", "per_step_usd_bu": 0.02}
    stepped = {k: v for k, v in body.items() if k != "drying_per_point_usd_bu"} | {"crop": "corn"}
    made = office.post("rates", stepped | {"bands": [band, band | {"above_points": "5", "up_to_points": None}]})
    assert made.status_code == 201
    assert made.json()["bands"][0] == {
        "above_points": "0",
        "up_to_points": "5",
        "step_points": "0.5",
        "per_step_usd_bu": "0.02",
    }
    assert pointers(office.post("rates", stepped | {"bands": [band | {"step_points": "0"}]})) == {
        "/bands/0/step_points": "not_above_zero"
    }
    assert pointers(office.post("rates", stepped | {"bands": [band]})) == {"/bands/0": "bands_apart"}
    assert pointers(office.post("rates", stepped)) == {"/drying_per_point_usd_bu": "one_charge"}
    assert pointers(office.post("rates", body | {"minimum_usd": "60"})) == {"/minimum_per": "minimum_incomplete"}
    assert pointers(office.post("rates", body | {"surcharge_fuel": "propane"})) == {
        "/surcharge_fuel": "surcharge_incomplete"
    }
    assert pointers(office.post("rates", body | {"shrink": "factor"})) == {"/shrink": "shrink_incomplete"}
    assert office.post("rates", body).status_code == 201
    assert pointers(office.post("rates", body), 409) == {"/effective_from": "already_there"}
