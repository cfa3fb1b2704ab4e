"""Tickets: kept exactly, plausible whoever writes them, and seen by the customer whose grain it was."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from dryrecords.core.errors import Conflict, Invalid
from dryrecords.harvest import services as harvest
from dryrecords.harvest.models import Sample, Ticket
from dryrecords.tenancy.access import Access, Role
from tests import factories as make
from tests.api.bodies import bodies
from tests.api.client import Client
from tests.api.test_problems import pointers
from tests.factories import Farm

pytestmark = [pytest.mark.django_db, pytest.mark.services]


def as_customer(who: Any) -> Access:
    return make.access(make.organization(), Role.CUSTOMER, who)


@pytest.mark.parametrize(
    "values",
    [
        {"tare_lb": Decimal(79_860)},
        {"tare_lb": Decimal(-1)},
        {"gross_lb": Decimal(27_499)},
        {"moisture_pct": Decimal("60.1")},
        {"moisture_pct": Decimal("-0.1")},
        {"test_weight_lb_bu": Decimal(5)},
        {"price_usd_bu": Decimal(-1)},
        {"price_usd_bu": Decimal(1001)},
    ],
)
def test_database_refuses_impossible_values(values: dict[str, Any]) -> None:
    make.farm()
    with pytest.raises(IntegrityError), transaction.atomic():
        Ticket.objects.update(**values)


@pytest.mark.parametrize("sent", ["52360.05", 52360.05, 0.07, "0.07", 9_999_999, "60000.10"])
def test_a_weight_reads_back_exactly(sent: Any, farm: Farm) -> None:
    """Numbers of JSON as their shortest text, never as the double beside it."""
    office = Client(make.token(make.organization()))
    made = office.post("tickets", bodies(farm)["tickets"] | {"gross_lb": sent, "tare_lb": 0})
    assert Decimal(made.json()["gross_lb"]) == Decimal(str(sent)), made.content
    assert Ticket.objects.get(pk=made.json()["id"]).gross_lb == Decimal(str(sent))


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"tare_lb": "79860.25"}, {"/tare_lb": "weights_out_of_order"}),
        ({"gross_lb": "79860.255"}, {"/gross_lb": "max_decimal_places"}),
        ({"gross_lb": True}, {"/gross_lb": "invalid"}),
        ({"moisture_pct": "61"}, {"/moisture_pct": "out_of_range"}),
        ({"stated": {"net_bu": "much"}}, {"/stated/net_bu": "invalid"}),
        ({"stated": {"net": "1"}}, {"/stated/net": "unknown_field"}),
        ({"stated": []}, {"/stated": "invalid"}),
        ({"crop": "soybean"}, {"/lot": "other_crop"}),
        ({"number": " "}, {"/number": "blank"}),
    ],
)
def test_what_cannot_stand_on_a_ticket(change: dict[str, Any], expected: dict[str, str], farm: Farm) -> None:
    office = Client(make.token(make.organization()))
    assert pointers(office.post("tickets", bodies(farm)["tickets"] | change)) == expected
    path = office.post("tickets", bodies(farm)["tickets"])["Location"]
    assert pointers(office.patch(path, change)) == expected


def test_what_was_stated_is_replaced_as_a_whole(farm: Farm) -> None:
    office = Client(make.token(make.organization()))
    path = office.post("tickets", bodies(farm)["tickets"])["Location"]
    assert office.patch(path, {"number": "18"}).json()["stated"]["net_bu"] == "853.655"
    stated = office.patch(path, {"stated": {"net_amount_usd": 3379.65}}).json()["stated"]
    assert stated == {
        "net_bu": None,
        "shrink_bu": None,
        "moisture_discount_usd": None,
        "drying_charge_usd": None,
        "net_amount_usd": "3379.65",
    }
    assert office.patch(path, {"stated": None}).json()["stated"] is None
    told = office.get(f"{path}/history").json()["results"][0]["changes"]
    assert told == [{"field": "stated", "before": stated, "after": None}]


def test_the_same_number_twice_is_for_an_audit_to_find() -> None:
    farm = make.farm()
    make.ticket(farm.by)
    assert Ticket.objects.filter(number="T-1").count() == 2


def test_a_ticket_is_its_lots_customers_else_the_one_it_names() -> None:
    farm = make.farm()
    guest = make.customer(farm.by, name="Guest")
    own = make.ticket(farm.by, customer_id=guest.pk)
    nobodys = make.ticket(farm.by)
    assert list(Ticket.objects.visible_to(as_customer(guest))) == [own]
    assert list(Ticket.objects.visible_to(as_customer(farm["customers"]))) == [farm["tickets"]]
    assert nobodys in Ticket.objects.visible_to(farm.by)
    with pytest.raises(Invalid) as refused:
        make.ticket(farm.by, lot_id=farm["lots"].pk, customer_id=guest.pk)
    assert [(each.pointer, each.code) for each in refused.value.errors] == [("/customer", "other_customer")]


def test_tickets_and_their_samples_go_with_the_lot_that_changes_hands() -> None:
    farm = make.farm()
    guest = make.customer(farm.by, name="Guest")
    sample = make.sample(farm.by, ticket_id=farm["tickets"].pk, stage="delivered")
    assert sample in Sample.objects.visible_to(as_customer(farm["customers"]))
    harvest.lots.correct(farm.by, farm["lots"].pk, {"customer_id": guest.pk})
    for record in (farm["tickets"], sample):
        assert list(type(record).objects.visible_to(as_customer(farm["customers"])).filter(pk=record.pk)) == []
        assert type(record).objects.visible_to(as_customer(guest)).get(pk=record.pk).version == 2


def test_a_sample_of_a_ticket_goes_and_comes_with_it() -> None:
    farm = make.farm()
    sample = make.sample(farm.by, ticket_id=farm["tickets"].pk, stage="delivered")
    with pytest.raises(Conflict, match="still used"):
        harvest.lots.remove(farm.by, farm["lots"].pk)
    harvest.tickets.remove(farm.by, farm["tickets"].pk)
    assert sample not in Sample.objects.visible_to(farm.by)
    harvest.tickets.restore(farm.by, farm["tickets"].pk)
    assert sample in Sample.objects.visible_to(farm.by)
    assert farm["samples"] in Sample.objects.visible_to(farm.by)


@pytest.mark.parametrize("parents", [("batches", "tickets"), ("bins", "tickets"), ("batches", "bins", "tickets"), ()])
def test_a_sample_is_of_exactly_one_thing(parents: tuple[str, ...], farm: Farm) -> None:
    names = {"batches": "batch", "bins": "bin", "tickets": "ticket"}
    given = {names[parent]: str(farm[parent].pk) for parent in parents}
    body = bodies(farm)["samples"] | {"batch": None} | given
    assert pointers(Client(make.token(make.organization())).post("samples", body)) == {"/batch": "one_parent"}
    columns = {f"{name}_id": None for name in names.values()} | {f"{name}_id": pk for name, pk in given.items()}
    with pytest.raises(IntegrityError, match="sample_of_one_thing"), transaction.atomic():
        Sample.objects.update(**columns)


def test_a_sample_is_of_no_other_organizations_ticket() -> None:
    """Attacked past the services, by a bare UPDATE."""
    make.farm()
    foreign = make.farm(make.access(make.organization("Strangers")))
    with pytest.raises(IntegrityError, match="same_organization"), transaction.atomic():
        Sample.objects.filter(organization__name="Invented Drying").update(
            batch_id=None, ticket_id=foreign["tickets"].pk
        )


def test_the_season_is_the_lots_or_that_of_the_delivery() -> None:
    farm = make.farm()
    late = make.ticket(farm.by, lot_id=farm["lots"].pk, delivered_at=datetime(2026, 7, 1, tzinfo=UTC))
    before = make.ticket(farm.by, delivered_at=datetime(2025, 5, 31, 23, tzinfo=UTC))
    after = make.ticket(farm.by, delivered_at=datetime(2025, 6, 1, tzinfo=UTC))
    found = set(Ticket.objects.filter(Ticket.of_season(2025)))
    assert found == {farm["tickets"], late, after}
    assert before in Ticket.objects.filter(Ticket.of_season(2024))


@pytest.fixture
def farm() -> Farm:
    return make.farm()
