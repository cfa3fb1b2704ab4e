"""A record that others are just about to refer to is not removed under them."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection

from dryrecords.harvest.models import Reading
from dryrecords.tenancy import bulk, writes
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.offline import mutation, push
from tests.runtime.processes import wait_for

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.services]

WAYS: dict[str, Callable[[Client, dict[str, Any]], Any]] = {
    "pushed": lambda client, body: push(client, mutation("readings", body)),
    "posted": lambda client, body: client.post("readings", body),
    "in bulk": lambda client, body: client.post("readings/bulk", [body]),
}


def somebody_waits() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
        return bool(cursor.fetchone()[0])


@pytest.mark.parametrize("way", WAYS)
def test_a_batch_is_removed_while_its_reading_comes(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    farm = factories.farm()
    text = factories.token(factories.organization())
    removals: list[Any] = []

    def remove() -> int:
        try:
            return int(Client(text).delete(f"batches/{farm['batches'].pk}").status_code)
        finally:
            connection.close()

    with ThreadPoolExecutor(1) as pool:

        def removed_meanwhile(*args: Any, leave: Any = writes.leave_trail) -> None:
            monkeypatch.undo()
            removals.append(pool.submit(remove))
            assert wait_for(lambda: removals[0].done() or somebody_waits(), 10)
            leave(*args)

        for module in (bulk, writes):
            monkeypatch.setattr(module, "leave_trail", removed_meanwhile)
        WAYS[way](Client(text), bodies(farm)["readings"])
        assert removals[0].result(10) == 204
    assert Reading.objects.count() == 2
    assert not Reading.objects.filter(deleted_at__isnull=True).exists()
