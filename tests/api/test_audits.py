"""Audits over the API: asked for, followed, paged through, cancelled; who may; and the comparison of meters."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from dryrecords.harvest.models import Ticket
from dryrecords.settlement import audit_run
from dryrecords.settlement.models import Audit
from dryrecords.settlement.tasks import run_audits
from dryrecords.tenancy.access import Role
from tests import factories
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.api.test_query_counts import queries, warm  # noqa: F401
from tests.factories import Farm

ASKED = {"buyer": "Invented Elevator", "crop": "corn", "season": 2025}
# 52,360 lb at 20.3 % by the factory's schedule: 935 wet bushels, 7.42 % shrink, 4.8 cents a point.
RIGHT = {
    "stated_shrink_bu": Decimal("69.38"),
    "stated_net_bu": Decimal("865.62"),
    "stated_drying_charge_usd": Decimal("237.86"),
    "stated_net_amount_usd": Decimal("3397.74"),
}


@pytest.fixture
def tickets(farm: Farm) -> Farm:
    """Three that are right, one that was paid ten dollars less, and the farm's own, which states nothing."""
    for number in range(3):
        factories.ticket(farm.by, number=f"T-{number + 2}", delivered_at=_hours(number + 1), **RIGHT)
    less = RIGHT | {"stated_net_amount_usd": RIGHT["stated_net_amount_usd"] - 10}
    factories.ticket(farm.by, number="T-9", delivered_at=_hours(9), **less)
    return farm


def _hours(number: int) -> Any:
    return factories.START + timedelta(hours=number)


def _audited(client: Client) -> dict[str, Any]:
    made = client.post("audits", ASKED)
    assert made.status_code == 202, made.content
    run_audits()
    answer: dict[str, Any] = client.get(made["Location"]).json()
    return answer


def test_asked_for_and_found(tickets: Farm, office: Client) -> None:
    made = office.post("audits", ASKED)
    assert (made.status_code, made.json()["status"], made.json()["progress"]) == (202, "waiting", 0.0)
    assert made["Location"] == f"/api/v1/audits/{made.json()['id']}"
    run_audits()
    audit = office.get(made["Location"]).json()
    assert (audit["status"], audit["progress"], audit["tickets"], audit["findings"]) == ("done", 1.0, 5, 1)
    summary = audit["summary"]
    assert (summary["tickets"], summary["tickets_with_findings"]) == (5, 1)
    assert (summary["paid_too_little_usd"], summary["paid_too_much_usd"]) == ("10.00", "0.00")
    assert summary["balance_usd"] == "-10.00"
    assert [each["kind"] for each in summary["by_kind"]] == ["amount"]
    assert summary["by_month"][0]["month"] == "2025-10"
    assert summary["not_compared"] == {"nothing_stated": 1}
    assert summary["cautions"] and summary["in_words"]
    (finding,) = office.get(f"audits/{audit['id']}/findings").json()["results"]
    assert (finding["kind"], finding["number"], finding["unit"]) == ("amount", "T-9", "usd")
    assert (finding["expected"], finding["stated"]) == ("3397.74", "3387.74")
    assert (finding["difference"], finding["effect_usd"]) == ("-10", "-10")
    assert "3635.60 less 0.00 of discount and 237.86 for drying" in finding["rule"]
    assert [each["id"] for each in office.get("audits").json()["results"]] == [audit["id"]]
    answer = office.get(f"audits/{audit['id']}/findings.csv")
    (row,) = csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode()))
    assert (row["stated"], row["difference"], row["effect_usd"]) == ("3387.74", "-10", "-10")


def test_findings_are_paged_narrowed_and_taken_as_csv(farm: Farm, office: Client) -> None:
    # Twice the shrink, the bushels that follow and an amount that is right, five times; and a load before any schedule.
    wrong = RIGHT | {"stated_shrink_bu": Decimal("138.76"), "stated_net_bu": Decimal("796.24")}
    for number in range(5):
        factories.ticket(farm.by, number=f"=T-{number}", delivered_at=_hours(number + 1), **wrong)
    factories.ticket(farm.by, number="before", delivered_at=factories.START - timedelta(days=90), **RIGHT)
    audit = _audited(office)
    path = f"audits/{audit['id']}/findings"
    every = office.get(path).json()["results"]
    assert len(every) == audit["findings"] == 5 * 2 + 1
    page, places = office.get(f"{path}?limit=4").json(), []
    while True:
        places += [each["place"] for each in page["results"]]
        if page["next_cursor"] is None:
            break
        page = office.get(f"{path}?limit=4&cursor={page['next_cursor']}").json()
    assert places == list(range(10, -1, -1))
    assert len(office.get(f"{path}?kind=shrink").json()["results"]) == 5
    assert len(office.get(f"{path}?kind=no_schedule").json()["results"]) == 1
    causes = office.get(f"{path}?consequences=false").json()["results"]
    assert sorted(each["kind"] for each in causes) == ["no_schedule"] + ["shrink"] * 5
    problem(office.get(f"{path}?kind=other"), 422)
    answer = office.get(f"{path}.csv?kind=shrink")
    assert answer["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(b"".join(answer.streaming_content).decode())))
    assert [row["number"] for row in rows] == [f"'=T-{number}" for number in (4, 3, 2, 1, 0)]
    assert (rows[0]["expected"], rows[0]["stated"], rows[0]["difference"]) == ("69.38", "138.76", "69.38")


def test_what_cannot_be_asked(office: Client) -> None:
    bodies = {
        "/season": [{"season": None}, {"from": "2025-10-01"}],
        "/buyer": [{"buyer": ""}],
        "/crop": [{"crop": "grass"}],
        "/to": [{"season": None, "from": "2025-10-02", "to": "2025-10-01"}],
    }
    for pointer, changes in bodies.items():
        for change in changes:
            assert set(pointers(office.post("audits", ASKED | change))) == {pointer}, change


def test_a_time_instead_of_a_season(tickets: Farm, office: Client) -> None:
    times = {"season": None, "from": _hours(1).isoformat(), "to": _hours(3).isoformat()}
    made = office.post("audits", ASKED | times)
    run_audits()
    assert office.get(made["Location"]).json()["tickets"] == 2


def test_asked_twice_with_one_key(farm: Farm, office: Client) -> None:
    first, second = (office.post("audits", ASKED, Idempotency_Key="once").json()["id"] for _ in range(2))
    assert first == second
    assert Audit.objects.count() == 1


def test_not_too_many_at_once(farm: Farm, office: Client) -> None:
    for _ in range(20):
        office.post("audits", ASKED)
    problem(office.post("audits", ASKED), 409)


def test_cancelled_it_goes_no_further(tickets: Farm, office: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(audit_run, "TICKETS_AT_A_TIME", 2)
    made = office.post("audits", ASKED).json()
    assert audit_run.run(Audit.objects.get(pk=made["id"]), most_s=0) is False
    cancelled = office.post(f"audits/{made['id']}/cancel", None).json()
    assert (cancelled["status"], cancelled["tickets_done"], cancelled["progress"]) == ("cancelled", 2, 0.4)
    run_audits()
    assert office.get(f"audits/{made['id']}").json()["tickets_done"] == 2
    done = _audited(office)
    assert office.post(f"audits/{done['id']}/cancel", None).json()["status"] == "done"


@pytest.mark.parametrize("role", Role.values)
def test_who_may(role: str, tickets: Farm, office: Client) -> None:
    done = _audited(office)
    customer = tickets["customers"] if role == "customer" else None
    client = Client(factories.token(factories.organization(), role, customer))
    may_run = role in ("owner", "office", "auditor")
    assert client.post("audits", ASKED).status_code == (202 if may_run else 403)
    sees = role != "customer"
    for path in ("", "/findings", "/findings.csv"):
        assert client.get(f"audits/{done['id']}{path}").status_code == (200 if sees else 404), path
    assert bool(client.get("audits").json()["results"]) == sees
    assert client.post(f"audits/{done['id']}/cancel", None).status_code == (200 if may_run else 403 if sees else 404)


def test_findings_cost_the_same_for_any_number(tickets: Farm, warm: Client) -> None:  # noqa: F811
    audit = _audited(warm)
    with queries(2):
        warm.get(f"audits/{audit['id']}/findings")
    with queries(1):
        warm.get(f"audits/{audit['id']}")
    with queries(1):
        warm.get("audits")


def test_two_meters(farm: Farm, office: Client) -> None:
    other = factories.meter(farm.by, name="Truck meter")
    for number in range(8):
        at = {"taken_at": _hours(24 + number), "stage": "cooled"}
        factories.sample(farm.by, farm["batches"], meter_id=farm["meters"].pk, moisture_pct=15.3 + 0.1 * number, **at)
        at["taken_at"] += timedelta(minutes=10)
        factories.sample(farm.by, farm["batches"], meter_id=other.pk, moisture_pct=15.0 + 0.1 * number, **at)
    query = f"meters/comparison?season=2025&one={farm['meters'].pk}&other={other.pk}"
    told = office.get(query).json()
    assert (told["pairs"], told["all"]["pairs"], told["all"]["bias_pct"]) == (8, 8, 0.3)
    assert told["all"]["verdict"] == "within_tolerance"
    assert told["line"]["slope"] == pytest.approx(1.0)
    assert [band["of"] for band in told["bands"]] == ["15 to 20 %"]
    assert office.get(f"{query}&within_min=5").json()["pairs"] == 0
    assert office.get(f"{query}&crop=wheat").json()["pairs"] == 0
    problem(office.get(f"meters/comparison?season=2025&one={other.pk}&other={other.pk}"), 422)
    problem(office.get(f"meters/comparison?season=2025&one={farm['customers'].pk}&buyer=x"), 404)
    for missing in ("", "season=2025&", f"one={other.pk}&"):
        problem(office.get(f"meters/comparison?{missing}buyer=x"), 422)


def test_a_meter_and_a_buyer(tickets: Farm, office: Client) -> None:
    for ticket in Ticket.objects.all():
        for moisture in (20.0, 20.2):
            values = {"ticket_id": ticket.pk, "batch_id": None, "stage": "delivered", "moisture_pct": moisture}
            factories.sample(tickets.by, meter_id=tickets["meters"].pk, **values)
    query = f"meters/comparison?season=2025&one={tickets['meters'].pk}&buyer=Invented%20Elevator"
    told = office.get(query).json()
    assert (told["pairs"], told["all"]["bias_pct"], told["other"]) == (5, -0.2, "Invented Elevator")


def test_meters_of_others(farm: Farm, stranger: Client) -> None:
    problem(stranger.get(f"meters/comparison?season=2025&one={farm['meters'].pk}&buyer=x"), 404)
