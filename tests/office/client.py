"""Somebody signed in at the office pages."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import User
from django.test import Client

from dryrecords.tenancy.access import Role
from dryrecords.tenancy.models import Customer, Organization
from dryrecords.tenancy.people import person_add
from tests import factories

PASSWORD = "an invented long one"


def person(
    name: str = "ann", owner: Organization | None = None, role: str = Role.OWNER, of: Customer | None = None
) -> User:
    person_add(organization=owner or factories.organization(), role=role, name=name, customer=of, password=PASSWORD)
    return User.objects.get(username=name)


def signed_in(name: str = "ann", **values: Any) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(person(name, **values))
    return client
