"""A farm with one record of everything, and clients that speak for its roles."""

from __future__ import annotations

import pytest

from tests import factories
from tests.api.client import Client
from tests.factories import Farm


@pytest.fixture
def farm(db: None) -> Farm:
    return factories.farm()


@pytest.fixture
def office(farm: Farm) -> Client:
    """Somebody who may do everything in the farm's organization."""
    return Client(factories.token(factories.organization()))


@pytest.fixture
def stranger(farm: Farm) -> Client:
    """The same of another organization."""
    return Client(factories.token(factories.organization("Another Invented Drying")))
