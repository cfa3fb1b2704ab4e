"""The trail: numbers without gaps in the order of commits, and nudges that never hold up a request."""

import socket
import threading
import time
from uuid import UUID

import pytest
from celery import current_app
from django.db import transaction

from dryrecords.harvest import services as harvest
from dryrecords.journal import nudge
from dryrecords.journal.models import Change
from dryrecords.journal.trail import Actor, leave_trail
from dryrecords.tenancy import services as tenancy
from tests import factories as make
from tests.threads import in_threads

pytestmark = [pytest.mark.services]


def numbers(organization_id: UUID) -> list[int]:
    changes = Change.objects.filter(organization_id=organization_id)
    return list(changes.order_by("number").values_list("number", flat=True))


@pytest.mark.django_db(transaction=True)
def test_reader_never_skips_a_number_while_four_writers_write() -> None:
    by, seen, writing = make.access(), [], threading.Event()
    organization_id = by.organization_id
    writing.set()

    def write(_: int) -> None:
        for _ in range(15):
            tenancy.customers.create_many(by, [{"name": "a"}, {"name": "b"}])

    def read() -> None:
        cursor = 0
        while True:
            last_round = not writing.is_set()
            for change in Change.objects.filter(organization_id=organization_id, number__gt=cursor).order_by("number"):
                seen.append(change.number)
                cursor = change.number
            if last_round:
                break

    with in_threads(read):
        with in_threads(write, *range(4)):
            pass
        writing.clear()
    assert seen == list(range(1, 121))


@pytest.mark.django_db(transaction=True)
def test_rolled_back_write_leaves_no_gap() -> None:
    by = make.access()
    with pytest.raises(RuntimeError), transaction.atomic():
        make.customer(by)
        raise RuntimeError
    make.customer(by)
    assert numbers(by.organization_id) == [1]


@pytest.mark.django_db(transaction=True)
def test_writers_of_the_same_things_do_not_deadlock() -> None:
    """Samples are added to a batch while it is corrected, and removed and restored with them."""
    farm = make.farm()
    batch, errors = farm["batches"], []

    def turn(which: int) -> None:
        for n in range(12):
            if which == 0:
                harvest.batches.correct(farm.by, batch.pk, {"note": f"{n}"})
            elif which == 1:
                harvest.batches.remove(farm.by, batch.pk)
                harvest.batches.restore(farm.by, batch.pk)
            elif which == 2:
                harvest.samples.correct(farm.by, farm["samples"].pk, {"moisture_pct": 15.0 + n})
            else:
                make.sample(farm.by, batch)

    def attempt(which: int) -> None:
        from django.db import OperationalError

        from dryrecords.core.errors import DomainError

        for _ in range(3):
            try:
                turn(which)
            except OperationalError as error:
                errors.append(error)
            except DomainError:
                pass

    with in_threads(attempt, 0, 1, 2, 3, 3):
        pass
    assert errors == []
    assert numbers(farm.by.organization_id) == list(range(1, Change.objects.count() + 1))


@pytest.mark.django_db(transaction=True)
def test_trail_outside_of_a_transaction_is_refused() -> None:
    with pytest.raises(RuntimeError):
        leave_trail(make.access().organization_id, Actor("nobody"))


def test_broker_that_never_answers_does_not_delay_a_nudge(monkeypatch: pytest.MonkeyPatch) -> None:
    """A listening socket that accepts nothing: the worst broker there is."""
    hole = socket.socket()
    hole.bind(("127.0.0.1", 0))
    hole.listen(0)
    monkeypatch.setattr(current_app.conf, "broker_url", f"redis://127.0.0.1:{hole.getsockname()[1]}/0")
    own = nudge._Nudger("a task")
    started = time.perf_counter()
    for _ in range(50):
        own.nudge()
    assert time.perf_counter() - started < 0.2
    hole.close()
