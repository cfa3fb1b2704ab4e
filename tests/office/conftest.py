"""A farm with one record of everything, and people of its organization and of another."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from tests import factories
from tests.factories import Farm
from tests.office.client import signed_in


@pytest.fixture(autouse=True)
def _passwords_are_looked_at_quickly(settings: Any) -> None:
    """What makes them slow to guess would take most of the time of these tests."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def farm(db: None) -> Farm:
    return factories.farm()


@pytest.fixture
def owner(farm: Farm) -> Client:
    return signed_in("ann")


@pytest.fixture
def stranger(farm: Farm) -> Client:
    return signed_in("sam", owner=factories.organization("Another Invented Drying"))
