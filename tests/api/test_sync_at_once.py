"""Pushes on several connections at the same instant: every mutation once, and nobody waits for nobody in a circle."""

from __future__ import annotations

import random
from typing import Any

import pytest

from dryrecords.harvest.models import Batch, Reading, Sample
from dryrecords.journal.models import Change, Mutation
from tests import factories
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.offline import mutation, push, sample_of
from tests.api.test_twice import at_once

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.services]


def shuffled(sent: list[dict[str, Any]], seed: int) -> list[dict[str, Any]]:
    return random.Random(seed).sample(sent, len(sent))


def counts(answers: list[list[dict[str, Any]]]) -> dict[str, int]:
    statuses = [result["status"] for results in answers for result in results]
    return {status: statuses.count(status) for status in set(statuses)}


@pytest.mark.parametrize("seed", range(4))
def test_the_same_push_on_three_connections(seed: int) -> None:
    farm = factories.farm()
    text = factories.token(factories.organization())
    batches = [mutation("batches", bodies(farm)["batches"]) for _ in range(6)]
    sent = [*batches, *(sample_of(batch) for batch in batches for _ in range(30))]
    sent += [mutation("batches", {"id": b["record"]["id"], "note": "n"}, "update", base_version=1) for b in batches]
    orders = [shuffled(sent, seed + each) for each in range(3)]
    answers = at_once(*[lambda order=order: push(Client(text), *order) for order in orders])
    assert counts(answers) == {"applied": len(sent), "duplicate": 2 * len(sent)}
    versions = [{result["id"]: result["version"] for result in results} for results in answers]
    assert versions[0] == versions[1] == versions[2]
    assert (Batch.objects.count(), Sample.objects.count()) == (1 + 6, 1 + 180)
    assert Mutation.objects.count() == len(sent)
    ours = {each["record"]["id"] for each in sent}
    assert Change.objects.filter(record_id__in=ours).count() == len(sent)
    numbers = list(Change.objects.order_by("number").values_list("number", flat=True))
    assert numbers == list(range(1, len(numbers) + 1))


@pytest.mark.parametrize("seed", range(4))
def test_the_same_records_under_other_ids(seed: int) -> None:
    """Readings, which raise no marks that would make the pushes wait before they meet."""
    farm = factories.farm()
    text = factories.token(factories.organization())
    records = [mutation("readings", bodies(farm)["readings"])["record"] for _ in range(400)]
    orders = [shuffled([mutation("readings", record) for record in records], seed + each) for each in range(3)]
    answers = at_once(*[lambda order=order: push(Client(text), *order) for order in orders])
    assert counts(answers) == {"applied": 400, "duplicate": 800}
    assert Reading.objects.count() == 1 + 400


def test_beside_others_who_write_the_same_things() -> None:
    """The batch is changed, removed and posted to while its samples are pushed: nobody is refused for waiting."""
    farm = factories.farm()
    text = factories.token(factories.organization())
    path = f"batches/{farm['batches'].pk}"
    batch = {"record": {"id": str(farm["batches"].pk)}}

    def pushing() -> Any:
        client = Client(text)
        results = [push(client, *[sample_of(batch) for _ in range(20)]) for _ in range(8)]
        return [result for each in results for result in each]

    def writing() -> Any:
        client = Client(text)
        for number in range(12):
            client.patch(path, {"note": str(number)})
            client.post("samples", sample_of(batch)["record"])
            client.delete(path)
            client.send("POST", f"{path}/restore")
        return []

    answers = at_once(pushing, writing, pushing)
    assert set(counts(answers)) <= {"applied", "held"}
    applied = [each["record_id"] for results in answers for each in results if each["status"] == "applied"]
    assert Sample.objects.filter(pk__in=applied).count() == len(applied)


@pytest.mark.parametrize("held_before", [True, False])
@pytest.mark.parametrize("round_", range(5))
def test_a_sample_and_its_batch_at_once(held_before: bool, round_: int) -> None:
    farm = factories.farm()
    text = factories.token(factories.organization())
    batch = mutation("batches", bodies(farm)["batches"])
    sample = sample_of(batch)
    if held_before:
        push(Client(text), sample)
    at_once(*[lambda each=each: push(Client(text), each) for each in (batch, sample, sample)])
    assert Sample.objects.filter(pk=sample["record"]["id"]).count() == 1
    assert Mutation.objects.get(mutation_id=sample["id"]).status == "applied"
