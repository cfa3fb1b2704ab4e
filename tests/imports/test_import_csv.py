"""`manage.py import_csv`: a season kept in spreadsheets becomes records, once, and what is wrong is told row by row."""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from api.root import RESOURCES
from dryrecords.core.ids import new_id
from dryrecords.harvest import imports
from dryrecords.harvest.models import Batch, Import, Reading, Sample, Ticket
from dryrecords.journal.models import Change
from dryrecords.tenancy import jobs
from dryrecords.tenancy.models import Customer
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.factories import Farm

ORGANIZATION = "Invented Drying"


@pytest.fixture
def farm(db: None) -> Farm:
    return factories.farm()


def take_in(tmp_path: Path, kind: str, text: str, *options: str, organization: str = ORGANIZATION) -> str:
    file, out = tmp_path / f"{kind}.csv", io.StringIO()
    file.write_bytes(text.encode())
    call_command("import_csv", kind, str(file), "--organization", organization, *options, stdout=out)
    return out.getvalue()


def test_a_messy_season(farm: Farm, tmp_path: Path) -> None:
    """Names instead of ids, units in headers, dates of the yard; rows that are right land, the others are told."""
    factories.dryer(farm.by, farm["sites"], name="Column dryer")
    batches = (
        "Yard,Dryer,Grain,Field,Start,End,Wet weight [kg],weight basis,temp at plenum (F),notes\n"
        "home place,bin dryer,Corn,corn of the north field,10/13/2025 8:00 AM,10/13/2025 11:30 AM,25400,Scale,180,"
        "=1+1\n"
        "Home place,Column dryer,corn,,10/14/2025 8:00,10/14/2025 7:00,25400,scale,180,ends before it starts\n"
        "Home place,No dryer,corn,,10/14/2025 8:00,,25400,scale,180,\n"
        "Home place,Column dryer,corn,,10/15/2025 8:00,,-1,scale,hot,\n"
        "Home place,Column dryer,soybeans,Corn of the north field,10/16/2025 8:00,,25400,scale,180,\n"
    )
    told = ("--map", "temp at plenum (F)=plenum_temp_f", "--map", "Field=lot")
    errors = tmp_path / "errors.csv"
    said = take_in(tmp_path, "batches", batches, *told, "--errors", str(errors))
    assert "5 rows: 1 new, 0 there already, 4 refused." in said
    made = Batch.objects.get(started_at=datetime(2025, 10, 13, 13, 0, tzinfo=UTC))
    assert (made.dryer_id, made.lot_id, made.season) == (farm["dryers"].pk, farm["lots"].pk, 2025)
    assert (made.wet_mass_kg, made.note) == (pytest.approx(25_400), "=1+1")
    assert made.plenum_temp_c == pytest.approx(82.2222, abs=1e-4)
    refused = list(csv.DictReader(errors.open(newline="")))
    assert [row["row"] for row in refused] == ["3", "4", "5", "6"]
    assert "drying_ended_at must not be before started_at" in refused[0]["reason"]
    assert "There is no dryer 'No dryer'" in refused[1]["reason"]
    assert "plenum_temp_f: 'hot' is not a number" in refused[2]["reason"]
    assert "The lot is of corn" in refused[3]["reason"]
    assert refused[2]["temp at plenum (F)"] == "hot"

    # The report, corrected, is what is brought next; what landed is not doubled.
    corrected = errors.read_text().replace("No dryer", "Column dryer").replace("10/14/2025 7:00", "10/13/2025 9:00")
    said = take_in(tmp_path, "batches", corrected, *told)
    assert "4 rows: 1 new, 0 there already, 3 refused." in said
    said = take_in(tmp_path, "batches", batches, *told)
    assert "5 rows: 0 new, 1 there already, 4 refused." in said

    samples = (
        "Dryer,Batch,Stage,Date,Time,Moisture %,temp (F),tester\n"
        "Bin dryer,10/13/2025 8:00,Wet,10/13/2025,7:50 AM,24.8,55,Office meter\n"
        "Bin dryer,10/13/2025 8:00,cooled,10/14/2025,7:50 AM,14.1,,office meter\n"
        "Column dryer,10/13/2025 8:00,cooled,10/14/2025,7:50 AM,14.1,,\n"
    )
    assert "3 rows: 2 new, 0 there already, 1 refused." in take_in(tmp_path, "samples", samples)
    wet = Sample.objects.get(batch=made, stage="wet")
    assert (wet.moisture_pct, wet.meter_id) == (24.8, farm["meters"].pk)
    assert wet.taken_at == datetime(2025, 10, 13, 12, 50, tzinfo=UTC)
    change = Change.objects.get(record_id=wet.pk)
    assert change.actor == "command import_csv"


def test_tickets_as_an_elevator_prints_them(farm: Farm, tmp_path: Path) -> None:
    """Decimals to the last digit; one number twice is taken, the same row twice is not."""
    header = (
        "Ticket,Elevator,Grain,Field,Delivered,{},Tare (lb),Moisture %,Price per bushel ($/bu),Net bushels,Net paid\n"
    )
    row = (
        '{},Invented Elevator,Corn,Corn of the north field,10/20/2025 8:00,"79,860.05",27500,20.3,4.1875,853.655,"{}"\n'
    )
    rows = row.format("10482", "$3,379.65") * 2 + row.format("10482", "3380.65") + row.format("10483", "3379.65")
    rows += rows.splitlines()[0].replace("8:00", "9:00") + "\n"
    assert "In which unit is 'Gross'" in refusal(tmp_path, "tickets", header.format("Gross") + rows)
    assert "What does 'kg'" in refusal(tmp_path, "tickets", header.format("Gross (kg)") + rows)
    said = take_in(tmp_path, "tickets", header.format("Gross (lb)") + rows)
    assert "5 rows: 3 new, 1 there already, 1 refused." in said
    assert "stated/net_amount_usd" in said
    made = Ticket.objects.filter(number="10482").earliest("delivered_at")
    assert (made.gross_lb, made.price_usd_bu, made.lot_id) == (
        Decimal("79860.05"),
        Decimal("4.1875"),
        farm["lots"].pk,
    )
    assert (made.stated_net_bu, made.stated_net_amount_usd) == (Decimal("853.655"), Decimal("3379.65"))
    samples = "Ticket,Stage,Date,Time,Moisture %\n{},delivered,10/20/2025,7:50 AM,20.1\n"
    assert "1 new" in take_in(tmp_path, "samples", samples.format("10483"))
    assert "2 of ticket are '10482'" in take_in(tmp_path, "samples", samples.format("10482"))


def refusal(tmp_path: Path, kind: str, text: str) -> str:
    with pytest.raises(CommandError) as refused:
        take_in(tmp_path, kind, text)
    return str(refused.value)


def test_two_of_one_name_are_told_apart_by_the_site(farm: Farm, tmp_path: Path) -> None:
    other = factories.site(farm.by, farm["customers"], name="Far place")
    far = factories.dryer(farm.by, other)
    text = "{}dryer,at,kwh\n{}Bin dryer,2025-10-06T12:00:00Z,5\n"
    mapped = ("--map", "kwh=meter_kwh")
    said = take_in(tmp_path, "power-readings", text.format("", ""), *mapped)
    assert "2 of dryer are 'Bin dryer'" in said
    assert "1 new" in take_in(tmp_path, "power-readings", text.format("site,", "far place,"), *mapped)
    assert far.power_readings.count() == 1
    nowhere = "nowhere,"
    assert "There is no site 'nowhere'" in take_in(tmp_path, "power-readings", text.format("site,", nowhere), *mapped)


def test_duplicates_and_contradictions(farm: Farm, tmp_path: Path) -> None:
    text = "batch,at,plenum (F)\n" + "".join(
        f"{farm['batches'].pk},2025-10-06T15:00:00Z,{temp}\n" for temp in ("180", "180.0", "190")
    )
    assert "3 rows: 1 new, 1 there already, 1 refused." in take_in(tmp_path, "readings", text)
    said = take_in(tmp_path, "readings", text)
    assert "3 rows: 0 new, 2 there already, 1 refused." in said
    assert "says something else of the same: plenum_temp_f" in said
    # In another unit the figure is the same.
    celsius = f"batch,at,plenum (C)\n{farm['batches'].pk},2025-10-06T15:00:00Z,82.22222222222\n"
    assert "1 there already" in take_in(tmp_path, "readings", celsius)


def test_a_dry_run_leaves_nothing(farm: Farm, tmp_path: Path) -> None:
    before = Change.objects.count()
    text = "name,reference\nA farm,1\nA farm,1\nB farm,\n,3\n"
    said = take_in(tmp_path, "customers", text, "--dry-run")
    assert "4 rows: 2 would be new, 1 there already, 1 refused." in said
    assert Customer.objects.count() == 1
    assert Change.objects.count() == before
    assert "4 rows: 2 new, 1 there already, 1 refused." in take_in(tmp_path, "customers", text)


def test_what_is_unclear_stops_it_before_the_first_row(farm: Farm, tmp_path: Path) -> None:
    text = f"batch,at,plenum\n{farm['batches'].pk},06/10/2025 12:00,180\n"
    with pytest.raises(CommandError, match="In which unit is 'plenum'"):
        take_in(tmp_path, "readings", text)
    with pytest.raises(CommandError, match="the day or the month"):
        take_in(tmp_path, "readings", text.replace("plenum", "plenum (F)"))
    for options in (["--timezone", "Nowhere"], ["--map", "x"]):
        with pytest.raises(CommandError):
            take_in(tmp_path, "readings", text, *options)
    with pytest.raises(CommandError, match="no organization"):
        take_in(tmp_path, "readings", text, organization="Nobody")
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("import_csv", "readings", str(tmp_path / "none.csv"), "--organization", ORGANIZATION)
    assert Import.objects.count() == 0


def exported(client: Client, name: str) -> str:
    answer = client.get(f"{name}?format=csv")
    text: str = answer.getvalue().decode()
    return text


@pytest.fixture
def office(farm: Farm) -> Client:
    client = Client(factories.token(factories.organization()))
    for name, body in bodies(farm).items():
        assert client.post(name, body | ({"note": '=cmd("x")\n -'} if name == "batches" else {})).status_code == 201
    return client


def plain(row: dict[str, Any]) -> dict[str, Any]:
    """A record without what differs between two organizations."""
    ids = {"id", "version", "created_at", "updated_at", *(resource.name for resource in RESOURCES)}
    references = {"customer", "site", "tank", "dryer", "bin", "meter", "lot", "batch"}
    return {name: value is None if name in references else value for name, value in row.items() if name not in ids}


def test_a_round_trip_into_another_organization(farm: Farm, office: Client, tmp_path: Path) -> None:
    there = factories.organization("Another Invented Drying")
    files = {resource.name: exported(office, resource.name) for resource in RESOURCES}
    for _ in range(2):
        for name, text in files.items():
            said = take_in(tmp_path, name, text, "--new-ids", organization=there.name)
            assert " 0 refused." in said, (name, said)
    other = Client(factories.token(there))
    for name in files:
        ours, theirs = (client.get(name).json()["results"] for client in (office, other))
        by_content = sorted(map(plain, ours), key=str), sorted(map(plain, theirs), key=str)
        assert by_content[0] == by_content[1], name
        assert {row["id"] for row in ours}.isdisjoint(row["id"] for row in theirs)
    # Without new ids they are taken, and said to be, whoever has them.
    said = take_in(tmp_path, "customers", files["customers"], organization=there.name)
    assert "2 refused" in said
    assert "already in use" in said
    # Back where they came from they are there already.
    for name, text in files.items():
        assert "2 rows: 0 new, 2 there already, 0 refused." in take_in(tmp_path, name, text), name


def many(farm: Farm, count: int) -> str:
    lines = ["batch,at,plenum (F),burner"]
    lines += [
        f"{farm['batches'].pk},2025-10-{n // 1440 + 1:02}T{n // 60 % 24:02}:{n % 60:02}Z,{150 + n % 50},high"
        for n in range(count)
    ]
    return "\n".join(lines)


def test_ten_thousand_rows_cost_few_queries(farm: Farm, tmp_path: Path) -> None:
    counts = []
    for number in (1000, 10_000):
        Reading.objects.all().delete()
        with CaptureQueriesContext(connection) as seen:
            said = take_in(tmp_path, "readings", many(farm, number))
        assert f"{number} rows: {number} new" in said
        counts.append(len(seen))
    assert counts[0] < 30
    # For each thousand a dozen.
    assert counts[1] < counts[0] + 9 * 20


def test_a_bad_row_among_many_costs_only_itself(farm: Farm, tmp_path: Path) -> None:
    lines = many(farm, 3000).split("\n")
    lines[1500] = f"{new_id()},2025-10-06T12:00Z,180,high"
    lines[2500] = lines[2500].replace("high", "roaring")
    with CaptureQueriesContext(connection) as seen:
        assert "3000 rows: 2998 new, 0 there already, 2 refused." in take_in(tmp_path, "readings", "\n".join(lines))
    assert len(seen) < 100


def test_killed_in_the_middle_it_goes_on_and_doubles_nothing(
    farm: Farm, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from api.imports import taking_in

    Reading.objects.all().delete()
    monkeypatch.setattr(taking_in, "ROWS_AT_A_TIME", 100)
    advance, turns = imports.advance, []

    def killed_at_the_third(job: Import, **counts: Any) -> None:
        turns.append(job.rows_done)
        # After the rows were written, before how far that went is committed: the worst moment.
        if len(turns) == 3:
            raise KeyboardInterrupt
        advance(job, **counts)

    monkeypatch.setattr(imports, "advance", killed_at_the_third)
    job = taking_in.bring(farm.by, "readings", many(farm, 1000), taking_in.Options())
    taken = imports.take_up()
    assert taken is not None
    assert imports.take_up() is None
    with pytest.raises(KeyboardInterrupt):
        taking_in.take_in(taken)
    assert Reading.objects.count() == 200
    assert imports.take_up() is None
    Import.objects.update(run_after=datetime(2000, 1, 1, tzinfo=UTC))
    again = imports.take_up()
    assert again is not None
    assert taking_in.take_in(again)
    job.refresh_from_db()
    assert (job.state, job.rows_done, job.created, job.duplicates, job.refused) == ("done", 1000, 1000, 0, [])
    assert Reading.objects.count() == 1000
    assert Change.objects.filter(resource="readings", operation="create").count() == 1001


def test_one_that_kills_every_worker_is_given_up(farm: Farm) -> None:
    from api.imports import taking_in

    job = taking_in.bring(farm.by, "readings", many(farm, 10), taking_in.Options())
    for _ in range(jobs.MOST_ATTEMPTS + 1):
        Import.objects.update(run_after=datetime(2000, 1, 1, tzinfo=UTC))
        assert imports.take_up() is not None
    job.refresh_from_db()
    assert (job.state, job.error) == ("failed", imports.GAVE_UP)
    assert imports.take_up() is None
