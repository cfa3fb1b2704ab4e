"""Neither tokens nor what somebody recorded reaches a log, whatever goes wrong."""

from __future__ import annotations

import logging
import os
from pathlib import Path
from typing import Any

import pytest

from dryrecords.core.errors import Invalid
from dryrecords.season import services
from dryrecords.tenancy.writes import Writer
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.factories import Farm

pytestmark = [pytest.mark.services]

SECRET = "Grain-of-Jane-Roe-7f3a"


def provoke(farm: Farm, token: str) -> None:
    """Answers of every kind to requests that carry a secret."""
    office = Client(token)
    body = bodies(farm)["customers"] | {"name": SECRET}
    made = office.post("customers", body | {"id": str(farm["customers"].pk)})
    assert made.status_code == 409
    assert office.post("customers", body | {"reference": [SECRET]}).status_code == 422
    assert office.post("customers", f'{{"name": "{SECRET}'.encode()).status_code == 400
    assert office.get(f"customers?name={SECRET}").status_code == 422
    assert office.get(f"customers/{SECRET}").status_code == 404
    assert Client(SECRET).get("customers").status_code == 401
    # Refused by the database alone: the serializer is not asked.
    with pytest.raises(Invalid, match="latitude"):
        factories.site(farm.by, farm["customers"], name=SECRET, latitude=500.0)
    assert office.post("customers", body).status_code == 201


def test_logs_of_requests(farm: Farm, caplog: pytest.LogCaptureFixture) -> None:
    token = factories.token(factories.organization())
    with caplog.at_level(logging.DEBUG):
        # What a test records is all levels; the service begins at WARNING and has no DEBUG.
        caplog.handler.addFilter(lambda record: record.levelno >= logging.INFO)
        provoke(farm, token)
    assert caplog.records
    assert_untold(caplog.text, token)


def test_log_of_a_failure_nobody_expected(
    farm: Farm, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    token = factories.token(factories.organization())

    def fails(self: Any, access: Any, row: Any) -> None:
        raise RuntimeError("broken")

    monkeypatch.setattr(Writer, "create", fails)
    answer = Client(token).send("POST", "customers", {"name": SECRET}, most=500)
    assert answer.status_code == 500
    assert "broken" in caplog.text
    assert_untold(caplog.text + answer.content.decode(), token)


def test_log_of_the_embedded_database(farm: Farm) -> None:
    if "DATABASE_OWNER_URL" not in os.environ:
        pytest.skip("what the machine's own PostgreSQL logs is its keeper's business")
    log = Path(os.environ["DRYRECORDS_DATA_DIR"]) / "postgres.log"
    begun = log.stat().st_size
    token = factories.token(factories.organization())
    provoke(farm, token)
    with log.open() as lines:
        lines.seek(begun)
        told = lines.read()
    assert "violates" in told
    assert_untold(told, token)


def test_log_of_background_work(farm: Farm, caplog: pytest.LogCaptureFixture) -> None:
    factories.batch(farm.by, farm["dryers"], note=SECRET)
    services.work_off()
    assert_untold(caplog.text, SECRET)


def assert_untold(text: str, token: str) -> None:
    # Paths are told, and a path may hold anything: what is sent there is no secret.
    lines = [line for line in text.splitlines() if f"/customers/{SECRET}" not in line]
    for secret in (token, SECRET):
        assert secret not in "\n".join(lines)
