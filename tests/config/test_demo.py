"""The invented season loads through the API's serializers, once, and the whole of it is computed."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.management import call_command
from django.db import transaction

from dryrecords.config import demo
from dryrecords.harvest.models import Batch, Sample
from dryrecords.journal.models import Change
from dryrecords.season import services
from dryrecords.season.models import BatchResult, EnergyAccount
from dryrecords.tenancy.models import Organization, Token

pytestmark = [pytest.mark.django_db, pytest.mark.services]


@pytest.fixture(scope="module")
def season(django_db_setup: None, django_db_blocker: Any) -> Iterator[None]:
    """Loaded once for this file, in a transaction that is rolled back."""
    with django_db_blocker.unblock(), transaction.atomic():
        demo.load()
        services.work_off()
        yield
        transaction.set_rollback(True)


def test_second_load_doubles_nothing(season: None) -> None:
    counts = Batch.objects.count(), Sample.objects.count(), Change.objects.count()
    assert counts[0] >= 300
    assert demo.load() == 0
    assert (Batch.objects.count(), Sample.objects.count(), Change.objects.count()) == counts


def test_everything_is_computed_and_the_honest_mistakes_are_named(season: None) -> None:
    assert services.all_failures() == []
    assert services.everything_fresh(Organization.objects.get().pk)
    assert BatchResult.objects.count() == Batch.objects.count()
    warned = {warning["code"] for row in BatchResult.objects.all() for warning in row.warnings}
    assert warned >= {"hot_samples_only", "late_sample", "overlaps_another_batch", "wetter_out_than_in"}
    missing = {name for row in BatchResult.objects.all() for name in row.missing}
    assert missing == {"moisture_in_pct", "moisture_out_pct"}


def test_figures_are_those_of_grain_dryers(season: None) -> None:
    """Measured farm dryers used 0.015 to 0.025 gal a point and bushel (Iowa State extension), of any crop."""
    metered = BatchResult.objects.filter(fuel_basis="metered", crop="corn", fuel_m3_per_point_bu__isnull=False)
    gallons = [row.fuel_m3_per_point_bu / 0.003785411784 for row in metered]
    assert len(gallons) > 50
    assert 0.014 < sorted(gallons)[len(gallons) // 2] < 0.025


def test_accounts_close_and_name_the_mistyped_gauge(season: None) -> None:
    """One reading of the season was written down wrong; nothing else is found in any tank or meter."""
    accounts = list(EnergyAccount.objects.all())
    assert len(accounts) >= 9
    for account in accounts:
        for row in account.figures["intervals"]:
            parts = row["allocated"] + row["other"] + row["found"] + row["unallocated"]
            assert parts == pytest.approx(row["drawn"], rel=1e-9, abs=1e-9)
    (finding,) = [finding for account in accounts for finding in account.figures["findings"]]
    # A gauge at 70 % of 12,000 gal went into the book as 7.
    assert finding["kind"] == "reading_doubtful"
    assert finding["reading_off"] == pytest.approx(-0.63 * 12_000 * 0.003785411784, abs=3 * finding["size_u"])
    assert BatchResult.objects.filter(fuel_basis="allocated").count() > 150


def test_table_has_a_row_per_site_and_one_for_all(season: None) -> None:
    lines = demo.season_table().splitlines()
    assert len(lines) == 1 + 1 + 6 + 1 + 1
    assert lines[-1].startswith("all sites")
    assert "therm" in demo.season_table()


def test_rebuild_of_the_season_gives_the_same_bits(season: None) -> None:
    def rows() -> list[object]:
        leave = {"generation", "computed_at"}
        return [{k: v for k, v in row.items() if k not in leave} for row in BatchResult.objects.order_by("pk").values()]

    before = rows()
    call_command("rebuild_results", season=demo.SEASON)
    assert rows() == before


def test_a_statement_is_issued_once_and_names_what_it_leaves_out(season: None) -> None:
    statement = demo.statement()
    assert (str(statement), demo.statement().pk) == ("2025-0001", statement.pk)
    document = statement.document
    charged = sum(len(section["loads"]) for section in document["lots"])
    codes = [each["code"] for each in document["unresolved"]]
    assert charged + len(codes) == Batch.objects.filter(Batch.of_customer(statement.customer_id)).count() > 50
    assert set(codes) == {"figures_missing"}
    assert [each["crop"] for each in document["totals"]["by_crop"]] == ["corn", "soybean", "wheat"]
    # A few cents a point and bushel are some thousand dollars a season.
    assert 5_000 < statement.total_usd < 100_000


def test_new_start_revokes_the_token_of_the_last(season: None) -> None:
    demo.new_token()
    demo.new_token()
    assert Token.objects.filter(revoked_at__isnull=True).count() == 1


def test_new_start_changes_the_password_of_the_last(season: None) -> None:
    first, second = demo.new_password(), demo.new_password()
    person = User.objects.get(username=demo.PERSON)
    assert person.check_password(second)
    assert not person.check_password(first)
    assert not person.is_staff
