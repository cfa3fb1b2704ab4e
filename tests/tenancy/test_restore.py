"""A removal taken back: the record, what went with it, and nothing else."""

import pytest

from dryrecords.core.errors import Conflict, Forbidden, NotFound, VersionMismatch
from dryrecords.equipment import services as equipment
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Batch, Sample
from dryrecords.journal.models import Change, StaleMark
from dryrecords.tenancy.access import Role
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.services]


def test_batch_comes_back_with_what_went_with_it_and_not_with_what_went_before() -> None:
    farm = make.farm()
    batch, earlier = farm["batches"], make.sample(farm.by, farm["batches"])
    harvest.samples.remove(farm.by, earlier.pk)
    harvest.batches.remove(farm.by, batch.pk)
    restored = harvest.batches.restore(farm.by, batch.pk)
    assert (restored.pk, restored.version, restored.deleted_at) == (batch.pk, 3, None)
    assert list(Sample.objects.visible_to(farm.by)) == [farm["samples"]]
    assert list(farm["batches"].readings.visible_to(farm.by)) == [farm["readings"]]
    told = Change.objects.filter(record_id=batch.pk).order_by("number")
    assert [change.operation for change in told] == ["create", "delete", "restore"]
    assert [change.version for change in told] == [1, 2, 3]
    assert (told[1].after, told[2].before) == (None, None)
    assert told[2].after["wet_mass_kg"] == 25_000


def test_restored_batch_is_computed_anew() -> None:
    farm = make.farm()
    harvest.batches.remove(farm.by, farm["batches"].pk)
    before = StaleMark.objects.get(kind="batch").wanted
    harvest.batches.restore(farm.by, farm["batches"].pk)
    assert StaleMark.objects.get(kind="batch").wanted == before + 1


def test_record_that_is_there_is_left_as_it_is() -> None:
    farm = make.farm()
    changes = Change.objects.count()
    assert harvest.batches.restore(farm.by, farm["batches"].pk).version == 1
    assert Change.objects.count() == changes


def test_record_whose_parent_is_gone_waits_for_it() -> None:
    farm = make.farm()
    harvest.batches.remove(farm.by, farm["batches"].pk)
    with pytest.raises(Conflict) as refused:
        harvest.samples.restore(farm.by, farm["samples"].pk)
    assert (refused.value.code, refused.value.errors[0].pointer) == ("parent_removed", "/batch")
    harvest.batches.restore(farm.by, farm["batches"].pk)


def test_restoring_goes_through_the_same_doors() -> None:
    farm = make.farm()
    harvest.batches.remove(farm.by, farm["batches"].pk)
    with pytest.raises(NotFound):
        harvest.batches.restore(make.access(make.organization("Strangers")), farm["batches"].pk)
    with pytest.raises(Forbidden):
        harvest.batches.restore(make.access(role=Role.AUDITOR), farm["batches"].pk)
    with pytest.raises(VersionMismatch):
        harvest.batches.restore(farm.by, farm["batches"].pk, version=1)
    bin_ = make.bin_(farm.by, farm["sites"])
    equipment.bins.remove(farm.by, bin_.pk)
    assert equipment.bins.restore(make.access(role=Role.OFFICE), bin_.pk).version == 3
    assert not Batch.objects.visible_to(farm.by).exists()
