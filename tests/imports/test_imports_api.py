"""Spreadsheets brought over the API: asked about at once, taken in by a worker, reported with progress."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from api.imports.tasks import take_imports_in
from dryrecords.harvest import imports
from dryrecords.harvest.models import Import, Sample
from dryrecords.journal.models import Change
from dryrecords.tenancy.models import Customer, Token
from dryrecords.tenancy.services import digest_of, token_revoke
from tests import factories
from tests.api.client import Client
from tests.api.test_problems import pointers, problem
from tests.factories import Farm
from tests.imports.brought import brought


@pytest.fixture
def farm(db: None) -> Farm:
    return factories.farm()


@pytest.fixture
def text() -> str:
    return factories.token(factories.organization(), "office", device="office computer")


@pytest.fixture
def office(farm: Farm, text: str) -> Client:
    return Client(text)


def bring(client: Client, kind: str, content: str, **options: Any) -> dict[str, Any]:
    response = client.post("imports", {"kind": kind, "content": content} | options)
    assert response.status_code == 202, response.content
    told: dict[str, Any] = response.json()
    assert response["Location"].endswith(f"/imports/{told['id']}")
    return told


def test_from_bringing_to_the_report(farm: Farm, office: Client) -> None:
    sheet = (
        "Dryer;Batch;Stage;Date;Moisture;Farbe\n"
        "bin dryer;06/10/2025 07:00;wet;06/10/2025 06:50;24,8;rot\n"
        "bin dryer;06/10/2025 07:00;wet;06/10/2025 06:55;248;rot\n"
    )
    told = bring(
        office,
        "samples",
        sheet,
        file_name="samples.csv",
        dates="day_first",
        decimal="comma",
        timezone="America/Chicago",
        columns={"Farbe": ""},
    )
    assert (told["state"], told["rows"], told["rows_done"], told["device"]) == ("waiting", 2, 0, "office computer")
    take_imports_in()
    told = office.get(f"imports/{told['id']}").json()
    assert (told["state"], told["rows_done"], told["created"], told["refused"]) == ("done", 2, 1, 1)
    assert told["finished_at"]
    assert [(each["row"], each["errors"][0]["pointer"]) for each in told["refusals"]] == [(3, "/moisture_pct")]
    sample = Sample.objects.get(moisture_pct=24.8)
    assert (sample.batch_id, sample.taken_at.isoformat()) == (farm["batches"].pk, "2025-10-06T11:50:00+00:00")
    change = Change.objects.get(record_id=sample.pk)
    assert (change.actor, change.device) == ("office token", "office computer")
    report = office.get(f"imports/{told['id']}/errors.csv")
    assert report["Content-Type"] == "text/csv; charset=utf-8"
    (row,) = csv.DictReader(io.StringIO(report.content.decode(), newline=""))
    assert (row["row"], row["Moisture"], row["Farbe"]) == ("3", "248", "rot")
    assert "moisture_pct" in row["reason"]
    listed = office.get("imports").json()["results"]
    assert [each["id"] for each in listed] == [told["id"]]


def test_what_is_unclear_is_asked_at_once(farm: Farm, office: Client) -> None:
    sheet = f"batch,at,plenum\n{farm['batches'].pk},06/10/2025 12:00,180\n"
    assert pointers(office.post("imports", {"kind": "readings", "content": sheet})) == {
        "/columns/plenum": "unit_needed"
    }
    sheet = sheet.replace("plenum", "plenum (F)")
    assert pointers(office.post("imports", {"kind": "readings", "content": sheet})) == {"/dates": "ambiguous_dates"}
    wrong = {"kind": "tables", "content": "", "timezone": "Nowhere", "dates": "x", "more": 1}
    assert pointers(office.post("imports", wrong)).keys() == {"/kind", "/content", "/timezone", "/dates", "/more"}
    assert Import.objects.count() == 0


def test_a_dry_run(farm: Farm, office: Client) -> None:
    told = bring(office, "customers", "name\nA farm\nA farm\n", dry_run=True)
    take_imports_in()
    told = office.get(f"imports/{told['id']}").json()
    assert (told["dry_run"], told["state"], told["created"], told["duplicates"]) == (True, "done", 1, 1)
    assert Customer.objects.count() == 1


def test_who_may_bring_and_who_may_look(farm: Farm, office: Client) -> None:
    job = brought(farm)
    assert (job.state, job.created, len(job.refused)) == ("done", 1, 1)
    clients = {
        role: Client(factories.token(factories.organization(), role, farm["customers"] if role == "customer" else None))
        for role in ("operator", "auditor", "customer")
    }
    content = "name\nA farm\n"
    for client in clients.values():
        problem(client.post("imports", {"kind": "customers", "content": content}), 403)
    yard = {"kind": "fuel-readings", "content": "tank,at,gauge %\nBig tank,2025-10-06T12:00:00Z,50\n"}
    assert clients["operator"].post("imports", yard).status_code == 202
    for role in ("operator", "auditor"):
        assert clients[role].get(f"imports/{job.pk}").status_code == 200
    assert clients["customer"].get("imports").json()["results"] == []
    problem(clients["customer"].get(f"imports/{job.pk}"), 404)
    problem(clients["customer"].get(f"imports/{job.pk}/errors.csv"), 404)


def test_a_revoked_token_brings_nothing_more(farm: Farm, office: Client, text: str) -> None:
    told = bring(office, "customers", "name\nA farm\n")
    token_revoke(Token.objects.get(digest=digest_of(text)).pk)
    take_imports_in()
    job = Import.objects.get(pk=told["id"])
    assert (job.state, job.error) == ("failed", imports.REVOKED)
    assert Customer.objects.count() == 1


def test_the_same_call_twice(farm: Farm, office: Client) -> None:
    body = {"kind": "customers", "content": "name\nA farm\n"}
    first, second = (office.post("imports", body, Idempotency_Key="k") for _ in range(2))
    assert first.json() == second.json()
    assert Import.objects.count() == 1


def test_a_turn_that_is_over_is_taken_up_again(farm: Farm, office: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("api.imports.taking_in.ROWS_AT_A_TIME", 2)
    monkeypatch.setattr("api.imports.tasks.TURN_S", -1.0)
    told = bring(office, "customers", "name\n" + "".join(f"Farm {n}\n" for n in range(5)))
    seen = []
    for _ in range(3):
        take_imports_in()
        seen.append(office.get(f"imports/{told['id']}").json()["rows_done"])
    assert seen == [2, 4, 5]
    assert Customer.objects.count() == 6


def test_no_report_is_a_formula(farm: Farm, office: Client) -> None:
    told = bring(office, "customers", "name,reference\n,=1+1\n,-5\n")
    take_imports_in()
    report = office.get(f"imports/{told['id']}/errors.csv").content.decode()
    assert "'=1+1" in report
    assert ",-5" in report
