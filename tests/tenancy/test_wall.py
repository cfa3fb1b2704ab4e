"""The second wall: with the scope in Python gone, the database still answers nothing of another organization."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth import get_user_model
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.test import Client as Browser

from api import paging
from api.tasks import try_held
from dryrecords.core import clock
from dryrecords.equipment.models import Dryer
from dryrecords.harvest.models import Batch, Sample
from dryrecords.journal import stale
from dryrecords.journal.models import Change, GivenAnswer, StaleMark
from dryrecords.season import services as season
from dryrecords.season.models import BatchResult
from dryrecords.season.tasks import forget_answers
from dryrecords.tenancy import scope
from dryrecords.tenancy.models import Customer, Site, Token
from dryrecords.tenancy.records import RecordQuerySet
from dryrecords.tenancy.services import access_of_token
from tests import factories as make
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.offline import mutation, push
from tests.api.test_isolation import NAMES, REFERENCES, WITH_ID, id_in, path_of
from tests.factories import Farm
from tests.plain_role import ROLE

pytestmark = [pytest.mark.django_db, pytest.mark.services]

STRANGERS = "Another Invented Drying"


def rows_of(sql: str, *parameters: Any) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return cursor.fetchall()


def tables() -> list[str]:
    """Every table with an organization, whatever models there are."""
    return [
        name
        for (name,) in rows_of(
            "SELECT c.relname FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid"
            " WHERE c.relkind IN ('r', 'p') AND a.attname = 'organization_id' AND NOT a.attisdropped"
            " AND c.relnamespace = current_schema()::regnamespace ORDER BY 1"
        )
    ]


@pytest.fixture
def farm() -> Farm:
    return make.farm()


@pytest.fixture
def stranger(farm: Farm) -> Client:
    return Client(make.token(make.organization(STRANGERS)))


@pytest.fixture
def no_scope_in_python(farm: Farm, stranger: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(RecordQuerySet, "visible_to", lambda self, access: self.filter(deleted_at__isnull=True))
    monkeypatch.setattr(RecordQuerySet, "ever_visible_to", lambda self, access: self.all())


def test_every_table_with_an_organization_is_behind_the_wall() -> None:
    found = rows_of(
        "SELECT c.relname FROM pg_class c JOIN pg_policy p ON p.polrelid = c.oid AND p.polname = 'wall'"
        " WHERE c.relrowsecurity AND c.relforcerowsecurity AND p.polcmd = '*' AND p.polroles = '{0}'"
        " AND pg_get_expr(p.polqual, p.polrelid) LIKE '(organization_id = ANY (%%' ORDER BY 1"
    )
    assert [name for (name,) in found] == tables()
    assert len(tables()) >= 24


def test_few_policies_open_the_wall_and_each_is_known() -> None:
    found = rows_of("SELECT tablename, policyname, cmd FROM pg_policies WHERE policyname <> 'wall' ORDER BY 1, 2")
    assert found == [
        ("journal_stalemark", "sweep_claim", "UPDATE"),
        ("journal_stalemark", "sweep_look", "SELECT"),
        ("tenancy_membership", "person", "SELECT"),
        ("tenancy_token", "holder", "SELECT"),
    ]


@pytest.mark.usefixtures("no_scope_in_python")
@pytest.mark.parametrize("address", sorted(WITH_ID))
def test_ids_of_others_in_paths(address: str, farm: Farm, stranger: Client) -> None:
    name, methods = WITH_ID[address]
    asked = id_in(farm, name)
    for method in methods:
        assert stranger.send(method, path_of(address, asked), {}).status_code == 404, method


@pytest.mark.usefixtures("no_scope_in_python")
@pytest.mark.parametrize("name", NAMES)
def test_lists(name: str, stranger: Client) -> None:
    assert stranger.get(name).json()["results"] == []


@pytest.mark.usefixtures("no_scope_in_python")
def test_seasons_and_changes(farm: Farm, stranger: Client) -> None:
    season.work_off()
    assert stranger.get("seasons/2025").json()["batches"] == 0
    assert stranger.get("sync/changes").json()["changes"] == []


@pytest.mark.parametrize(("name", "field"), REFERENCES)
def test_ids_of_others_in_bodies(name: str, field: str, farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    own = make.farm(make.access(make.organization(STRANGERS)))
    body = bodies(own)[name]
    monkeypatch.setattr(RecordQuerySet, "visible_to", lambda self, access: self.filter(deleted_at__isnull=True))
    change = {field: str(farm[f"{field}es" if field == "batch" else f"{field}s"].pk)}
    other_parent = (
        {"bin": "batch", "ticket": "batch", "site": "dryer"}.get(field)
        if name in ("samples", "power-readings")
        else None
    )
    change |= {other_parent: None} if other_parent else {}
    stranger = Client(make.token(make.organization(STRANGERS)))
    answer = stranger.post(name, body | change)
    assert [each["code"] for each in answer.json()["errors"]] == ["unknown_reference"]


@pytest.mark.usefixtures("no_scope_in_python")
def test_without_the_wall_these_tests_would_fail(farm: Farm, stranger: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    """The scope in Python is gone indeed: to a role that no policy holds the records of others are shown."""
    monkeypatch.setattr(settings, "SCOPE_ROLE", "")
    for name in NAMES:
        assert stranger.get(f"{name}/{farm[name].pk}").status_code == 200
        assert len(stranger.get(name).json()["results"]) == 1


@pytest.mark.usefixtures("plain")
def test_where_nothing_was_said_there_is_nothing(farm: Farm) -> None:
    for table in tables():
        assert rows_of(f"SELECT count(*) FROM {table}") == [(0,)], table
    with scope.organization(farm.by.organization_id):
        assert Batch.objects.count() == 1
        assert Change.objects.count() == len(farm.records)
    assert Batch.objects.count() == 0


@pytest.mark.usefixtures("plain")
def test_nothing_can_be_written_for_others_or_given_to_them(farm: Farm) -> None:
    strangers = make.organization(STRANGERS)
    with scope.organization(strangers.pk):
        assert Site.objects.update(name="Mine now") == 0
        stamp = {"created_at": clock.now(), "updated_at": clock.now()}
        row = Customer(organization_id=farm.by.organization_id, name="C", **stamp)
        refused(lambda: Customer.objects.bulk_create([row]))
    with scope.organization(farm.by.organization_id):
        refused(lambda: Customer.objects.update(organization_id=strangers.pk))
        refused(lambda: stale.raise_marks(strangers.pk, [stale.Mark("batch", "1")]))


def refused(write: Any) -> None:
    with pytest.raises(DatabaseError, match="row-level security"), transaction.atomic():
        write()


@pytest.mark.usefixtures("plain")
def test_the_sweep_sees_what_is_stale_and_nothing_else() -> None:
    with scope.sweep():
        assert StaleMark.objects.count() > 0
        assert {table for table in tables() if rows_of(f"SELECT count(*) FROM {table}") != [(0,)]} == {
            "journal_stalemark"
        }
        refused(lambda: stale.raise_marks(make.organization().pk, [stale.Mark("batch", "1")]))
        assert StaleMark.objects.all().delete()[0] == 0


def test_a_token_is_found_by_whoever_has_it_and_by_nobody_else(farm: Farm) -> None:
    text = make.token(make.organization(STRANGERS))
    with connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL ROLE {ROLE}")
    assert access_of_token("x") is None
    found = access_of_token(text)
    assert found is not None
    assert found.organization_id == make.organization(STRANGERS).pk
    assert Token.objects.count() == 0
    with scope.organization(found.organization_id):
        assert Token.objects.get().last_used_at is not None


@pytest.mark.parametrize("within", [scope.sweep, scope.operator, lambda: scope.organization(make.organization().pk)])
def test_a_scope_is_over_when_it_is_over(within: Any, farm: Farm) -> None:
    for inner in (nullcontext, scope.sweep):
        before = said()
        with within(), inner():
            assert said() != before
        assert said() == before
    with pytest.raises(ZeroDivisionError), within(), transaction.atomic():
        raise ZeroDivisionError
    assert said() == before


def test_a_scope_inside_a_scope(farm: Farm) -> None:
    own, strangers = make.organization(), make.organization(STRANGERS)
    with scope.organization(own.pk):
        with scope.organization(strangers.pk):
            assert Dryer.objects.count() == 0
        assert Dryer.objects.count() == 1


def said() -> list[tuple[Any, ...]]:
    return rows_of(scope._SAID)


@pytest.mark.django_db(transaction=True)
def test_nothing_is_left_on_the_connection() -> None:
    """Which stays open from one request to the next; the requests of two organizations take turns on it."""
    farm, strangers = make.farm(), make.organization(STRANGERS)
    clean = said()
    clients = [Client(make.token(make.organization())), Client(make.token(strangers))]
    for _ in range(3):
        for client, count in zip(clients, (1, 0), strict=True):
            assert len(client.get("batches").json()["results"]) == count
            assert client.post("customers", {"name": ""}).status_code == 422
            assert client.post("customers", {"name": "C"}).status_code == 201
            assert said() == clean
    assert clients[1].get(f"batches/{farm['batches'].pk}").status_code == 404
    # Each statement outside a transaction and each transaction is told anew.
    with scope.organization(strangers.pk):
        assert Customer.objects.count() == 3
        with transaction.atomic():
            assert Customer.objects.count() == 3
        assert Batch.objects.count() == 0
    assert said() == clean


@pytest.mark.usefixtures("plain")
def test_work_and_chores_of_all_organizations_find_their_own_way(farm: Farm) -> None:
    strangers = make.organization(STRANGERS)
    with scope.organization(strangers.pk):
        make.farm(make.access(strangers))
    assert call_metrics() > 0
    season.work_off()
    # Dryers wait to be learned.
    assert call_metrics() == 2
    for organization in (make.organization(), strangers):
        with scope.organization(organization.pk):
            assert BatchResult.objects.count() == 1
            old = clock.now() - timedelta(days=100)
            GivenAnswer.objects.create(organization_id=organization.pk, key="k", fingerprint="", given_at=old)
    assert season.rebuild() == 2
    call_command("rebuild_results", verbosity=0)
    assert season.all_failures() == []
    forget_answers()
    with scope.operator():
        assert BatchResult.objects.count() == 2
        assert GivenAnswer.objects.count() == 0


def test_what_was_held_is_found_in_every_organization(farm: Farm) -> None:
    office = Client(make.token(make.organization()))
    batch = mutation("batches", bodies(farm)["batches"])
    sample = mutation("samples", bodies(farm)["samples"] | {"batch": batch["record"]["id"]})
    assert push(office, sample)[0]["status"] == "held"
    make.batch(farm.by, farm["dryers"], id=batch["record"]["id"])
    with connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL ROLE {ROLE}")
    try_held()
    with scope.organization(farm.by.organization_id):
        assert Sample.objects.filter(pk=sample["record"]["id"]).exists()


def call_metrics() -> float:
    told = Browser().get("/metrics").content.decode()
    return float(next(line.split()[1] for line in told.splitlines() if line.startswith("dryrecords_stale_marks ")))


@pytest.mark.usefixtures("plain")
def test_tokens_are_issued_at_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("issue_token", organization="New", role="customer", customer="C", device="phone", create=True)
    found = access_of_token(capsys.readouterr().out.strip())
    assert found is not None
    assert found.customer_id is not None


@pytest.mark.usefixtures("plain")
def test_the_operator_sees_all_in_the_admin_once_signed_in(farm: Farm) -> None:
    strangers = make.organization(STRANGERS)
    with scope.organization(strangers.pk):
        make.farm(make.access(strangers))
    browser = Browser()
    assert browser.get("/admin/harvest/batch/").status_code == 302
    user = get_user_model().objects.create_superuser("operator", password="long enough for this")
    browser.force_login(user)
    for page in ("harvest/batch", "tenancy/token", "journal/change", "journal/stalemark"):
        shown = browser.get(f"/admin/{page}/").content.decode()
        assert shown.count('<th class="field-') >= 2, page
    assert Batch.objects.count() == 0


@pytest.mark.parametrize(
    ("within", "condition"),
    [
        (lambda: scope.organization(make.organization().pk), "Index Cond: (organization_id = ANY ("),
        (scope.operator, "Index Cond: (organization_id = ANY ("),
    ],
)
def test_an_index_serves_the_wall(within: Any, condition: str, farm: Farm) -> None:
    held: AbstractContextManager[None] = within()
    with held, connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
        plan = "\n".join(line for (line,) in rows_of("EXPLAIN SELECT * FROM harvest_batch ORDER BY started_at"))
        cursor.execute("SET LOCAL enable_seqscan = on")
    assert condition in plan, plan


@pytest.mark.usefixtures("plain")
def test_a_list_that_is_streamed_is_whole(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its later pages are read when the request is over."""
    monkeypatch.setattr(paging, "ROWS_AT_A_TIME", 2)
    with scope.organization(farm.by.organization_id):
        for n in range(4):
            make.customer(farm.by, name=f"Farm {n}")
        office = Client(make.token(make.organization()))
    assert office.get("customers?format=csv").getvalue().count(b"\r\n") == 1 + 5
    assert Customer.objects.count() == 0
