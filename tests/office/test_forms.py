"""Entering, correcting, removing: what is typed becomes records by the same services and rules as the API's."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from dryrecords.core.ids import new_id
from dryrecords.equipment import services as equipment
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Batch, FuelDelivery, FuelReading, Lot, PowerReading, Price, Reading, Sample
from dryrecords.journal.models import Change, StaleMark
from dryrecords.office.kinds import KINDS
from dryrecords.season import services
from dryrecords.tenancy.access import Role
from tests import factories
from tests.factories import START, Farm
from tests.office.client import person, signed_in
from tests.office.forms import fields_of, filled, send
from tests.office.routes import FORMS, WITH_ID, path_of
from tests.office.test_pages import MOST_QUERIES

pytestmark = pytest.mark.django_db


def words(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def new(kind: str, below: str, farm: Farm) -> str:
    return f"/office/{below}/{farm[below].pk}/{kind}/new"


def correct(record: Any) -> str:
    return f"/office/{record.resource}/{record.pk}/correct"


def test_a_batch_is_entered_in_the_units_and_the_time_of_the_site(farm: Farm, owner: Client) -> None:
    given = {
        "crop": "corn",
        "started_at": "2025-10-07T06:30",
        "lot_id": str(farm["lots"].pk),
        "wet_mass_kg": "55116 lb",
        "mass_basis": "scale",
        "plenum_temp_c": "176",
        "drying_limit_s": "4,5",
        "refill0_at": "2025-10-07T08:00",
        "refill0_mass_kg": "1000 kg",
        "refill0_moisture_pct": "21",
    }
    answer = send(owner, new("batches", "dryers", farm), **given)
    batch = Batch.objects.exclude(pk=farm["batches"].pk).get()
    assert answer["Location"] == f"/office/batches/{batch.pk}"
    assert batch.started_at.isoformat() == "2025-10-07T11:30:00+00:00"
    assert batch.wet_mass_kg == pytest.approx(25_000, rel=1e-4)
    assert batch.plenum_temp_c == pytest.approx(80)
    assert (batch.drying_limit_s, batch.season, batch.dryer_id) == (16_200, 2025, farm["dryers"].pk)
    assert batch.refills == [{"at": "2025-10-07T13:00:00+00:00", "mass_kg": 1000.0, "moisture_pct": 21.0}]
    assert "The batch is recorded" in words(owner.get(answer["Location"]))
    change = Change.objects.get(record_id=batch.pk)
    assert (change.actor, change.device) == ("ann", "office")
    assert StaleMark.objects.filter(kind="batch", key=str(batch.pk)).exists()


@pytest.mark.parametrize(
    ("kind", "below", "model", "given"),
    [
        ("samples", "batches", Sample, {"stage": "cooled", "moisture_pct": "14,2"}),
        ("samples", "bins", Sample, {"stage": "stored", "moisture_pct": "14.2 %", "grain_temp_c": "46"}),
        ("readings", "batches", Reading, {"plenum_temp_c": "175", "burner": "low"}),
        ("fuel-readings", "tanks", FuelReading, {"gauge_pct": "64"}),
        ("fuel-deliveries", "tanks", FuelDelivery, {"volume_m3": "900", "unit_price_usd": "1,85"}),
        ("power-readings", "dryers", PowerReading, {"meter_kwh": "12400"}),
        ("power-readings", "sites", PowerReading, {"meter_kwh": "12400"}),
        ("lots", "customers", Lot, {"name": "Beans", "crop": "soybean", "season": "2025"}),
    ],
)
def test_what_an_operator_enters(kind: str, below: str, model: Any, given: dict[str, str], farm: Farm) -> None:
    operator = signed_in("olli", role=Role.OPERATOR)
    before = model.objects.count()
    answer = send(operator, new(kind, below, farm), **given)
    assert answer.status_code == 302, words(answer)
    assert model.objects.count() == before + 1
    assert "is recorded" in words(operator.get(answer["Location"]))


def test_a_price_belongs_to_no_parent(farm: Farm, owner: Client) -> None:
    answer = send(owner, "/office/prices/new?kind=grain", crop="corn", unit_price_usd="4.1250")
    assert answer.status_code == 302, words(answer)
    assert str(Price.objects.get(kind="grain").unit_price_usd) == "4.125000"


@pytest.mark.parametrize("changed", [False, True])
def test_sent_twice_it_is_one_record(changed: bool, farm: Farm, owner: Client) -> None:
    path = new("samples", "batches", farm)
    given = filled(owner, path, stage="cooled", moisture_pct="14.2")
    first = owner.post(path, given)
    again = owner.post(path, given | ({"moisture_pct": "15.2"} if changed else {}))
    assert first.status_code == 302
    assert Sample.objects.filter(stage="cooled").count() == 1
    if changed:
        assert again.status_code == 409
        assert "sent before" in words(again)
        assert fields_of(again)["moisture_pct"] == "15.2"
    else:
        assert again["Location"] == first["Location"]


def test_errors_stand_beside_the_fields_and_nothing_typed_is_lost(farm: Farm, owner: Client) -> None:
    given = {"wet_mass_kg": "55,116", "drying_ended_at": "2025-10-06T06:00", "note": "windy", "plenum_temp_c": "hot"}
    answer = send(owner, new("batches", "dryers", farm), crop="corn", started_at="2025-10-06T07:00", **given)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert 'href="#id_wet_mass_kg"' in page
    assert "Is 55,116 meant as 55116 or as 55.116?" in words(answer)
    assert 'aria-invalid="true"' in page
    assert {name: fields_of(answer)[name] for name in given} == given
    # With the texts mended, the rules of the table have their say.
    answer = owner.post(
        new("batches", "dryers", farm), fields_of(answer) | {"wet_mass_kg": "55116", "plenum_temp_c": "999"}
    )
    assert answer.status_code == 422
    assert "Heat off must not be before began" in words(answer)
    assert "Plenum is not a temperature" in words(answer)
    assert Batch.objects.count() == 1


def test_what_only_services_and_the_database_know_is_told_beside_the_field(farm: Farm, owner: Client) -> None:
    answer = send(owner, new("fuel-readings", "tanks", farm), gauge_pct="50", volume_m3="400")
    assert "Gauge or a volume or a meter count: exactly one" in words(answer)
    gas = factories.tank(farm.by, farm["sites"], name="Gas line", fuel="natural_gas", capacity_m3=None)
    asked = filled(owner, f"/office/tanks/{gas.pk}/fuel-readings/new")
    assert ("meter_j" in asked, "gauge_pct" in asked) == (True, False)
    answer = send(owner, new("batches", "dryers", farm), crop="soybean", lot_id=str(farm["lots"].pk))
    assert "The lot is of corn" in words(answer)
    assert 'href="#id_lot_id"' in answer.content.decode()


def test_a_correction_writes_what_was_typed_over_and_nothing_else(farm: Farm, owner: Client) -> None:
    batch = farm["batches"]
    harvest.batches.correct(farm.by, batch.pk, {"wet_mass_kg": 24_999.123456789, "note": "two\nlines"})
    answer = send(owner, correct(batch), cutoff_temp_c="118")
    assert answer["Location"] == f"/office/batches/{batch.pk}"
    batch.refresh_from_db()
    assert (batch.wet_mass_kg, batch.version) == (24_999.123456789, 3)
    assert batch.cutoff_temp_c == pytest.approx(47.78, abs=0.01)
    assert send(owner, correct(batch)).status_code == 302
    batch.refresh_from_db()
    assert batch.version == 3
    send(owner, correct(batch), cutoff_temp_c="")
    batch.refresh_from_db()
    assert batch.cutoff_temp_c is None


def test_two_who_correct_the_same_see_each_others_figures(farm: Farm, owner: Client) -> None:
    sample = farm["samples"]
    opened = filled(owner, correct(sample), moisture_pct="19.5")
    harvest.samples.correct(farm.by, sample.pk, {"moisture_pct": 21.0, "grain_temp_c": 10.0})
    answer = owner.post(correct(sample), opened)
    assert answer.status_code == 409
    assert "changed after you opened it, by owner token" in words(answer)
    assert "Recorded meanwhile: 21" in words(answer)
    sample.refresh_from_db()
    assert sample.moisture_pct == 21.0
    kept = fields_of(answer)
    assert (kept["moisture_pct"], kept["grain_temp_c"], kept["version"]) == ("19.5", "50", "2")
    assert owner.post(correct(sample), kept).status_code == 302
    sample.refresh_from_db()
    assert (sample.moisture_pct, sample.grain_temp_c, sample.version) == (19.5, 10.0, 3)


def test_a_sample_of_a_delivery_has_no_page_to_go_back_to(farm: Farm, owner: Client) -> None:
    sample = factories.sample(farm.by, None, ticket_id=farm["tickets"].pk, stage="delivered")
    assert send(owner, correct(sample), moisture_pct="15.1")["Location"] == "/office/enter"
    assert Sample.objects.get(pk=sample.pk).moisture_pct == 15.1


def test_a_removed_record_can_be_brought_back(farm: Farm, owner: Client) -> None:
    sample = farm["samples"]
    answer = owner.post(f"/office/samples/{sample.pk}/remove", {"version": "1"})
    assert "The sample is removed" in words(owner.get(answer["Location"]))
    assert owner.get(correct(sample)).status_code == 404
    back = owner.post(answer["Location"])
    assert back["Location"] == f"/office/batches/{sample.batch_id}"
    assert owner.get(correct(sample)).status_code == 200
    assert owner.post(f"/office/samples/{sample.pk}/remove", {"version": "1"}).status_code == 412
    assert owner.post(f"/office/dryers/{farm['dryers'].pk}/remove", {"version": "1"}).status_code == 409


def test_what_its_parent_took_along_is_not_brought_back_alone(farm: Farm, owner: Client) -> None:
    harvest.batches.remove(farm.by, farm["batches"].pk)
    answer = owner.post(f"/office/samples/{farm['samples'].pk}/restore")
    assert answer.status_code == 409
    assert "Restore that first" in words(answer)


def test_the_hour_that_the_clock_shows_twice_is_asked(farm: Farm, owner: Client) -> None:
    path = new("samples", "batches", farm)
    answer = send(owner, path, stage="hot", moisture_pct="15", taken_at="2025-11-02T01:30")
    assert answer.status_code == 422
    assert "the first time" in words(answer)
    answer = owner.post(path, fields_of(answer) | {"taken_at-which": "second"})
    assert answer.status_code == 302
    sample = Sample.objects.get(stage="hot")
    assert sample.taken_at.isoformat() == "2025-11-02T07:30:00+00:00"
    # It stays what it is when the form is sent back untouched.
    send(owner, correct(sample))
    assert Sample.objects.get(pk=sample.pk).version == 1


def test_a_reference_of_others_is_not_there(farm: Farm, owner: Client) -> None:
    other = factories.farm(factories.access(factories.organization("Another Invented Drying")))
    for field, kind in (("lot_id", "lots"), ("bin_id", "bins")):
        answer = send(owner, new("batches", "dryers", farm), crop="corn", **{field: str(other[kind].pk)})
        assert answer.status_code == 422
    answer = send(owner, new("samples", "batches", farm), stage="hot", moisture_pct="15", id=str(other["samples"].pk))
    assert answer.status_code == 409
    assert Sample.objects.get(pk=other["samples"].pk).stage == "wet"


RUBBISH = ["", "\x00", "x" * 20_000, "９", "-1e999", "2025-13-45T99:99", "<b>", "🌽", "0001-01-01T00:00", str(new_id())]


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_rubbish_is_refused_in_words(kind: str, farm: Farm, owner: Client) -> None:
    below = next(iter(KINDS[kind].parents))
    paths = [new(kind, below, farm) if below else f"/office/{kind}/new", correct(farm[kind])]
    for path in paths:
        names = list(filled(owner, path))
        for rubbish in RUBBISH:
            answer = owner.post(path, dict.fromkeys(names, rubbish))
            assert answer.status_code in (302, 409, 422), (path, rubbish)
        assert owner.post(path, {}).status_code in (409, 422)
        assert owner.get(path, {"stage": "\x00", "at": "x", "version": "x"}).status_code == 200


def test_without_the_token_of_the_form_nothing_is_written(farm: Farm) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(person("kim"))
    assert client.post(new("samples", "batches", farm), {"stage": "hot", "moisture_pct": "15"}).status_code == 403
    assert Sample.objects.count() == 1


def test_forms_take_few_queries_however_much_there_is(farm: Farm, owner: Client) -> None:
    counts: list[dict[str, int]] = []
    for more in (1, 6):
        for number in range(more):
            _another(farm, more * 10 + number)
        seen = {}
        for address in sorted({*FORMS, *(each for each in WITH_ID if each.split("/")[-1] in KINDS)}):
            kind, methods = WITH_ID.get(address) or ("customers", ["GET"])
            if "GET" in methods:
                with CaptureQueriesContext(connection) as taken:
                    assert owner.get(path_of(address, farm[kind].pk)).status_code == 200
                seen[address] = len([each for each in taken if "SAVEPOINT" not in each["sql"]])
        counts.append(seen)
    assert counts[0] == counts[1]
    assert {address: count for address, count in counts[1].items() if count > MOST_QUERIES} == {}


def _another(farm: Farm, number: int) -> None:
    at = START + timedelta(minutes=number)
    for make in (factories.tank, factories.dryer, factories.bin_):
        make(farm.by, farm["sites"], name=f"Another {number}")
    factories.lot(farm.by, farm["customers"], name=f"Lot {number}")
    factories.meter(farm.by, name=f"Meter {number}")
    factories.sample(farm.by, None, bin_id=farm["bins"].pk, taken_at=at)
    factories.reading(farm.by, farm["batches"], at=at)
    factories.fuel_reading(farm.by, farm["tanks"], at=at)
    factories.power_reading(farm.by, farm["dryers"], at=at)


def test_gaps_lead_to_the_form_that_mends_them(farm: Farm, owner: Client) -> None:
    equipment.dryers.correct(farm.by, farm["dryers"].pk, {"diameter_m": None})
    services.work_off()
    answer = owner.get("/office/gaps?season=2025")
    assert "It lacks moisture out" in words(answer)
    batch = farm["batches"]
    assert f"/office/batches/{batch.pk}/samples/new?stage=cooled" in answer.content.decode()
    assert "There is no price of grain" in words(answer)
    ready = filled(owner, f"/office/batches/{batch.pk}/samples/new?stage=cooled")
    assert ready["stage"] == "cooled"
    factories.sample(farm.by, batch, stage="cooled", moisture_pct=14.0, taken_at=START + timedelta(hours=5))
    services.work_off()
    assert "moisture out" not in words(owner.get("/office/gaps?season=2025"))
    assert "does not say which meter" in words(owner.get("/office/gaps?season=2025&of=unmetered"))
    assert owner.get("/office/gaps?season=99999999999999&of=x").status_code == 404
    customer = signed_in("lee", role=Role.CUSTOMER, of=farm["customers"])
    assert "/samples/new" not in customer.get("/office/gaps?season=2025&of=unmetered").content.decode()
