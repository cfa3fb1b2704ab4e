"""Rows of sheets that were refused: held to be corrected, and never two records of one row."""

from __future__ import annotations

from typing import Any

import pytest

from api.imports import held_rows, taking_in
from dryrecords.harvest.models import Import, Sample
from tests import factories
from tests.api.client import Client
from tests.factories import Farm

HEADER = "Dryer,Batch,Stage,Date,Moisture %,temp (C)\n"
ZONE = {"timezone": "America/Chicago"}


@pytest.fixture
def farm(db: None) -> Farm:
    return factories.farm()


@pytest.fixture
def office(farm: Farm) -> Client:
    return Client(factories.token(factories.organization(), "office", device="office computer"))


def take_in(farm: Farm, *rows: str, kind: str = "samples", header: str = HEADER, **options: Any) -> Import:
    given = taking_in.Options(dates="month_first", **ZONE | options)
    job = taking_in.bring(farm.by, kind, header + "\n".join(rows), given, "samples.csv", taken_up=True)
    taking_in.take_in(job)
    job.refresh_from_db()
    assert job.state == "done"
    return job


def row(moisture: str, minute: int = 0, temp: str = "12.5") -> str:
    return f"bin dryer,10/06/2025 07:00,wet,10/06/2025 06:{minute:02},{moisture},{temp}"


def held(client: Client) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get("sync/held").json()["results"]
    return found


def test_the_whole_row_why_and_from_where(farm: Farm, office: Client) -> None:
    stranger = row("20.5", 4).replace("bin dryer", "no dryer")
    job = take_in(farm, row("24.8", 1), row("248", 2), row("wet", 3, temp="cold"), stranger)
    assert (job.created, len(job.refused)) == (1, 3)
    by_row = {each["source"]["row"]: each for each in held(office)}
    assert sorted(by_row) == [3, 4, 5]
    assert {each["source"]["import"] for each in by_row.values()} == {str(job.pk)}
    assert by_row[3]["record"] == {
        "batch": str(farm["batches"].pk),
        "stage": "wet",
        "taken_at": "2025-10-06T06:02:00-05:00",
        "moisture_pct": 248.0,
        "grain_temp_f": 54.5,
    }
    assert by_row[3]["problem"]["errors"][0]["pointer"] == "/record/moisture_pct"
    assert (by_row[4]["record"]["moisture_pct"], by_row[4]["record"]["grain_temp_f"]) == ("wet", "cold")
    assert by_row[5]["problem"]["errors"][0]["pointer"] == "/record/dryer"
    refusals = office.get(f"imports/{job.pk}").json()["refusals"]
    assert {each["row"]: each["held"] for each in refusals} == {n: each["id"] for n, each in by_row.items()}


def test_corrected_and_resubmitted_or_dismissed(farm: Farm, office: Client) -> None:
    take_in(farm, row("248", 1), row("249", 2))
    one, two = held(office)
    record = one["record"] | {"moisture_pct": 24.9}
    done = office.post(f"sync/held/{one['id']}/resubmit", {"record": record}).json()
    assert done["status"] == "applied"
    assert office.get(f"samples/{done['record_id']}").json()["moisture_pct"] == 24.9
    assert office.post(f"sync/held/{two['id']}/dismiss", None).json()["status"] == "dismissed"
    assert held(office) == []
    # What was settled is not held again.
    assert len(take_in(farm, row("248", 1), row("249", 2)).refused) == 2
    assert held(office) == []


def test_the_same_sheet_again_holds_nothing_twice(farm: Farm, office: Client) -> None:
    for _ in range(2):
        take_in(farm, row("24.8", 1), row("248", 2), row("248", 2))
        assert [each["record"]["moisture_pct"] for each in held(office)] == [248.0]
    assert Sample.objects.count() == 2


def test_a_corrected_sheet_settles_what_it_has_right(farm: Farm, office: Client) -> None:
    take_in(farm, row("24.8", 1), row("248", 2), row("wet", 3), row("249", 4))
    ids = {each["source"]["row"]: each["id"] for each in held(office)}
    # Row 2 of the first minute is another test of that moment, not what row 3 should have been.
    take_in(farm, row("24.8", 1), row("24.7", 2), row("23.5", 3), row("249", 4), row("21.0", 1))
    assert [each["id"] for each in held(office)] == [ids[5]]
    settled = office.get(f"sync/held/{ids[3]}").json()
    assert (settled["status"], settled["settled_by"]) == ("dismissed", "import samples.csv")
    assert Sample.objects.count() == 1 + 4


def test_what_a_sheet_brought_meanwhile_is_not_doubled(farm: Farm, office: Client) -> None:
    """The time was wrong, so that nothing tells that the corrected row is the one that is held."""
    take_in(farm, row("24.8").replace("06:00", "26:00"))
    (one,) = held(office)
    take_in(farm, row("24.8"))
    (still,) = held(office)
    assert still["id"] == one["id"]
    record = one["record"] | {"taken_at": "2025-10-06T06:00:00-05:00"}
    done = office.post(f"sync/held/{one['id']}/resubmit", {"record": record}).json()
    made = Sample.objects.get(moisture_pct=24.8)
    assert (done["status"], done["record_id"]) == ("duplicate", str(made.pk))
    assert held(office) == []


def test_a_name_that_is_missing_is_no_other_name(farm: Farm, office: Client) -> None:
    take_in(farm, ",7", kind="customers", header="name,reference\n")
    take_in(farm, "Another farm,7", kind="customers", header="name,reference\n")
    assert len(held(office)) == 1


def test_a_dry_run_holds_nothing(farm: Farm, office: Client) -> None:
    take_in(farm, row("248"), dry_run=True)
    assert held(office) == []


def test_a_sheet_of_rubbish_does_not_flood(farm: Farm, office: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("api.imports.taking_in.MOST_HELD", 3)
    job = take_in(farm, *(row("248", minute) for minute in range(10)))
    assert len(job.refused) == 10
    assert sorted(each["source"]["row"] for each in held(office)) == [2, 3, 4]
    assert held_rows.MOST_HELD == 500


def test_killed_before_the_end_it_holds_all_the_same(
    farm: Farm, office: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr("api.imports.taking_in._Work._finish", lambda work: None)
        given = taking_in.Options(dates="month_first", **ZONE)
        job = taking_in.bring(farm.by, "samples", HEADER + row("248"), given, taken_up=True)
        taking_in.take_in(job)
    job.refresh_from_db()
    assert (job.state, job.rows_done, held(office)) == ("running", 1, [])
    taking_in.take_in(job)
    job.refresh_from_db()
    assert job.state == "done"
    assert len(held(office)) == 1
