"""The scope and the roles: what one may see and write, in Python and in the database."""

import pytest
from django.db import IntegrityError, transaction

from dryrecords.core.errors import Forbidden, Invalid, NotFound
from dryrecords.equipment import services as equipment
from dryrecords.equipment.models import Dryer, Meter
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Batch, Lot, Price, Sample, Ticket
from dryrecords.settlement.models import Schedule
from dryrecords.tenancy import services as tenancy
from dryrecords.tenancy.access import YARD, Role
from dryrecords.tenancy.models import Customer, Site
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import get
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.services]


def tables_of_records() -> list[type[Record]]:
    def below(cls: type[Record]) -> list[type[Record]]:
        return [found for sub in cls.__subclasses__() for found in [sub, *below(sub)]]

    return [cls for cls in below(Record) if not cls._meta.abstract]


def test_every_record_is_invisible_to_another_organization() -> None:
    farm = make.farm()
    stranger = make.access(make.organization("Strangers"))
    for record in farm.records.values():
        assert type(record).objects.visible_to(farm.by).filter(pk=record.pk).exists()
        with pytest.raises(NotFound):
            get(stranger, type(record), record.pk)
    assert {type(record) for record in farm.records.values()} == set(tables_of_records())


def test_customer_sees_its_own_and_nothing_else() -> None:
    farm = make.farm()
    other = make.customer(farm.by, name="South Field Farm")
    owner, neighbour = (make.access(make.organization(), Role.CUSTOMER, who) for who in (farm["customers"], other))
    hidden = {Meter, Schedule}
    for record in farm.records.values():
        seen = type(record).objects.visible_to(owner).filter(pk=record.pk).exists()
        assert seen == (type(record) not in hidden), record.resource
        assert not type(record).objects.visible_to(neighbour).filter(pk=record.pk).exists(), record.resource


def test_grain_of_a_lot_is_its_customers_wherever_it_is_dried() -> None:
    farm = make.farm()
    guest = make.customer(farm.by, name="Guest")
    lot = make.lot(farm.by, guest)
    batch = make.batch(farm.by, farm["dryers"], lot_id=lot.pk)
    sample = make.sample(farm.by, batch)
    as_guest = make.access(make.organization(), Role.CUSTOMER, guest)
    as_host = make.access(make.organization(), Role.CUSTOMER, farm["customers"])
    assert list(Batch.objects.visible_to(as_guest)) == [batch]
    assert list(Sample.objects.visible_to(as_guest)) == [sample]
    assert batch not in Batch.objects.visible_to(as_host)


def test_prices_for_all_are_not_shown_to_a_customer() -> None:
    farm = make.farm()
    make.price(farm.by)
    assert Price.objects.visible_to(make.access(make.organization(), Role.CUSTOMER, farm["customers"])).count() == 1


def test_operator_writes_what_happens_in_the_yard_only() -> None:
    farm = make.farm()
    operator = make.access(make.organization(), Role.OPERATOR)
    assert make.sample(operator, farm["batches"]).pk
    with pytest.raises(Forbidden):
        make.price(operator)
    assert {"batches", "samples", "readings", "fuel-readings"} <= YARD


@pytest.mark.parametrize("role", [Role.AUDITOR, Role.CUSTOMER])
def test_reading_roles_write_nothing(role: str) -> None:
    farm = make.farm()
    reader = make.access(make.organization(), role, farm["customers"] if role == Role.CUSTOMER else None)
    for resource in farm.records:
        assert not reader.may_write(resource)
    with pytest.raises(Forbidden):
        harvest.batches.remove(reader, farm["batches"].pk)


def test_reference_to_another_organization_is_unknown() -> None:
    farm = make.farm()
    stranger = make.access(make.organization("Strangers"))
    with pytest.raises(Invalid) as refused:
        make.batch(stranger, farm["dryers"])
    assert [(e.pointer, e.code) for e in refused.value.errors] == [("/dryer", "unknown_reference")]


@pytest.mark.parametrize(
    ("model", "column", "resource"),
    [
        (Site, "customer_id", "customers"),
        (Dryer, "site_id", "sites"),
        (Dryer, "tank_id", "tanks"),
        (Lot, "customer_id", "customers"),
        (Batch, "dryer_id", "dryers"),
        (Sample, "batch_id", "batches"),
        (Sample, "meter_id", "meters"),
        (Ticket, "customer_id", "customers"),
        (Ticket, "lot_id", "lots"),
        (Price, "site_id", "sites"),
    ],
)
def test_database_keeps_references_inside_the_organization(model: type[Record], column: str, resource: str) -> None:
    """Attacked past the services, by a bare UPDATE."""
    make.farm()
    foreign = make.farm(make.access(make.organization("Strangers")))
    with pytest.raises(IntegrityError, match="same_organization"), transaction.atomic():
        model.objects.filter(organization__name="Invented Drying").update(**{column: foreign[resource].pk})


def test_removed_batch_takes_its_samples_and_readings_along() -> None:
    farm = make.farm()
    harvest.batches.remove(farm.by, farm["batches"].pk)
    for resource in ("batches", "samples", "readings"):
        record = farm[resource]
        assert not type(record).objects.visible_to(farm.by).exists(), resource
        record.refresh_from_db()
        assert record.deleted_at is not None
        assert record.version == 2


def test_equipment_in_use_is_not_removed() -> None:
    farm = make.farm()
    for writer, resource in (
        (equipment.dryers, "dryers"),
        (equipment.meters, "meters"),
        (tenancy.customers, "customers"),
    ):
        with pytest.raises(Exception, match="still used"):
            writer.remove(farm.by, farm[resource].pk)
    assert Customer.objects.visible_to(farm.by).count() == 1
