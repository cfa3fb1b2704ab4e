"""To whom a record belongs is said twice, as a filter and as a way to the customer: they must agree."""

import pytest

from dryrecords.tenancy import moves
from dryrecords.tenancy.models import Customer
from tests import factories as make
from tests.tenancy.test_scope import tables_of_records

pytestmark = [pytest.mark.django_db, pytest.mark.services]


def test_the_filter_and_the_way_lead_to_the_same_customer() -> None:
    farm, other = make.farm(), make.customer(make.access(), name="Guest")
    by = farm.by
    guest_lot = make.lot(by, other)
    visiting = make.batch(by, farm["dryers"], lot_id=guest_lot.pk)
    records = [
        *farm.records.values(),
        guest_lot,
        visiting,
        make.sample(by, visiting),
        make.reading(by, visiting),
        make.batch(by, farm["dryers"]),
        make.sample(by, None, bin_id=farm["bins"].pk, stage="stored"),
        make.power_reading(by, farm["dryers"], dryer_id=None, site_id=farm["sites"].pk),
        make.ticket(by),
        make.ticket(by, customer_id=other.pk),
        make.ticket(by, lot_id=guest_lot.pk),
        make.sample(by, None, ticket_id=make.ticket(by, customer_id=other.pk).pk, stage="delivered"),
        make.sample(by, None, ticket_id=farm["tickets"].pk, stage="delivered"),
        make.price(by),
        make.setting(by),
    ]
    owners = set()
    for record in records:
        if record.customer_paths:
            owner = moves.customer_of(record)
            seen_by = [
                who.pk
                for who in Customer.objects.all()
                if type(record).objects.filter(type(record).of_customer(who.pk), pk=record.pk).exists()
            ]
            assert seen_by == ([owner] if owner else []), record.resource
            owners.add(owner)
    assert owners == {farm["customers"].pk, other.pk, None}


def test_what_a_customer_may_see_has_a_way_to_it() -> None:
    customer = make.farm()["customers"]
    for model in tables_of_records():
        seen = model.objects.filter(model.of_customer(customer.pk)).exists()
        assert seen == bool(model.customer_paths) or model is Customer, model
