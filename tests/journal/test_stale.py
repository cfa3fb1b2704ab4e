"""Stale marks: nothing lost, nothing done twice, no one waits, failures wait and are seen."""

import threading
from datetime import UTC, datetime
from uuid import uuid4

import pytest
from django.db import connection, transaction

from dryrecords.journal import stale
from dryrecords.journal.models import StaleMark
from dryrecords.journal.stale import Mark

pytestmark = [pytest.mark.services]

EARLY, LATE = datetime(2025, 9, 1, tzinfo=UTC), datetime(2025, 11, 1, tzinfo=UTC)


def due_now() -> None:
    StaleMark.objects.update(run_after=datetime(2020, 1, 1, tzinfo=UTC))


@pytest.mark.django_db
def test_mark_raised_while_claimed_stays_open() -> None:
    organization = uuid4()
    stale.raise_marks(organization, [Mark("batch", "a")])
    (claim,) = stale.claim(["batch"], 10)
    stale.raise_marks(organization, [Mark("batch", "a")])
    stale.settle([claim])
    assert stale.open_marks(organization, ["batch"])
    (again,) = stale.claim(["batch"], 10)
    stale.settle([again])
    assert not stale.open_marks(organization, ["batch"])
    assert (claim.wanted, again.wanted) == (1, 2)


@pytest.mark.django_db
def test_claimed_mark_is_not_given_to_another_until_its_lease_is_over() -> None:
    stale.raise_marks(uuid4(), [Mark("batch", "a")])
    assert len(stale.claim(["batch"], 10)) == 1
    assert stale.claim(["batch"], 10) == []
    due_now()
    assert len(stale.claim(["batch"], 10)) == 1


@pytest.mark.django_db
def test_span_widens_while_open_and_starts_anew_when_done() -> None:
    organization = uuid4()
    stale.raise_marks(organization, [Mark("tank", "t", LATE, LATE), Mark("tank", "t", EARLY, EARLY)])
    (claim,) = stale.claim(["tank"], 1)
    assert (claim.since, claim.until) == (EARLY, LATE)
    stale.settle([claim])
    stale.raise_marks(organization, [Mark("tank", "t", LATE, LATE)])
    assert StaleMark.objects.get().since == LATE


@pytest.mark.django_db
def test_old_generation_does_not_close_a_newer_one() -> None:
    organization = uuid4()
    stale.raise_marks(organization, [Mark("batch", "a")])
    (slow,) = stale.claim(["batch"], 1)
    stale.raise_marks(organization, [Mark("batch", "a")])
    (quick,) = stale.claim(["batch"], 1)
    stale.settle([quick])
    stale.settle([slow])
    assert StaleMark.objects.get().done == 2


@pytest.mark.django_db
def test_mark_that_kills_its_worker_is_taken_alone_from_its_third_attempt() -> None:
    organization = uuid4()
    stale.raise_marks(organization, [Mark("batch", "poison")])
    for _ in range(stale.ALONE_FROM_ATTEMPT):
        # A worker that is killed neither settles nor gives back.
        assert [claim.key for claim in stale.claim(["batch"], 10)] == ["poison"]
        due_now()
    stale.raise_marks(organization, [Mark("batch", key) for key in "abc"])
    assert {claim.key for claim in stale.claim(["batch"], 10)} == {"a", "b", "c"}
    assert [claim.key for claim in stale.claim(["batch"], 10)] == ["poison"]


@pytest.mark.django_db
def test_waiting_time_doubles_with_every_attempt() -> None:
    stale.raise_marks(uuid4(), [Mark("batch", "a")])
    waits = []
    for _ in range(3):
        stale.claim(["batch"], 1)
        mark = StaleMark.objects.get()
        with connection.cursor() as cursor:
            cursor.execute("SELECT clock_timestamp()")
            waits.append((mark.run_after - cursor.fetchone()[0]).total_seconds())
        due_now()
    assert waits == pytest.approx([stale.LEASE_S, 2 * stale.LEASE_S, 4 * stale.LEASE_S], abs=2)


@pytest.mark.django_db
def test_error_is_kept_until_the_mark_is_done() -> None:
    stale.raise_marks(uuid4(), [Mark("batch", "a")])
    (claim,) = stale.claim(["batch"], 1)
    stale.give_back(claim, "ValueError: no")
    assert StaleMark.objects.get().last_error == "ValueError: no"
    stale.settle([claim])
    assert StaleMark.objects.get().last_error == ""


@pytest.mark.django_db(transaction=True)
def test_claiming_does_not_wait_for_a_writer_of_the_same_mark() -> None:
    """A worker skips what a transaction holds; a writer is not held up by a worker that computes."""
    organization = uuid4()
    stale.raise_marks(organization, [Mark("batch", "a"), Mark("batch", "b")])
    claimed: list[str] = []

    def worker() -> None:
        claimed.extend(claim.key for claim in stale.claim(["batch"], 10))
        connection.close()

    with transaction.atomic():
        stale.raise_marks(organization, [Mark("batch", "a")])
        thread = threading.Thread(target=worker)
        thread.start()
        thread.join(timeout=5)
        assert not thread.is_alive()
    assert claimed == ["b"]


@pytest.mark.django_db(transaction=True)
def test_workers_share_marks_without_overlap() -> None:
    organization = uuid4()
    stale.raise_marks(organization, [Mark("batch", f"{n:03}") for n in range(200)])
    taken: list[list[str]] = [[], []]

    def worker(mine: list[str]) -> None:
        while claims := stale.claim(["batch"], 7):
            mine.extend(claim.key for claim in claims)
            stale.settle(claims)
        connection.close()

    threads = [threading.Thread(target=worker, args=(mine,)) for mine in taken]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(taken[0] + taken[1]) == [f"{n:03}" for n in range(200)]


@pytest.mark.django_db
def test_mark_that_killed_its_worker_stays_alone_when_new_data_raises_it() -> None:
    organization = uuid4()
    stale.raise_marks(organization, [Mark("batch", "poison")])
    for _ in range(stale.ALONE_FROM_ATTEMPT):
        stale.claim(["batch"], 10)
        due_now()
    stale.raise_marks(organization, [Mark("batch", key) for key in ("neighbour", "poison")])
    assert [claim.key for claim in stale.claim(["batch"], 10)] == ["neighbour"]
    (poison,) = stale.claim(["batch"], 10)
    assert poison.key == "poison"
    stale.settle([poison])
    assert StaleMark.objects.get(key="poison").attempts == 0


@pytest.mark.django_db
def test_mark_that_no_worker_finished_says_so() -> None:
    stale.raise_marks(uuid4(), [Mark("batch", "a")])
    stale.claim(["batch"], 1)
    assert StaleMark.objects.get().last_error == ""
    due_now()
    (again,) = stale.claim(["batch"], 1)
    assert StaleMark.objects.get().last_error == stale.UNFINISHED
    stale.settle([again])
    assert StaleMark.objects.get().last_error == ""
