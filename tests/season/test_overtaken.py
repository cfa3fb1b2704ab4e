"""A worker that is overtaken while it computes leaves nothing behind of what it read."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from dryrecords.harvest import services as harvest
from dryrecords.season import services
from dryrecords.season.models import BatchResult, SiteSeason
from tests.season.scene import Yard

pytestmark = [pytest.mark.django_db, pytest.mark.services]


@pytest.fixture
def yard() -> Yard:
    return Yard()


def meanwhile(monkeypatch: pytest.MonkeyPatch, save: str, happens: Callable[[], Any]) -> None:
    """What happens, and is worked off by somebody else, after a worker has computed and before it saves."""
    saves = getattr(services, save)

    def overtaken(rows: Any) -> None:
        monkeypatch.undo()
        happens()
        services.work_off()
        saves(rows)

    monkeypatch.setattr(services, save, overtaken)


def test_batch_removed_meanwhile_has_no_result(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    batch, other = yard.dried(25.0, 15.0), yard.dried(24.0, 15.0, start=24)
    meanwhile(monkeypatch, "save_results", lambda: harvest.batches.remove(yard.by, batch.pk))
    services.work_off()
    assert [result.batch_id for result in BatchResult.objects.all()] == [other.pk]
    assert SiteSeason.objects.get().batches == 1


def test_batch_corrected_meanwhile_keeps_the_newer_result(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    batch = yard.dried(25.0, 15.0)
    newer = {"wet_mass_kg": 12_345.0}
    meanwhile(monkeypatch, "save_results", lambda: harvest.batches.correct(yard.by, batch.pk, newer))
    services.work_off()
    assert BatchResult.objects.get().wet_mass_kg == 12_345.0


def test_season_that_lost_its_last_batch_meanwhile_is_gone(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    batch = yard.dried(25.0, 15.0)
    meanwhile(monkeypatch, "save_site_season", lambda: harvest.batches.remove(yard.by, batch.pk))
    services.work_off()
    assert not SiteSeason.objects.exists()


def test_season_that_got_its_first_batch_meanwhile_stays(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    batch = yard.dried(25.0, 15.0)
    services.work_off()
    harvest.batches.remove(yard.by, batch.pk)
    season = services._site_season

    def overtaken(*claimed: Any) -> Any:
        monkeypatch.undo()
        empty = season(*claimed)
        yard.dried(25.0, 15.0, start=24)
        services.work_off()
        return empty

    monkeypatch.setattr(services, "_site_season", overtaken)
    services.work_off()
    assert SiteSeason.objects.get().batches == 1
