"""An audit as work: in turns, put down and taken up, ended on the way, failing; no finding twice and none lost."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from dryrecords.core import clock
from dryrecords.settlement import audit_run, audits
from dryrecords.settlement.audit_summary import summary_of
from dryrecords.settlement.models import Audit, Finding, Schedule
from dryrecords.tenancy import jobs
from dryrecords.tenancy.access import Access
from tests import factories
from tests.settlement import audited, planted

pytestmark = [pytest.mark.django_db, pytest.mark.services]


@pytest.fixture
def by() -> Access:
    """A hundred tickets, every seventh paid a dollar less; two of the same moment at what will be an end of a turn."""
    access = factories.access()
    audited.add_schedules(access)
    tickets = planted.season(100, seed=8)
    for ticket in tickets[::7]:
        ticket.stated["net_amount_usd"] -= 1
    for place in (9, 10, 11):
        tickets[place].delivered_at = tickets[9].delivered_at
    audited.add_tickets(access, tickets)
    return access


def told(audit: Audit) -> list[tuple[object, ...]]:
    return [(each.place, each.kind, each.number, each.difference, each.rule) for each in audited.findings(audit)]


def test_the_same_in_any_turns(by: Access, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = audited.audit(by)
    assert whole.findings == 15
    for at_a_time in (7, 10, 100):
        monkeypatch.setattr(audit_run, "TICKETS_AT_A_TIME", at_a_time)
        again = audited.audit(by)
        assert (told(again), again.tickets_done) == (told(whole), 100)
        assert summary_of(again) == summary_of(whole)


def test_put_down_and_taken_up(by: Access, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = audited.audit(by)
    monkeypatch.setattr(audit_run, "TICKETS_AT_A_TIME", 30)
    asked = factories.audit(by)
    turns = 0
    while (taken := audits.take_up()) is not None:
        turns += 1
        audit_run.run(taken, most_s=0)
    asked.refresh_from_db()
    assert (turns, asked.state, told(asked)) == (4, "done", told(whole))


def test_a_turn_that_fails_on_the_way_leaves_nothing(by: Access, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(audit_run, "TICKETS_AT_A_TIME", 30)
    asked = factories.audit(by)
    audit_run.run(Audit.objects.get(pk=asked.pk), most_s=0)
    before = told(asked)
    write = audit_run._write

    def fails(audit: Audit, found: object) -> None:
        write(audit, found)
        raise RuntimeError("killed")

    monkeypatch.setattr(audit_run, "_write", fails)
    asked.refresh_from_db()
    with pytest.raises(RuntimeError, match="killed"):
        audit_run.run(asked)
    asked.refresh_from_db()
    assert (asked.tickets_done, told(asked)) == (30, before)
    monkeypatch.setattr(audit_run, "_write", write)
    audit_run.run(asked)
    assert Finding.objects.filter(audit=asked).count() == 15


def test_two_workers_do_not_double(by: Access, monkeypatch: pytest.MonkeyPatch) -> None:
    """One that took long for dead goes on at a place that is not the audit's any more."""
    monkeypatch.setattr(audit_run, "TICKETS_AT_A_TIME", 30)
    first, second = factories.audit(by), None
    second = Audit.objects.get(pk=first.pk)
    audit_run.run(second, most_s=0)
    assert audit_run.run(first) is True
    first.refresh_from_db()
    assert first.tickets_done == 30


def test_given_up_after_several_deaths(by: Access) -> None:
    asked = factories.audit(by)
    for _ in range(jobs.MOST_ATTEMPTS):
        assert audits.take_up() is not None
        assert audits.take_up() is None
        Audit.objects.filter(pk=asked.pk).update(run_after=clock.now() - timedelta(seconds=1))
    assert audits.take_up() is not None
    asked.refresh_from_db()
    assert (asked.state, asked.error) == ("failed", audits.GAVE_UP)


def test_rules_that_cannot_be_read_fail_it(by: Access) -> None:
    Schedule.objects.update(rules={})
    audit = audited.audit(by)
    assert (audit.state, audit.findings) == ("failed", 0)
    assert audit.error


def test_duplicates_count_in_their_months(by: Access, monkeypatch: pytest.MonkeyPatch) -> None:
    """One is off besides, and counts once."""
    from dryrecords.harvest.models import Ticket

    before = summary_of(audited.audit(by))
    off, right, *_, other = Ticket.objects.order_by("delivered_at", "pk")[14:18]
    number = Ticket.objects.order_by("delivered_at", "pk").values_list("number", flat=True)[0]
    Ticket.objects.filter(pk__in=(off.pk, right.pk, other.pk)).update(number=number)
    summary = summary_of(audited.audit(by))
    assert summary["tickets_with_findings"] == before["tickets_with_findings"] + 2
    assert sum(month["tickets_with_findings"] for month in summary["by_month"]) == summary["tickets_with_findings"]
    assert sum(month["tickets"] for month in summary["by_month"]) == summary["tickets"] == 100


def test_no_tickets_are_soon_audited(by: Access) -> None:
    audit = audited.audit(by, buyer="Nobody")
    assert (audit.state, audit.tickets, audit.findings) == ("done", 0, 0)
    assert summary_of(audit)["balance_usd"] == "0.00"


def test_what_was_removed_is_not_audited(by: Access) -> None:
    from dryrecords.harvest.models import Ticket
    from dryrecords.harvest.services import tickets

    wrong = Ticket.objects.order_by("delivered_at").first()
    assert wrong is not None
    tickets.remove(by, wrong.pk)
    assert audited.audit(by).findings == 14


def test_lines_that_are_not_stated_are_not_missed(by: Access) -> None:
    from dryrecords.harvest.models import Ticket

    Ticket.objects.update(stated_shrink_bu=None, stated_moisture_discount_usd=None, stated_drying_charge_usd=None)
    audit = audited.audit(by)
    assert {each.kind for each in audited.findings(audit)} == {"amount"}
    assert Decimal(summary_of(audit)["balance_usd"]) == -15
