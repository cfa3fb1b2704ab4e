"""Signing in: with a password that is counted, into one's own organizations and no others."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from dryrecords.core.errors import Conflict, Invalid
from dryrecords.tenancy import scope, sign_in
from dryrecords.tenancy.access import Role
from dryrecords.tenancy.models import Membership, SignIn
from dryrecords.tenancy.people import memberships_of, person_add
from tests import factories
from tests.factories import Farm
from tests.office.client import PASSWORD, person, signed_in

pytestmark = pytest.mark.django_db

BOARD, SIGN_IN = "/office", "/office/sign-in"


def give(client: Client, name: str = "ann", password: str = PASSWORD, **more: str) -> int:
    return client.post(SIGN_IN, {"username": name, "password": password, **more}).status_code


def test_a_page_sends_to_the_form_and_back() -> None:
    person()
    client = Client()
    sent = client.get("/office/seasons/2025?x=1")
    assert sent["Location"] == f"{SIGN_IN}?next=%2Foffice%2Fseasons%2F2025%3Fx%3D1"
    assert b'value="/office/seasons/2025?x=1"' in client.get(sent["Location"]).content
    answer = client.post(SIGN_IN, {"username": "ann", "password": PASSWORD, "next": "/office/seasons/2025?x=1"})
    assert answer["Location"] == "/office/seasons/2025?x=1"
    assert client.get(BOARD).status_code == 200
    assert client.post("/office/sign-out").status_code == 302
    assert client.get(BOARD).status_code == 302


@pytest.mark.parametrize("elsewhere", ["https://example.org/", "//example.org", "javascript:alert(1)"])
def test_nobody_is_sent_elsewhere(elsewhere: str) -> None:
    person()
    answer = Client().post(SIGN_IN, {"username": "ann", "password": PASSWORD, "next": elsewhere})
    assert answer["Location"] == BOARD


def test_wrong_passwords_are_counted_and_right_ones_are_not() -> None:
    person()
    for _ in range(sign_in.OF_ADDRESS):
        assert give(Client()) == 302
        assert give(Client(), password="wrong") == 422
    refused = Client().post(SIGN_IN, {"username": "ann", "password": PASSWORD})
    assert (refused.status_code, refused["Retry-After"]) == (429, "900")
    assert SignIn.objects.count() == sign_in.OF_ADDRESS


def test_forms_need_their_token() -> None:
    person()
    client = Client(enforce_csrf_checks=True)
    answer = client.post(SIGN_IN, {"username": "ann", "password": PASSWORD})
    assert answer.status_code == 403
    assert b"<h1>Forbidden</h1>" in answer.content


@pytest.mark.parametrize("address", ["/office/", "/office/nowhere", "/office/sites/1"])
def test_what_is_nowhere_is_a_page_below_office_and_a_problem_elsewhere(address: str) -> None:
    for client in (Client(), signed_in()):
        answer = client.get(address)
        assert (answer.status_code, answer["Content-Type"]) == (404, "text/html; charset=utf-8")
        assert b"<h1>Not Found</h1>" in answer.content
    assert Client().get("/officer")["Content-Type"] == "application/problem+json"


def test_what_fails_is_a_page_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dryrecords.office.board.selectors.board", lambda *_: 1 / 0)
    answer = signed_in().get(BOARD, headers={"X-Request-ID": "find-me"})
    assert answer.status_code == 500
    assert b"find-me" in answer.content
    assert "default-src 'none'" in answer["Content-Security-Policy"]


def test_what_a_browser_may_do_with_a_page() -> None:
    for answer in (Client().get(SIGN_IN), signed_in().get(BOARD), signed_in("bob").get("/office/nowhere")):
        assert "default-src 'none'" in answer["Content-Security-Policy"]
        assert "unsafe" not in answer["Content-Security-Policy"]
        assert answer["Cache-Control"] == "private, no-store"
        assert answer["X-Frame-Options"] == "DENY"
        assert answer["X-Content-Type-Options"] == "nosniff"


def test_a_person_of_several_organizations_chooses_one() -> None:
    both = [factories.organization("East Drying"), factories.organization("West Drying")]
    client = signed_in("ann", owner=both[0], role=Role.AUDITOR)
    person_add(organization=both[1], role=Role.OWNER, name="ann")
    assert client.get(BOARD)["Location"] == reverse("office:organizations")
    choice = client.get("/office/organizations").content.decode()
    assert choice.index("East Drying") < choice.index("West Drying")
    for each, role in zip(both, ("auditor", "owner"), strict=True):
        assert client.post("/office/organizations", {"organization": str(each.pk)}).status_code == 302
        page = client.get(BOARD).content.decode()
        assert each.name in page
        assert f"ann, {role}" in page


def test_nobody_chooses_an_organization_of_others(farm: Farm, stranger: Client) -> None:
    for organization_id in (str(farm.by.organization_id), "nonsense"):
        answer = stranger.post("/office/organizations", {"organization": organization_id})
        assert answer.status_code == 404
    assert "Another Invented Drying" in stranger.get(BOARD).content.decode()


def test_who_is_put_out_is_out_at_once() -> None:
    client = signed_in()
    assert client.get(BOARD).status_code == 200
    Membership.objects.all().delete()
    assert client.get(BOARD)["Location"] == reverse("office:organizations")
    assert "belongs to no organization" in client.get("/office/organizations").content.decode()


@pytest.fixture
def behind_the_wall() -> Iterator[None]:
    """As the plain role, with no organization named."""
    with scope.sweep():
        yield


def test_behind_the_wall_a_person_finds_its_own_memberships_alone(behind_the_wall: None) -> None:
    with scope.operator():
        ann, bob = person("ann"), person("bob", factories.organization("Another Invented Drying"))
    assert [each.user_id for each in memberships_of(ann)] == [ann.pk]
    assert [each.user_id for each in memberships_of(bob)] == [bob.pk]
    assert Membership.objects.count() == 0


def test_a_new_password_ends_other_sessions() -> None:
    here, elsewhere = Client(), Client()
    person()
    assert give(here) == give(elsewhere) == 302
    new = {"old_password": PASSWORD, "new_password1": "another invented one", "new_password2": "another invented one"}
    assert here.post("/office/password", new | {"new_password2": "x"}).status_code == 422
    assert here.post("/office/password", new).status_code == 302
    assert here.get(BOARD).status_code == 200
    assert elsewhere.get(BOARD).status_code == 302


def run(*arguments: str) -> str:
    out = io.StringIO()
    call_command("add_person", *arguments, stdout=out, stderr=io.StringIO())
    return out.getvalue().strip()


def test_the_command_lets_somebody_in() -> None:
    told = run("--organization", "New Drying", "--role", "office", "--user", "kim", "--create", "--generate")
    assert len(told) >= 12
    client = Client()
    assert give(client, "kim", told) == 302
    assert "New Drying" in client.get(BOARD).content.decode()
    # Into another organization with the account that is there.
    assert run("--organization", "East Drying", "--role", "owner", "--user", "kim", "--create", "--generate") == ""
    with pytest.raises(CommandError, match="already"):
        run("--organization", "East Drying", "--role", "owner", "--user", "kim", "--generate")
    with pytest.raises(CommandError, match="no organization"):
        run("--organization", "Unheard-of Drying", "--role", "owner", "--user", "kim", "--generate")


def test_customers_and_passwords_are_checked(farm: Farm) -> None:
    there = factories.organization()
    with pytest.raises(Invalid, match="role customer"):
        person_add(organization=there, role=Role.CUSTOMER, name="kim")
    with pytest.raises(Invalid, match="too short"):
        person_add(organization=there, role=Role.OWNER, name="kim", password="short")
    person_add(organization=there, role=Role.CUSTOMER, name="kim", customer=farm["customers"])
    with pytest.raises(Conflict):
        person_add(organization=there, role=Role.OWNER, name="kim")
