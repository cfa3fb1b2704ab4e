"""Issuing: numbered in turn, kept by the database whoever asks, one standing; and what the facts are read from."""

from __future__ import annotations

import threading
from decimal import Decimal as D

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction

from dryrecords.core.errors import Conflict, Forbidden, Invalid, NotFound
from dryrecords.core.ids import new_id
from dryrecords.settlement.models import Rate, Statement
from dryrecords.settlement.rate_services import rates
from dryrecords.settlement.statement_facts import load_facts
from dryrecords.settlement.statement_services import get_statement, issue, preview, statements_of
from dryrecords.tenancy import scope
from dryrecords.tenancy.access import Role
from tests import factories as make
from tests.api.client import Client
from tests.api.offline import mutation, push
from tests.plain_role import ROLE
from tests.season.scene import Yard, result
from tests.threads import in_threads

pytestmark = [pytest.mark.django_db, pytest.mark.services]


def refused(write: str, *parameters: object) -> None:
    with pytest.raises(DatabaseError, match=r"never changed|in turn"), transaction.atomic():
        connection.cursor().execute(write, parameters)


@pytest.fixture
def yard() -> Yard:
    yard = Yard()
    make.rate(yard.by, shrink="actual")
    return yard


def test_a_season_is_charged_from_its_results(yard: Yard) -> None:
    batch = yard.dried(20.5, 15.0)
    found = result(batch)
    statement = make.statement(yard.by, yard.customer)
    (section,) = statement.document["lots"]
    (load,) = section["loads"]
    assert section["name"] == yard.lot.name
    assert (load["batch"], load["wet_bu"], load["points"]) == (str(batch.pk), "1000.00", "5.5")
    assert load["back_bu"] == f"{found.market_bu:.2f}"
    assert (load["total_usd"], statement.total_usd) == ("275.00", D("275.00"))
    assert statement.document["unresolved"] == []


def test_what_changed_since_is_not_charged_before_it_is_computed(yard: Yard) -> None:
    dry, other = yard.dried(20.5, 15.0), yard.dried(22.0, 15.0, start=10)
    result(dry)
    assert make.statement(yard.by, yard.customer).document["unresolved"] == []
    yard.sample(other, "cooled", 14.0, after=17)
    named = make.statement(yard.by, yard.customer).document["unresolved"]
    assert [(each["code"], each["batch"]) for each in named] == [("not_fresh", str(other.pk))]
    # A mark that may touch anything leaves nothing that can be charged.
    make.price(yard.by)
    assert len(make.statement(yard.by, yard.customer).document["unresolved"]) == 2
    result(dry)
    assert make.statement(yard.by, yard.customer).document["unresolved"] == []


def test_facts_take_the_same_queries_for_any_number_of_loads(yard: Yard) -> None:
    counts = []
    for number in (1, 6):
        for n in range(number):
            yard.dried(20.0, 15.0, start=100 * number + 6 * n)
        before = len(connection.queries_log)
        connection.force_debug_cursor = True
        load_facts(yard.by, yard.customer, make.SEASON)
        connection.force_debug_cursor = False
        counts.append(len(connection.queries_log) - before)
    assert counts[0] == counts[1]


def test_numbers_are_consecutive_in_each_season_and_organization() -> None:
    farm = make.farm()
    other = make.customer(farm.by, name="South Field Farm")
    numbers = [
        str(make.statement(farm.by, who, season)) for season in (2024, 2025) for who in (farm["customers"], other)
    ]
    assert numbers == ["2024-0001", "2024-0002", "2025-0001", "2025-0002"]
    strangers = make.farm(make.access(make.organization("Another Invented Drying")))
    assert str(make.statement(strangers.by, strangers["customers"])) == "2025-0001"


def test_one_stands_and_a_correction_refers_to_the_one_it_replaces() -> None:
    farm = make.farm()
    first = make.statement(farm.by, farm["customers"])
    second = make.statement(farm.by, farm["customers"], corrects=first)
    assert second.corrects == first
    assert second.document["corrects"] == {"id": str(first.pk), "number": "2025-0001"}
    assert second.document["difference_usd"] == "0.00"
    # Not told which, it is the one that stands.
    assert make.statement(farm.by, farm["customers"]).corrects == second
    with pytest.raises(Conflict) as late:
        make.statement(farm.by, farm["customers"], corrects=first)
    assert late.value.code == "already_corrected"
    assert "2025-0003" in late.value.detail
    other = make.customer(farm.by, name="South Field Farm")
    with pytest.raises(Invalid, match="no statement"):
        make.statement(farm.by, other, corrects=second)


def test_a_statement_is_kept_whoever_asks() -> None:
    """Attacked past the services, as the owner of the tables."""
    farm = make.farm()
    statement = make.statement(farm.by, farm["customers"])
    refused("UPDATE settlement_statement SET total_usd = 0")
    refused("UPDATE settlement_statement SET document = '{}' WHERE id = %s", statement.pk)
    refused("DELETE FROM settlement_statement")
    with connection.cursor() as cursor:
        # What is still to be checked is in the way of a TRUNCATE.
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    refused("TRUNCATE settlement_statement CASCADE")
    statement.total_usd = D(1)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        statement.save()
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        statement.delete()
    assert Statement.objects.get().total_usd == 0


def test_numbers_and_corrections_are_kept_by_the_database() -> None:
    farm = make.farm()
    other = make.customer(farm.by, name="South Field Farm")
    first = make.statement(farm.by, farm["customers"])
    again = (
        "INSERT INTO settlement_statement (id, organization_id, customer_id, season, number, corrects_id, issued_at,"
        " actor, device, request_id, total_usd, document)"
        " SELECT %s, organization_id, %s, season, %s, %s, issued_at, actor, '', '', 0, '{}' FROM settlement_statement"
    )
    for number in (1, 3, 0):
        refused(again, new_id(), other.pk, number, None)
    for customer, corrects in ((farm["customers"], None), (other, first.pk), (farm["customers"], new_id())):
        with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(again, [new_id(), customer.pk, 2, corrects])
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


@pytest.mark.django_db(transaction=True)
def test_no_gap_and_no_double_under_many_hands() -> None:
    """Every other one fails after it has taken its number: that number goes to the next."""
    farm = make.farm()
    owner = farm.by
    customers = [make.customer(owner, name=f"Farm {n}") for n in range(4)]
    start = threading.Barrier(len(customers))

    def hurry(index: int) -> None:
        start.wait()
        for turn in range(6):
            try:
                with scope.organization(owner.organization_id), transaction.atomic():
                    issue(owner, customers[index].pk, 2025)
                    if turn % 2:
                        raise ZeroDivisionError
            except ZeroDivisionError:
                pass

    with in_threads(hurry, *range(len(customers))):
        pass
    made = Statement.objects.order_by("number")
    assert list(made.values_list("number", flat=True)) == list(range(1, 13))
    for customer in customers:
        chain = list(made.filter(customer=customer))
        assert [each.corrects_id for each in chain] == [None, *(each.pk for each in chain[:-1])]


def test_who_may_issue_and_read() -> None:
    farm = make.farm()
    other = make.customer(farm.by, name="South Field Farm")
    statement = make.statement(farm.by, farm["customers"])
    for role in (Role.OPERATOR, Role.AUDITOR):
        reader = make.access(make.organization(), role)
        assert get_statement(reader, statement.pk) == statement
        for write in (issue, preview):
            with pytest.raises(Forbidden):
                write(reader, farm["customers"].pk, 2025)
    own, neighbour = (make.access(make.organization(), Role.CUSTOMER, who) for who in (farm["customers"], other))
    assert list(statements_of(own)) == [statement]
    assert list(statements_of(neighbour)) == []
    with pytest.raises(NotFound):
        get_statement(neighbour, statement.pk)
    with pytest.raises(Forbidden):
        issue(own, farm["customers"].pk, 2025)


def test_the_wall_holds_statements_and_rates() -> None:
    farm = make.farm()
    make.statement(farm.by, farm["customers"])
    with connection.cursor() as cursor:
        cursor.execute(f"SET LOCAL ROLE {ROLE}")
    with scope.organization(make.organization("Another Invented Drying").pk):
        assert (Statement.objects.count(), Rate.objects.count()) == (0, 0)
    with scope.organization(farm.by.organization_id):
        assert (Statement.objects.count(), Rate.objects.count()) == (1, 1)


def test_records_that_are_held_are_the_customers_a_neighbours_or_nobodys() -> None:
    farm = make.farm()
    office = Client(make.token(make.organization()))
    other = make.customer(farm.by, name="South Field Farm")
    others_lot = make.lot(farm.by, other)
    for record in (
        {"batch": str(farm["batches"].pk)},
        {"batch": str(new_id())},
        {"batch": str(make.batch(farm.by, farm["dryers"], lot_id=others_lot.pk).pk)},
        {"stage": "wet"},
    ):
        assert push(office, mutation("samples", record))[0]["status"] == "held"
    push(office, mutation("readings", {"batch": str(farm["batches"].pk)}))
    held = load_facts(farm.by, farm["customers"], make.SEASON).held
    assert sorted(each.is_the_customers for each in held) == [False, False, True]
    held = load_facts(farm.by, other, make.SEASON).held
    assert sorted(each.is_the_customers for each in held) == [False, False, True]
    # Nothing of another season.
    assert not any(each.is_the_customers for each in load_facts(farm.by, farm["customers"], 2024).held)


def test_bands_and_customer_of_a_rate() -> None:
    farm = make.farm()
    band = {"above_points": "1", "up_to_points": None, "step_points": "1", "per_step_usd_bu": "0.05"}
    with pytest.raises(Invalid) as apart:
        make.rate(farm.by, crop="corn", drying_per_point_usd_bu=None, bands=[band])
    assert [(e.pointer, e.code) for e in apart.value.errors] == [("/bands/0", "bands_apart")]
    with pytest.raises(Invalid) as fixed:
        rates.correct(farm.by, farm["rates"].pk, {"customer_id": None})
    assert fixed.value.errors[0].code == "fixed"
    with pytest.raises(Conflict):
        make.rate(farm.by, customer_id=farm["customers"].pk)


@pytest.mark.parametrize(
    "values",
    [
        {"drying_per_point_usd_bu": None},
        {"bands": [{"above_points": "0"}]},
        {"minimum_usd": D(1)},
        {"minimum_per": "bu"},
        {"surcharge_fuel": "propane"},
        {"surcharge_step_usd": D("0.1")},
        {"shrink": "factor"},
        {"shrink": "actual", "shrink_handling_pct": D(1)},
        {"moisture_rounding_pct": D(0)},
        {"bushel_rounding_bu": D("1.1")},
        {"in_usd_bu": D(-1)},
        {"surcharge_step_usd": D(0)},
    ],
)
def test_a_rate_that_contradicts_itself_is_refused_by_the_database(values: dict[str, object]) -> None:
    farm = make.farm()
    with pytest.raises(IntegrityError), transaction.atomic():
        Rate.objects.filter(pk=farm["rates"].pk).update(**values)


def test_a_customer_sees_its_own_rates_and_those_for_all() -> None:
    farm = make.farm()
    other = make.customer(farm.by, name="South Field Farm")
    for_all, others = make.rate(farm.by), make.rate(farm.by, customer_id=other.pk)
    seen = Rate.objects.visible_to(make.access(make.organization(), Role.CUSTOMER, farm["customers"]))
    assert set(seen) == {farm["rates"], for_all}
    assert others not in seen
