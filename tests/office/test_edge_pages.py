"""Held mutations and sheets on pages: the same outcome as over the API, by whoever may, and by nobody else."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import Any
from uuid import UUID

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from api.imports.tasks import take_imports_in
from dryrecords.core.ids import new_id
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Import, Reading, Sample
from dryrecords.journal.models import Mutation
from dryrecords.tenancy.access import Role
from dryrecords.tenancy.models import Customer
from tests import factories
from tests.api.client import Client as Device
from tests.api.offline import mutation, push
from tests.factories import Farm
from tests.office.client import signed_in
from tests.office.forms import fields_of, filled
from tests.office.test_pages import MOST_QUERIES

pytestmark = pytest.mark.django_db

SHEET = "customer,reference\nA farm,1\n,2\n"


def words(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def hold(farm: Farm, *sent: dict[str, Any]) -> list[str]:
    """Pushed by a device, and held."""
    device = Device(factories.token(factories.organization()))
    assert {result["status"] for result in push(device, *sent)} <= {"held", "conflict"}
    return [each["id"] for each in sent]


def wet_sample(farm: Farm, **more: Any) -> dict[str, Any]:
    given = {"batch": str(farm["batches"].pk), "stage": "wet", "taken_at": "2025-10-06T08:30:00-05:00"}
    return mutation("samples", given | {"moisture_pct": 205, "grain_temp_f": 50.5} | more)


def test_held_ones_are_told_in_words_with_the_reason(farm: Farm, owner: Client) -> None:
    hold(farm, wet_sample(farm), mutation("hay", {"x": 1}), mutation("samples", {}) | {"record": [1]})
    told = words(owner.get("/office/held"))
    assert "New sample" in told
    assert "Must be at least 0 and at most 60" in told
    assert "corn in Bin dryer, Oct 6, 2025, 7:00 am" in told
    assert "taken Oct 6, 2025, 8:30 am" in told
    assert "moisture 205 %" in told
    assert "owner token, tablet" in told
    assert "3 brought by devices" in words(owner.get("/office/gaps"))


def test_the_board_leads_to_what_is_held(farm: Farm, owner: Client) -> None:
    assert "brought by devices" not in words(owner.get("/office"))
    hold(farm, wet_sample(farm), mutation("hay", {"x": 1}))
    with CaptureQueriesContext(connection) as seen:
        answer = owner.get("/office")
    assert len([query for query in seen if "SAVEPOINT" not in query["sql"]]) <= MOST_QUERIES
    assert '<a href="/office/held">2 brought by devices</a>' in answer.content.decode()
    customer = signed_in("cy", role=Role.CUSTOMER, of=farm["customers"])
    assert "brought by devices" not in words(customer.get("/office"))


def test_times_of_arrival_name_their_zone(farm: Farm, owner: Client) -> None:
    """Those of the sites, if all have one; else UTC."""
    hold(farm, wet_sample(farm))
    assert re.search(r"\d [ap]m C[DS]T, owner token", words(owner.get("/office/held")))
    factories.site(farm.by, farm["customers"], name="Far", timezone="America/Denver")
    assert re.search(r"\d [ap]m UTC, owner token", words(owner.get("/office/held")))


def test_a_held_one_corrected_is_a_record(farm: Farm, owner: Client) -> None:
    sent = wet_sample(farm)
    (held_id,) = hold(farm, sent)
    path = f"/office/held/{held_id}"
    given = filled(owner, path)
    assert given["field-moisture_pct"] == "205"
    answer = owner.post(path, given | {"field-moisture_pct": "20,5,5"})
    assert answer.status_code == 422
    assert fields_of(answer)["field-moisture_pct"] == "20,5,5"
    given["field-taken_at"] = "2025-10-06 08:45"
    answer = owner.post(path, given | {"field-moisture_pct": "20,5"})
    assert answer["Location"] == "/office/held"
    assert "It is recorded now" in words(owner.get("/office/held"))
    sample = Sample.objects.get(pk=sent["record"]["id"])
    assert (sample.moisture_pct, sample.version) == (20.5, 1)
    assert sample.taken_at.isoformat() == "2025-10-06T13:45:00+00:00"
    assert sample.grain_temp_c == pytest.approx((50.5 - 32) / 1.8)
    entry = Mutation.objects.get(mutation_id=held_id)
    assert (entry.status, entry.settled_by) == ("applied", "ann")
    # Sent once more by somebody who still had the page.
    assert owner.post(path, given | {"field-moisture_pct": "20,5"}).status_code == 302
    assert Sample.objects.count() == 2


def test_what_is_missing_gets_a_field(farm: Farm, owner: Client) -> None:
    sent = wet_sample(farm)
    del sent["record"]["stage"]
    (held_id,) = hold(farm, sent)
    given = filled(owner, f"/office/held/{held_id}")
    assert given["field-stage"] == ""
    answer = owner.post(f"/office/held/{held_id}", given | {"field-stage": "hot", "field-moisture_pct": "15"})
    assert answer.status_code == 302
    assert Sample.objects.get(pk=sent["record"]["id"]).stage == "hot"


def test_what_is_no_record_is_corrected_as_text(farm: Farm, owner: Client) -> None:
    sent = mutation("readings", {}) | {"record": [1]}
    (held_id,) = hold(farm, sent)
    path = f"/office/held/{held_id}"
    for text in ("[2]", "{", "[" * 20_000):
        assert owner.post(path, {"record-text": text}).status_code == 422
    record = {"batch": str(farm["batches"].pk), "at": "2025-10-06T15:00:00Z", "plenum_temp_f": 170}
    assert owner.post(path, {"record-text": json.dumps(record)}).status_code == 302
    assert Reading.objects.count() == 2


def test_of_a_conflict_both_stand_beside_each_other(farm: Farm, owner: Client) -> None:
    sample = farm["samples"]
    harvest.samples.correct(farm.by, sample.pk, {"moisture_pct": 21.0})
    sent = mutation("samples", {"id": str(sample.pk), "moisture_pct": 19.0}, "update", base_version=1)
    (held_id,) = hold(farm, sent)
    assert "correction of a sample" in words(owner.get("/office/held?of=conflict")).lower()
    page = owner.get(f"/office/held/{held_id}")
    assert "Recorded now: 21" in words(page)
    assert owner.post(f"/office/held/{held_id}", fields_of(page)).status_code == 302
    sample.refresh_from_db()
    assert (sample.moisture_pct, sample.version) == (19.0, 3)


def test_a_held_one_is_given_up(farm: Farm, owner: Client) -> None:
    (held_id,) = hold(farm, wet_sample(farm))
    assert owner.post(f"/office/held/{held_id}/dismiss").status_code == 302
    assert "There is nothing here" in words(owner.get("/office/held"))
    told = words(owner.get(f"/office/held/{held_id}"))
    assert "It is given up. ann saw to it" in told


def test_who_may_settle_what_was_held(farm: Farm, owner: Client, stranger: Client) -> None:
    (held_id,) = hold(farm, wet_sample(farm))
    path = f"/office/held/{held_id}"
    for role in (Role.OPERATOR, Role.AUDITOR):
        client = signed_in(f"a-{role}", role=role)
        assert client.get("/office/held").status_code == client.get(path).status_code == 200
        assert client.post(path, {}).status_code == client.post(f"{path}/dismiss").status_code == 403
    customer = signed_in("lee", role=Role.CUSTOMER, of=farm["customers"])
    for client, status in ((customer, 403), (stranger, 404)):
        assert client.get(path).status_code == client.post(path, {}).status_code == status
        assert client.post(f"{path}/dismiss").status_code == status
    assert customer.get("/office/held").status_code == 403
    assert "sample" not in words(stranger.get("/office/held"))
    assert owner.get(f"/office/held/{new_id()}").status_code == 404
    assert Mutation.objects.get(mutation_id=held_id).status == "held"


def brought(client: Client, text: str | bytes = SHEET, **given: str) -> Any:
    raw = text if isinstance(text, bytes) else text.encode()
    fields = filled(client, "/office/sheets") | given
    return client.post("/office/sheets", fields | {"file": SimpleUploadedFile("farms.csv", raw)})


def test_a_sheet_is_tried_taken_in_and_told_of(farm: Farm, owner: Client) -> None:
    answer = brought(owner, kind="customers")
    path = answer["Location"]
    waiting = owner.get(path)
    assert "Waits for its turn: 0 of 2 rows" in words(waiting)
    assert "Refresh" not in waiting
    assert owner.get(f"{path}?follow=1")["Refresh"] == "3"
    take_imports_in()
    told = words(owner.get(f"{path}?follow=1"))
    assert "1 would be new" in told
    assert "1 row refused" in told
    assert Customer.objects.count() == 1
    answer = owner.post(f"{path}/take-in")
    take_imports_in()
    assert "Finished: 1 new" in words(owner.get(answer["Location"]))
    assert Customer.objects.filter(name="A farm", reference="1").count() == 1
    errors = owner.get(f"{path}/errors.csv")
    assert [row["row"] for row in csv.DictReader(io.StringIO(errors.content.decode()))] == ["3"]
    assert "farms.csv" in words(owner.get("/office/sheets"))


def test_what_a_sheet_leaves_open_is_asked_and_the_sheet_stays(farm: Farm, owner: Client) -> None:
    factories.site(farm.by, farm["customers"], name="East yard", timezone="America/Denver")
    header = "site,dryer,date,time,wet weight,odd,mass basis,crop"
    sheet = f"{header}\nHome place,Bin dryer,10/7/2025,7:00,55000,x,scale,corn\n"
    answer = brought(owner, sheet, kind="batches")
    assert answer.status_code == 422
    told = words(answer)
    assert "In which unit is" in told
    assert "Which field is" in told
    kept = fields_of(answer)
    page = answer.content.decode()
    columns = re.findall(r'name="column" value="([^"]*)"', page)
    assert columns == ["wet weight", "odd"]
    said = {"column": columns, "column-is": ["wet_mass_lb", ""]}
    answer = owner.post("/office/sheets", kept | said)
    told = words(answer)
    assert "Does the day or the month come first?" in told
    assert "In which time zone" in told
    answer = owner.post(
        "/office/sheets", fields_of(answer) | said | {"dates": "month_first", "timezone": "America/Chicago"}
    )
    assert answer.status_code == 302, words(answer)
    job = Import.objects.get()
    assert job.content == sheet
    assert job.options["columns"] == {"wet weight": "wet_mass_lb", "odd": ""}
    take_imports_in()
    job.refresh_from_db()
    assert (job.state, job.created) == ("done", 1), job.refused


@pytest.mark.parametrize("text", [b"", b"\x00\x01\x02", b"\xff\xfe\x00", b"only a header\n"])
def test_what_is_no_sheet_is_refused_in_words(text: bytes, farm: Farm, owner: Client) -> None:
    answer = brought(owner, text, kind="customers")
    assert answer.status_code == 422
    assert "Nothing is taken in yet" in words(answer)


def test_sheets_of_rubbish_forms(farm: Farm, owner: Client, settings: Any) -> None:
    for given in ({}, {"kind": "hay"}, {"kept": "%%%"}, {"timezone": "Mars"}, {"timezone": "../x"}, {"dates": "x"}):
        assert owner.post("/office/sheets", {"kind": "customers", "kept": ""} | given).status_code == 422
    settings.MAX_IMPORT_BYTES = 10
    assert "larger than" in words(brought(owner, kind="customers"))
    assert Import.objects.count() == 0


def test_who_may_bring_sheets(farm: Farm, owner: Client, stranger: Client) -> None:
    path = brought(owner, kind="customers")["Location"]
    operator, auditor = signed_in("olli", role=Role.OPERATOR), signed_in("audrey", role=Role.AUDITOR)
    customer = signed_in("lee", role=Role.CUSTOMER, of=farm["customers"])
    assert brought(operator, kind="customers").status_code == 422
    assert auditor.get("/office/sheets").status_code == auditor.get(path).status_code == 200
    assert auditor.post("/office/sheets", {"kind": "customers"}).status_code == 403
    assert customer.post("/office/sheets", {"kind": "customers"}).status_code == 403
    for client in (operator, auditor):
        assert client.post(f"{path}/take-in").status_code == 403
    for client in (customer, stranger):
        assert client.get(path).status_code == client.get(f"{path}/errors.csv").status_code == 404
        assert client.post(f"{path}/take-in").status_code == 404
        assert "farms.csv" not in words(client.get("/office/sheets"))
    assert Import.objects.count() == 1


def test_few_queries_however_much_there_is(farm: Farm, owner: Client) -> None:
    job = UUID(brought(owner, kind="customers")["Location"].rsplit("/", 1)[1])
    (held_id,) = hold(farm, wet_sample(farm))
    counts: list[list[int]] = []
    for more in (0, 5):
        for _ in range(more):
            hold(farm, wet_sample(farm))
            brought(owner, kind="customers")
        counts.append([])
        for path in ("/office/held", f"/office/held/{held_id}", "/office/sheets", f"/office/sheets/{job}"):
            with CaptureQueriesContext(connection) as seen:
                assert owner.get(path).status_code == 200
            counts[-1].append(len([each for each in seen if "SAVEPOINT" not in each["sql"]]))
    assert counts[0] == counts[1]
    assert max(counts[1]) <= MOST_QUERIES
