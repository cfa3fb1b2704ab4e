"""The trail: numbers without gaps in the order of commits, and nudges that never hold up a request."""

import socket
import threading
import time
from uuid import uuid4

import pytest
from celery import current_app
from django.db import connection, transaction

from dryrecords.journal import nudge
from dryrecords.journal.models import Change
from dryrecords.journal.trail import Actor, Entry, leave_trail

pytestmark = [pytest.mark.services]
ACTOR = Actor("owner token", "tablet", "r-1")


def entry() -> Entry:
    return Entry("batches", uuid4(), 1, Change.Operation.CREATE, None, {"crop": "corn"})


@pytest.mark.django_db
def test_trail_keeps_who_when_and_what() -> None:
    organization = uuid4()
    with transaction.atomic():
        leave_trail(organization, ACTOR, [entry()])
    change = Change.objects.get(organization_id=organization)
    assert (change.number, change.actor, change.device, change.request_id) == (1, "owner token", "tablet", "r-1")
    assert (change.before, change.after) == (None, {"crop": "corn"})


@pytest.mark.django_db(transaction=True)
def test_reader_never_skips_a_number_while_four_writers_write() -> None:
    organization, seen, writing = uuid4(), [], threading.Event()
    writing.set()

    def write() -> None:
        for _ in range(15):
            with transaction.atomic():
                leave_trail(organization, ACTOR, [entry(), entry()])
        connection.close()

    def read() -> None:
        cursor = 0
        while True:
            last_round = not writing.is_set()
            for number in Change.objects.filter(organization_id=organization, number__gt=cursor).order_by("number"):
                seen.append(number.number)
                cursor = number.number
            if last_round:
                break
        connection.close()

    writers = [threading.Thread(target=write) for _ in range(4)]
    reader = threading.Thread(target=read)
    for thread in [*writers, reader]:
        thread.start()
    for thread in writers:
        thread.join()
    writing.clear()
    reader.join()
    assert seen == list(range(1, 121))


@pytest.mark.django_db(transaction=True)
def test_rolled_back_write_leaves_no_gap() -> None:
    organization = uuid4()
    with pytest.raises(RuntimeError), transaction.atomic():
        leave_trail(organization, ACTOR, [entry()])
        raise RuntimeError
    with transaction.atomic():
        leave_trail(organization, ACTOR, [entry()])
    assert list(Change.objects.filter(organization_id=organization).values_list("number", flat=True)) == [1]


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
