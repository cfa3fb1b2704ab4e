"""The history is written by the database: whoever writes, however many rows at once; and it only ever grows."""

from datetime import timedelta
from importlib import import_module

import pytest
from django.db import DatabaseError, connection, transaction

from dryrecords.core import clock
from dryrecords.equipment.models import Dryer
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Batch, Price, Reading, Sample
from dryrecords.journal.models import Change
from dryrecords.tenancy.models import Customer
from tests import factories as make
from tests.tenancy.test_scope import tables_of_records

pytestmark = [pytest.mark.django_db, pytest.mark.services]


def test_every_table_of_records_has_the_triggers() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT tgrelid::regclass::text, tgname, encode(tgargs, 'escape'), tgenabled FROM pg_trigger"
            " WHERE tgfoid = 'journal_record'::regproc"
        )
        found = set(cursor.fetchall())
    assert found == {
        (model._meta.db_table, f"journal_{operation}", model.resource + "\\000", "O")
        for model in tables_of_records()
        for operation in ("insert", "update", "delete")
    }


def test_service_leaves_who_when_and_what() -> None:
    began = clock.now()
    by = make.access()
    customer = make.customer(by)
    change = Change.objects.get(organization_id=by.organization_id)
    assert (change.number, change.resource, change.record_id, change.version) == (1, "customers", customer.pk, 1)
    assert (change.operation, change.actor, change.device) == ("create", "owner token", "tablet")
    assert change.before is None
    assert change.after.keys() == {f.attname for f in Customer._meta.concrete_fields} - {"organization_id"}
    assert (change.after["name"], change.after["deleted_at"]) == ("North Field Farm", None)
    assert timedelta(0) <= change.changed_at - began < timedelta(minutes=1)


def test_write_past_the_service_is_written_down_too() -> None:
    farm = make.farm()
    with connection.cursor() as cursor:
        cursor.execute("SELECT set_config('dryrecords.actor', '', true), session_user")
        role = cursor.fetchone()[1]
    Sample.objects.filter(pk=farm["samples"].pk).update(moisture_pct=1.0)
    change = Change.objects.latest("id")
    assert (change.actor, change.before["moisture_pct"], change.after["moisture_pct"]) == (
        f"database role {role}",
        20.5,
        1.0,
    )
    Reading.objects.filter(pk=farm["readings"].pk).delete()
    change = Change.objects.latest("id")
    assert (change.operation, change.version, change.before["plenum_temp_c"], change.after) == ("delete", 2, 81.0, None)


def test_statement_that_changes_many_rows_of_many_organizations() -> None:
    """Each row gets an entry, and each organization goes on with its own numbers."""
    farms = [make.farm(), make.farm(make.access(make.organization("Another")))]
    for farm in farms:
        harvest.batches.create_many(
            farm.by, [{"dryer_id": farm["dryers"].pk, "crop": "corn", "started_at": make.START, "mass_basis": "scale"}]
        )
    Batch.objects.update(note="all", version=5)
    for farm in farms:
        newest = Change.objects.filter(organization_id=farm.by.organization_id).order_by("number")
        assert [change.number for change in newest] == list(range(1, len(farm.records) + 4))
        updates = newest[len(farm.records) + 1 :]
        assert {(c.operation, c.version, c.before["note"], c.after["note"]) for c in updates} == {
            ("update", 5, "", "all")
        }
        assert {c.record_id for c in updates} == set(Batch.objects.visible_to(farm.by).values_list("pk", flat=True))


def test_statement_that_changes_nothing_leaves_nothing() -> None:
    make.farm()
    before = Change.objects.count()
    assert Dryer.objects.filter(name="no such").update(name="x") == 0
    assert Change.objects.count() == before


def test_thousands_of_corrections_at_once_are_matched_quickly() -> None:
    """After one of a single row: the plan kept from that one must not compare every row with every other."""
    farm = make.farm()
    rows = [{"batch_id": farm["batches"].pk, "at": make.START + timedelta(seconds=n)} for n in range(4000)]
    harvest.readings.create_many(farm.by, rows)
    Reading.objects.filter(pk=farm["readings"].pk).update(depth_m=1.0)
    began = clock.now()
    Reading.objects.update(depth_m=2.0)
    assert (clock.now() - began).total_seconds() < 2
    assert Change.objects.filter(resource="readings", operation="update").count() == 4002


def test_prices_keep_every_digit() -> None:
    from decimal import Decimal

    by = make.access()
    for day, text in enumerate(("0.000001", "123456.654321", "1.1")):
        price = make.price(by, unit_price_usd=Decimal(text), effective_from=make.START + timedelta(days=day))
        kept = Change.objects.latest("id").after["unit_price_usd"]
        assert Price._meta.get_field("unit_price_usd").to_python(kept) == Decimal(text) == price.unit_price_usd


@pytest.mark.parametrize(
    "attack",
    [
        "UPDATE journal_change SET actor = 'somebody else'",
        "DELETE FROM journal_change",
        "TRUNCATE journal_change",
    ],
)
def test_history_is_only_added_to_even_by_its_owner(attack: str) -> None:
    make.farm()
    before = Change.objects.count()
    with pytest.raises(DatabaseError, match="only ever added to"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(attack)
    assert Change.objects.count() == before


def test_temporary_table_does_not_catch_the_history() -> None:
    by = make.access()
    with connection.cursor() as cursor:
        cursor.execute("CREATE TEMPORARY TABLE journal_change (LIKE public.journal_change)")
        make.customer(by)
        cursor.execute("DROP TABLE pg_temp.journal_change")
    assert Change.objects.filter(resource="customers").count() == 1


def test_role_that_serves_may_read_the_history_and_nothing_more() -> None:
    """What the migration leaves of a role's rights, tried on one that every server has."""
    migration = import_module("dryrecords.journal.migrations.0002_history_by_trigger")
    with connection.cursor() as cursor:
        cursor.execute("GRANT ALL ON journal_change, journal_head TO pg_monitor")
        cursor.execute(migration.REVOKE)
        for table in ("journal_change", "journal_head"):
            cursor.execute(
                "SELECT array_agg(right_) FROM unnest('{SELECT,INSERT,UPDATE,DELETE,TRUNCATE,TRIGGER}'::text[]) right_"
                " WHERE has_table_privilege('pg_monitor', %s, right_)",
                [table],
            )
            assert cursor.fetchone()[0] == ["SELECT"]
