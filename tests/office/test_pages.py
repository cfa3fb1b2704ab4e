"""What stands on the pages, figures and the numbers of charts; and how many queries they take."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from dryrecords.core import clock
from dryrecords.equipment import services as equipment
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Sample
from dryrecords.season import services
from dryrecords.season.models import BatchResult
from dryrecords.tenancy.access import Role
from tests import factories
from tests.factories import START, Farm
from tests.office.client import signed_in
from tests.office.routes import FORMS, WITH_ID, WITHOUT_ID, path_of

pytestmark = pytest.mark.django_db

MOST_QUERIES = 14


@pytest.fixture
def computed(farm: Farm) -> Farm:
    """The farm's batch with moistures in and out, readings and prices, worked off."""
    factories.price(farm.by, kind="grain", crop="corn", unit_price_usd=Decimal("4.00"))
    cooled = {"stage": "cooled", "moisture_pct": 14.2, "taken_at": START + timedelta(hours=5)}
    factories.sample(farm.by, farm["batches"], meter_id=farm["meters"].pk, **cooled)
    stored = {"batch_id": None, "bin_id": farm["bins"].pk, "stage": "stored", "grain_temp_c": 8.0}
    factories.sample(farm.by, moisture_pct=14.5, taken_at=START + timedelta(days=9), **stored)
    harvest.batches.correct(farm.by, farm["batches"].pk, {"ambient_temp_c": 10.0, "ambient_rh_pct": 60.0})
    services.work_off()
    return farm


def text_of(client: Client, path: str) -> str:
    """What a person reads, white space aside."""
    answer = client.get(path)
    assert answer.status_code == 200, path
    words = re.sub(r"<(style|script|title)[^>]*>.*?</\1>|<[^>]+>", " ", answer.content.decode(), flags=re.S)
    return re.sub(r"\s+", " ", words)


def numbers_of(client: Client, path: str) -> list[dict[str, str]]:
    answer = client.get(path)
    assert (answer.status_code, answer["Content-Type"]) == (200, "text/csv; charset=utf-8"), path
    return list(csv.DictReader(io.StringIO(answer.content.decode())))


@pytest.mark.parametrize("address", sorted({*WITHOUT_ID, *WITH_ID} - {*FORMS}))
def test_pages_take_few_queries_however_much_there_is(address: str, computed: Farm, owner: Client) -> None:
    name, methods = WITH_ID.get(address) or ("customers", WITHOUT_ID[address])
    if "GET" not in methods:
        return
    path = path_of(address, computed[name].pk)
    counts = []
    for more in (1, 12):
        for number in range(more):
            _another(computed, more * 20 + number)
        services.work_off()
        with CaptureQueriesContext(connection) as seen:
            assert owner.get(path).status_code == 200
        counts.append(len([query for query in seen if "SAVEPOINT" not in query["sql"]]))
    assert counts[0] == counts[1] <= MOST_QUERIES, "\n".join(query["sql"][:150] for query in seen)


def _another(farm: Farm, number: int) -> None:
    """A site, a lot, a bin, a batch in the farm's dryer, and of the farm's batch a sample and a reading."""
    factories.site(farm.by, farm["customers"], name=f"Site {number}")
    factories.bin_(farm.by, farm["sites"], name=f"Bin {number}")
    start = START + timedelta(days=number)
    lot = factories.lot(farm.by, farm["customers"], name=f"Lot {number}")
    times = {"started_at": start, "drying_ended_at": start + timedelta(hours=4)}
    batch = factories.batch(farm.by, farm["dryers"], lot_id=lot.pk, bin_id=farm["bins"].pk, **times)
    factories.sample(farm.by, batch, taken_at=start)
    factories.sample(farm.by, farm["batches"], taken_at=START + timedelta(minutes=number))
    factories.reading(farm.by, farm["batches"], at=START + timedelta(minutes=number))


def test_the_board_tells_what_is_drying_lost_and_to_be_seen_to(computed: Farm, owner: Client) -> None:
    open_ = factories.batch(
        computed.by, computed["dryers"], started_at=clock.now() - timedelta(hours=2), drying_ended_at=None, season=2025
    )
    told = text_of(owner, "/office")
    assert "corn for 2 h; plenum 176 °F" in told
    assert f"/office/batches/{open_.pk}" in owner.get("/office").content.decode()
    assert "new records are being worked in" in told
    services.work_off()
    told = text_of(owner, "/office")
    assert "being worked in" not in told
    assert "1 incomplete" in told
    result = BatchResult.objects.get(batch_id=computed["batches"].pk)
    assert f"Bushels not sold {result.over_drying_unsold_bu:.0f}" in told
    incomplete = text_of(owner, f"/office/batches?season=2025&site={computed['sites'].pk}&lacking=1")
    assert "lacks" in incomplete
    assert incomplete.count("Bin dryer") == 1


def test_a_batch_that_nobody_ended_is_pointed_out(farm: Farm, owner: Client) -> None:
    factories.batch(farm.by, farm["dryers"], started_at=clock.now() - timedelta(days=3), drying_ended_at=None)
    assert "No end of drying is recorded" in text_of(owner, "/office")


def test_a_corrected_sample_changes_the_figures_of_its_batch(computed: Farm, owner: Client) -> None:
    path = f"/office/batches/{computed['batches'].pk}"
    told = text_of(owner, path)
    assert "Moisture out 14.2 ±" in told
    assert "Points below base" in told
    sample = Sample.objects.get(stage="cooled")
    harvest.samples.correct(computed.by, sample.pk, {"moisture_pct": 13.2})
    assert "about to change" in text_of(owner, path)
    services.work_off()
    told = text_of(owner, path)
    assert "Moisture out 13.2 ±" in told
    assert "sample corrected" in told
    assert "moisture 14.2 % → 13.2 %" in told


def test_what_was_before_a_batch_changed_hands_stays_with_whose_it_was(farm: Farm, owner: Client) -> None:
    path = f"/office/batches/{farm['batches'].pk}"
    harvest.batches.correct(farm.by, farm["batches"].pk, {"note": "Said to the first"})
    harvest.batches.correct(farm.by, farm["batches"].pk, {"note": "Said to both"})
    second = factories.customer(farm.by, name="South Field Farm")
    harvest.lots.correct(farm.by, farm["lots"].pk, {"customer_id": second.pk})
    assert "Said to the first" in text_of(owner, path)
    told = text_of(signed_in("max", role=Role.CUSTOMER, of=second), path)
    assert "batch came here" in told
    assert "Said to both" in told
    assert "Said to the first" not in told


def test_times_are_those_of_the_site(computed: Farm, owner: Client) -> None:
    told = text_of(owner, f"/office/batches/{computed['batches'].pk}")
    assert "Oct 6, 2025, 7:00 am" in told
    assert "Times are those of America/Chicago" in told


def test_readings_lie_beside_what_the_model_expected(computed: Farm, owner: Client) -> None:
    path = f"/office/batches/{computed['batches'].pk}"
    page = owner.get(path).content.decode()
    assert "<svg" in page
    assert "No forecast" not in page
    rows = numbers_of(owner, f"{path}?csv=course")
    plenum = [row["plenum, read, °F"] for row in rows if row["plenum, read, °F"]]
    assert [float(each) for each in plenum] == pytest.approx([177.8])
    expected = [float(row["moisture, expected, %"]) for row in rows if row["moisture, expected, %"]]
    assert expected[0] == pytest.approx(20.5, abs=0.1)
    assert expected == sorted(expected, reverse=True)
    assert owner.get(f"{path}?csv=nothing").status_code == 404


def test_a_season_drawn_adds_up(computed: Farm, owner: Client) -> None:
    path = f"/office/sites/{computed['sites'].pk}"
    result = BatchResult.objects.get(batch_id=computed["batches"].pk)
    bars = numbers_of(owner, f"{path}?csv=final-moisture")
    assert [(row["From, points"], row["Batches"]) for row in bars] == [("-1", "1")]
    weeks = numbers_of(owner, f"{path}/seasons/2025?csv=over-drying")
    assert [row["Week of"] for row in weeks] == ["Oct 6"]
    assert float(weeks[0]["Lost, $"]) == pytest.approx(result.over_drying_total_usd)
    assert "No fuel was read" in text_of(owner, path)


@pytest.mark.parametrize(
    "query",
    ["season=1", "season=x", "season=99999999999", "site=x", "dryer=x", "crop=hay", "older=x", "older=2025-10-06~x"],
)
def test_what_cannot_be_asked_for_is_refused(query: str, computed: Farm, owner: Client) -> None:
    """Rather than answered with the figures of another season or of all sites."""
    answer = owner.get(f"/office/batches?{query}")
    assert answer.status_code == 404
    assert f"There is nothing to show for the {query.split('=')[0]}" in answer.content.decode()
    assert owner.get("/office/batches?season=2025&site=&crop=&lacking=").status_code == 200


def test_seasons_and_sorts_that_cannot_be_are_refused(farm: Farm, owner: Client) -> None:
    for path in ("seasons/3025", "gaps?season=9999", "gaps?season=abc", "gaps?of=hay"):
        assert owner.get(f"/office/{path}").status_code == 404, path
    assert owner.get("/office/gaps?season=2025&of=odd").status_code == 200


def test_the_root_leads_to_the_pages(db: None) -> None:
    answer = Client().get("/")
    assert (answer.status_code, answer["Location"]) == (302, "/office")


def test_gas_is_told_where_gallons_leave_it_out(computed: Farm, owner: Client) -> None:
    assert "Gallons leave out" not in text_of(owner, "/office")
    pipe = factories.tank(computed.by, computed["sites"], name="Line", fuel="natural_gas", capacity_m3=None)
    machine = factories.dryer(computed.by, computed["sites"], name="On gas", tank_id=pipe.pk)
    batch = factories.batch(computed.by, machine)
    factories.sample(computed.by, batch)
    factories.sample(computed.by, batch, stage="cooled", moisture_pct=14.2, taken_at=START + timedelta(hours=5))
    services.work_off()
    for path in ("/office", f"/office/sites/{computed['sites'].pk}"):
        told = text_of(owner, path)
        assert re.search(r"Fuel [\d,]+( ± [\d,]+)? gal Fuel, as heat [\d,]+( ± [\d,]+)? therms", told), path
        assert "Gallons leave out the gas that 1 batch burnt" in told, path


def test_batches_are_turned_page_by_page(farm: Farm, owner: Client) -> None:
    for number in range(70):
        at = START - timedelta(hours=number // 2)
        factories.batch(farm.by, farm["dryers"], started_at=at, drying_ended_at=at, season=2025)
    seen: list[str] = []
    path: str | None = "/office/batches?season=2025&crop=corn"
    while path:
        page = owner.get(path).content.decode()
        seen += re.findall(r"/office/batches/([0-9a-f-]{36})", page)
        older = re.search(r'href="(\?[^"]*older[^"]*)"', page)
        path = f"/office/batches{older[1].replace('&amp;', '&')}" if older else None
    assert len(seen) == len(set(seen)) == 71


def test_advice_for_the_next_batch_comes_with_cautions(computed: Farm, owner: Client) -> None:
    path = f"/office/dryers/{computed['dryers'].pk}"
    equipment.dryers.correct(computed.by, computed["dryers"].pk, {"bed_depth_m": 0.75})
    told = text_of(
        owner, f"{path}?crop=corn&moisture_in_pct=22&base_moisture_pct=15&plenum_temp_f=160&ambient_temp_f=50"
    )
    assert "Stop at" in told
    assert "it controls nothing" in told
    assert "Heat for about" in told
    assert "Enter a number" in text_of(owner, f"{path}?moisture_in_pct=wet")
    assert "No advice" in text_of(owner, f"{path}?moisture_in_pct=22&plenum_temp_f=40&ambient_temp_f=50")


def test_a_bin_tells_whose_grain_is_in_it_and_how_it_keeps(computed: Farm, owner: Client) -> None:
    told = text_of(owner, f"/office/bins/{computed['bins'].pk}")
    assert "Corn of the north field North Field Farm 1" in told
    assert "Never enter a bin" in told
    assert "46 °F" in told
    assert [row["Moisture, %"] for row in numbers_of(owner, f"/office/bins/{computed['bins'].pk}?csv=samples")] == [
        "14.5"
    ]


def test_names_are_text_and_nothing_else(farm: Farm, owner: Client) -> None:
    """Where they stand in pages, drawings and forms."""
    name = '"><script>alert(1)</script>'
    site = factories.site(farm.by, farm["customers"], name=name)
    machine = factories.dryer(farm.by, site, name=name)
    batch = factories.batch(farm.by, machine, note=name)
    services.work_off()
    for path in ("", "/batches?season=2025", f"/sites/{site.pk}", f"/dryers/{machine.pk}", f"/batches/{batch.pk}"):
        page = owner.get(f"/office{path}").content.decode()
        assert "<script>alert" not in page
        assert "&lt;script&gt;" in page


def test_an_empty_organization_has_pages(db: None) -> None:
    told = text_of(signed_in("new", owner=factories.organization("New Drying")), "/office")
    assert "There is no site yet" in told
