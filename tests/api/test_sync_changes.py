"""The change feed: everything once and in order, from any place on, and only what one may see."""

from __future__ import annotations

import base64
import random
import threading
import time
from typing import Any

import orjson
import pytest
from django.core.management import call_command
from django.db import connection, transaction

from api.root import RESOURCES
from dryrecords.core.ids import new_id
from dryrecords.harvest import services as harvest
from dryrecords.journal.models import Change
from dryrecords.tenancy import services as tenancy
from dryrecords.tenancy.access import Role
from tests import factories
from tests.api.client import Client
from tests.api.test_problems import problem
from tests.api.test_query_counts import queries
from tests.factories import Farm
from tests.threads import in_threads


def follow(client: Client, cursor: str | None = None, limit: int = 1000) -> tuple[list[Any], str]:
    """Everything there is, page by page, and where to go on."""
    changes: list[Any] = []
    for _ in range(1000):
        place = f"&cursor={cursor}" if cursor else ""
        page = client.get(f"sync/changes?limit={limit}{place}").json()
        assert len(page["changes"]) <= limit
        changes += page["changes"]
        cursor = page["cursor"]
        if not page["more"]:
            return changes, cursor
    raise AssertionError("The feed has no end.")


def replay(changes: list[Any]) -> dict[str, Any]:
    """What a device holds that has followed the feed."""
    held: dict[str, Any] = {}
    for change in changes:
        if change["op"] == "delete":
            held.pop(change["id"], None)
        else:
            held[change["id"]] = change["record"]
    return held


def lists(client: Client) -> dict[str, Any]:
    return {
        row["id"]: row for resource in RESOURCES for row in client.get(f"{resource.name}?limit=1000").json()["results"]
    }


def customer_client(of: Any) -> Client:
    return Client(factories.token(factories.organization(), Role.CUSTOMER, of))


def test_first_sync_gives_what_the_lists_give_parents_first(farm: Farm, office: Client) -> None:
    changes, _ = follow(office)
    assert replay(changes) == lists(office)
    assert {change["op"] for change in changes} == {"create"}
    assert [change["resource"] for change in changes] == list(farm.records)
    assert all(change["id"] == change["record"]["id"] for change in changes)


@pytest.mark.parametrize("limit", [1, 4, 5000])
def test_pages_of_any_size_give_the_same(limit: int, farm: Farm, office: Client) -> None:
    assert follow(office, limit=limit)[0] == follow(office)[0]
    customer = customer_client(farm["customers"])
    assert follow(customer, limit=limit)[0] == follow(customer)[0]


def test_a_cursor_goes_on_where_it_was(farm: Farm, office: Client) -> None:
    _, cursor = follow(office)
    assert follow(office, cursor) == ([], cursor)
    path = f"batches/{farm['batches'].pk}"
    office.patch(path, {"note": "wind"})
    patched = office.get(path).json()
    office.delete(path)
    office.post(f"{path}/restore", None)
    changes, later = follow(office, cursor)
    told = [(c["resource"], c["op"], c["version"]) for c in changes]
    assert told[0] == ("batches", "update", 2)
    assert sorted(told[1:4]) == [("batches", "delete", 3), ("readings", "delete", 2), ("samples", "delete", 2)]
    assert sorted(told[4:]) == [("batches", "create", 4), ("readings", "create", 3), ("samples", "create", 3)]
    assert changes[0]["record"] == patched
    assert [c["record"] for c in changes[1:4]] == [None] * 3
    assert replay(follow(office)[0]) == lists(office)
    # Years later the old cursor still leads there.
    assert follow(office, cursor) == (changes, later)


def test_times_and_numbers_read_as_in_the_lists(farm: Farm, office: Client) -> None:
    """Part seconds, whole numbers where a column holds doubles, prices with many digits."""
    batch = str(farm["batches"].pk)
    office.post("readings", {"batch": batch, "at": "2025-10-06T08:00:00.5-05:00", "plenum_temp_f": 212})
    office.post("samples", {"batch": batch, "stage": "wet", "taken_at": "2025-10-06T13:00:00Z", "moisture_pct": 20})
    office.post("prices", {"kind": "diesel", "effective_from": "2025-08-01T00:00:00Z", "unit_price_usd": "0.000001"})
    office.post("prices", {"kind": "diesel", "effective_from": "2025-08-01T00:00:00Z", "unit_price_usd": 123456.654321})
    assert replay(follow(office)[0]) == lists(office)
    # The same bytes, too.
    raw = orjson.dumps(office.get("samples").json()["results"][0])
    assert raw in office.get("sync/changes").content


@pytest.mark.parametrize("role", [Role.OPERATOR, Role.AUDITOR])
def test_who_reads_everything_gets_everything(role: str, farm: Farm, office: Client) -> None:
    reader = Client(factories.token(factories.organization(), role))
    assert follow(reader)[0] == follow(office)[0]


def test_a_stranger_gets_nothing(farm: Farm, office: Client, stranger: Client) -> None:
    assert follow(stranger)[0] == []
    _, cursor = follow(office)
    problem(stranger.get(f"sync/changes?cursor={cursor}"), 410)


def test_a_customer_gets_its_own(farm: Farm, office: Client) -> None:
    other = factories.customer(farm.by, name="Neighbour")
    factories.price(farm.by)
    mine, cursor = follow(customer_client(farm["customers"]))
    assert replay(mine) == lists(customer_client(farm["customers"]))
    assert {change["resource"] for change in mine} == set(farm.records) - {"meters", "schedules"}
    assert [change["id"] for change in follow(customer_client(other))[0]] == [str(other.pk)]
    office.delete(f"batches/{farm['batches'].pk}")
    later, _ = follow(customer_client(farm["customers"]), cursor)
    assert {(c["resource"], c["op"]) for c in later} == {(n, "delete") for n in ("batches", "readings", "samples")}
    assert follow(customer_client(other), limit=1)[0][0]["id"] == str(other.pk)


def test_a_rate_for_all_reaches_every_customer_and_leaves_every_one(farm: Farm, office: Client) -> None:
    other = customer_client(factories.customer(farm.by, name="Neighbour"))
    _, cursor = follow(other)
    rate = factories.rate(farm.by)
    came, cursor = follow(other, cursor)
    assert [(change["id"], change["op"]) for change in came] == [(str(rate.pk), "create")]
    office.delete(f"rates/{rate.pk}")
    assert [(change["id"], change["op"]) for change in follow(other, cursor)[0]] == [(str(rate.pk), "delete")]


@pytest.mark.parametrize(
    ("resource", "moved"),
    [
        ("batches", {"batches", "readings", "samples"}),
        ("lots", {"lots", "batches", "readings", "samples"}),
        ("sites", {"sites", "tanks", "dryers", "bins", "prices"}),
        ("dryers", {"dryers", "power-readings"}),
        ("tanks", {"tanks", "fuel-readings", "fuel-deliveries"}),
    ],
)
def test_what_changes_hands_leaves_one_and_reaches_the_other(resource: str, moved: set[str], farm: Farm) -> None:
    """With everything that goes along, removed records too, whether the devices ask before and after or only after."""
    office = Client(factories.token(factories.organization()))
    other = factories.customer(farm.by, name="Neighbour")
    place = factories.site(farm.by, other)
    gone = factories.sample(farm.by, farm["batches"])
    new_parent = {
        "batches": {"lot": str(factories.lot(farm.by, other).pk)},
        "lots": {"customer": str(other.pk)},
        "sites": {"customer": str(other.pk)},
        "dryers": {"site": str(place.pk)},
        "tanks": {"site": str(place.pk)},
    }[resource]
    was, is_now = customer_client(farm["customers"]), customer_client(other)
    before, cursor = follow(was)
    before_of_other, cursor_of_other = follow(is_now)
    harvest.samples.remove(farm.by, gone.pk)
    assert office.patch(f"{resource}/{farm[resource].pk}", new_parent).status_code == 200

    later, _ = follow(was, cursor)
    arrived, _ = follow(is_now, cursor_of_other)
    assert replay(before + later) == lists(was)
    assert replay(follow(is_now)[0]) == lists(is_now)
    left = {change["resource"] for change in later if change["op"] == "delete" and change["id"] != str(gone.pk)}
    assert left >= moved
    assert {change["resource"] for change in arrived if change["op"] != "delete"} >= moved
    # Somebody whose grain it never was learns nothing.
    third = customer_client(factories.customer(farm.by, name="Third"))
    assert len(follow(third)[0]) == 1
    # And it may come back.
    back = {name: str(getattr(farm[resource], f"{name}_id")) for name in new_parent}
    office.patch(f"{resource}/{farm[resource].pk}", back)
    assert replay(before + follow(was, cursor)[0]) == lists(was)
    assert replay(before_of_other + follow(is_now, cursor_of_other)[0]) == lists(is_now)


def test_a_customer_never_gets_what_was_written_for_another(farm: Farm, office: Client) -> None:
    path = f"batches/{farm['batches'].pk}"
    office.patch(path, {"note": "for the first customer only"})
    other = factories.customer(farm.by, name="Neighbour")
    office.patch(path, {"note": "", "lot": str(factories.lot(farm.by, other).pk)})
    answer = customer_client(other).get("sync/changes").content.decode()
    assert farm["batches"].pk.hex[:8] in answer
    assert "first customer" not in answer


def test_a_customer_among_many_gets_through(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages may be empty while others' changes are passed over, but they lead on."""
    monkeypatch.setattr("api.changes.WINDOW", 3)
    monkeypatch.setattr("api.changes.WINDOWS", 2)
    other = factories.customer(farm.by, name="Neighbour")
    tenancy.customers.create_many(farm.by, [{"name": "n"} for _ in range(20)])
    client = customer_client(other)
    first = client.get("sync/changes").json()
    assert (first["changes"], first["more"]) == ([], True)
    for limit in (1, 7):
        assert [change["id"] for change in follow(client, limit=limit)[0]] == [str(other.pk)]


def test_a_new_epoch_ends_every_cursor(farm: Farm, office: Client) -> None:
    changes, cursor = follow(office)
    call_command("new_epoch")
    refused = problem(office.get(f"sync/changes?cursor={cursor}"), 410)
    assert refused["type"] == "urn:dryrecords:problem:cursor_gone"
    again, new = follow(office)
    assert (again, new == cursor) == (changes, False)


def test_a_cursor_from_a_time_that_was_lost(farm: Farm, office: Client) -> None:
    """Set back to a backup, and nobody began a new epoch: at least what is counted beyond is refused."""
    _, cursor = follow(office)
    epoch, sight, number = orjson.loads(base64.urlsafe_b64decode(cursor + "=="))
    for ahead in (number + 1, 2**70):
        beyond = base64.urlsafe_b64encode(orjson.dumps([epoch, sight, min(ahead, 2**63)])).decode().rstrip("=")
        problem(office.get(f"sync/changes?cursor={beyond}"), 410)


@pytest.mark.parametrize("cursor", ["x", "%00", "bnVsbA", "WzEsMl0", "WyIiLCIiLC0xXQ", "WyIiLCIiLCIxIl0", "e30"])
def test_a_cursor_that_is_none(cursor: str, office: Client) -> None:
    assert problem(office.get(f"sync/changes?cursor={cursor}"), 422)


@pytest.mark.parametrize("limit", ["0", "5001", "x"])
def test_a_limit_that_is_none(limit: str, office: Client) -> None:
    problem(office.get(f"sync/changes?limit={limit}"), 422)


def test_a_page_costs_the_same_for_any_length(farm: Farm, office: Client) -> None:
    follow(office)
    for count in (0, 50):
        tenancy.customers.create_many(farm.by, [{"name": "n"} for _ in range(count)])
        # The epoch and the page.
        with queries(2):
            office.get("sync/changes?limit=5000")


@pytest.mark.django_db(transaction=True)
def test_no_row_is_skipped_that_a_sequence_would_skip() -> None:
    """8 writers that take their time between writing and committing, and a reader that follows them.

    Beside the feed the reader follows a table with a sequence by the largest number it has seen, as is often done.
    """
    random.seed(20251006)
    by = factories.access()
    client = Client(factories.token(factories.organization()))
    writers, rounds = 8, 30
    by_sequence: set[Any] = set()
    by_feed: list[Any] = []
    writing = threading.Event()
    writing.set()

    def write(_: int) -> None:
        for _ in range(rounds):
            row = {"id": new_id(), "name": "n"}
            with transaction.atomic():
                with connection.cursor() as cursor:
                    cursor.execute("INSERT INTO naive (id) VALUES (%s)", [row["id"]])
                time.sleep(random.uniform(0, 0.012))
                tenancy.customers.create(by, row)

    def read() -> None:
        sequence, place, last_round = 0, None, False
        while not last_round:
            last_round = not writing.is_set()
            with connection.cursor() as cursor:
                cursor.execute("SELECT sequence, id FROM naive WHERE sequence > %s ORDER BY sequence", [sequence])
                rows = cursor.fetchall()
            by_sequence.update(id for _, id in rows)
            sequence = rows[-1][0] if rows else sequence
            changes, place = follow(client, place, limit=7)
            by_feed.extend(change["id"] for change in changes)

    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE naive (sequence bigserial, id uuid)")
    try:
        with in_threads(read):
            with in_threads(write, *range(writers)):
                pass
            writing.clear()
    finally:
        with connection.cursor() as cursor:
            cursor.execute("DROP TABLE naive")
    written = [str(id) for id in Change.objects.order_by("number").values_list("record_id", flat=True)]
    assert len(written) == writers * rounds
    assert by_feed == written
    assert len(by_sequence) < writers * rounds
