"""Walks every page with another organization's ids, and with the roles of one: a record of others is not there."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import get_resolver

from dryrecords.core.ids import new_id
from dryrecords.tenancy.access import Role
from dryrecords.tenancy.records import RecordQuerySet
from tests import factories
from tests.api.test_isolation import routes
from tests.factories import Farm
from tests.office.client import signed_in
from tests.office.routes import FORMS, OF_A_PERSON, OF_THE_EDGE, WITH_ID, WITHOUT_ID, path_of

pytestmark = pytest.mark.django_db

OURS = {address: view for address, view in routes(get_resolver().url_patterns) if address.startswith("office")}
KNOWN = WITHOUT_ID | {address: methods for address, (_, methods) in WITH_ID.items()} | OF_A_PERSON | OF_THE_EDGE
ROLES = [Role.OWNER, Role.OFFICE, Role.OPERATOR, Role.AUDITOR]


def ask(client: Client, method: str, path: str) -> int:
    return client.generic(method, path).status_code


def test_every_page_has_a_row() -> None:
    assert set(OURS) == set(KNOWN)


@pytest.mark.parametrize("address", sorted(KNOWN))
def test_every_method_has_a_row(address: str) -> None:
    view = OURS[address].view_class
    found = [name.upper() for name in ("get", "post", "put", "patch", "delete") if hasattr(view, name)]
    assert found == KNOWN[address]


def pages(farm: Farm) -> Iterator[tuple[str, str]]:
    """Every method of every page that names a record, with the farm's own."""
    for address, (name, methods) in WITH_ID.items():
        for method in methods:
            yield method, path_of(address, farm[name].pk)


def test_without_signing_in_there_is_only_the_form(farm: Farm) -> None:
    without_id = [(method, path_of(address)) for address, methods in WITHOUT_ID.items() for method in methods]
    for method, path in [*without_id, *pages(farm)]:
        answer = Client().generic(method, path)
        assert answer.status_code == 302, path
        assert answer["Location"].startswith("/office/sign-in"), path


@pytest.mark.parametrize("role", ROLES)
def test_ids_of_others(role: str, farm: Farm) -> None:
    """Not told apart from ids that nobody has, by any role."""
    stranger = signed_in("sam", owner=factories.organization("Another Invented Drying"), role=role)
    for method, path in pages(farm):
        assert ask(stranger, method, path) == 404, path
    for address, (_, methods) in WITH_ID.items():
        assert {ask(stranger, method, path_of(address, new_id())) for method in methods} == {404}


def test_ids_of_others_by_the_database_alone(farm: Farm, stranger: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(RecordQuerySet, "visible_to", lambda self, access: self.filter(deleted_at__isnull=True))
    for method, path in pages(farm):
        assert ask(stranger, method, path) == 404, path


@pytest.mark.parametrize("role", [Role.OWNER, Role.OPERATOR, Role.AUDITOR, Role.CUSTOMER])
def test_a_role_reads_every_page_and_has_the_forms_of_what_it_may_write(role: str, farm: Farm) -> None:
    client = signed_in("kim", role=role, of=farm["customers"] if role == Role.CUSTOMER else None)
    access = factories.access(role=role, of=farm["customers"] if role == Role.CUSTOMER else None)
    for address, methods in KNOWN.items():
        if address in OF_A_PERSON or address in OF_THE_EDGE:
            continue
        name = WITH_ID[address][0] if address in WITH_ID else "customers"
        if role == Role.CUSTOMER and name == "meters":
            continue
        may = address not in FORMS or access.may_write(FORMS[address])
        for method in methods:
            answer = ask(client, method, path_of(address, farm[name].pk))
            if method == "GET" or not may:
                assert answer == (200 if may else 403), (method, address)


def test_a_customer_sees_its_own(farm: Farm) -> None:
    own = signed_in("lee", role=Role.CUSTOMER, of=farm["customers"])
    neighbour = signed_in("max", role=Role.CUSTOMER, of=factories.customer(farm.by, name="South Field Farm"))
    for method, path in pages(farm):
        assert ask(neighbour, method, path) == 404, path
        # A meter is the organization's own.
        assert ("/meters/" in path) == (ask(own, method, path) == 404), path


def test_lists_hold_nothing_of_others(farm: Farm, stranger: Client, owner: Client) -> None:
    neighbour = signed_in("max", role=Role.CUSTOMER, of=factories.customer(farm.by, name="South Field Farm"))
    for path in ("/office", "/office/batches?season=2025", "/office/seasons/2025"):
        assert "Home place" in owner.get(path).content.decode()
        for other in (stranger, neighbour):
            assert "Home place" not in other.get(path).content.decode()
    for name, kind in (("site", "sites"), ("dryer", "dryers")):
        assert stranger.get(f"/office/batches?season=2025&{name}={farm[kind].pk}").status_code == 404
