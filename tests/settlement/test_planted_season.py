"""Twenty thousand invented tickets with fifty kinds of mistakes: each is found, and nothing else is."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest

from dryrecords.settlement import audit_run
from dryrecords.settlement.audit_summary import summary_of
from tests import factories
from tests.settlement import audited, planted

pytestmark = [pytest.mark.django_db, pytest.mark.services]

TICKETS = 20_000
OF_EACH = 3
# Turns that neither begin nor end with the season's, so that a mistake may stand at any place of one.
AT_A_TIME = 3_989


def test_every_mistake_is_found_and_nothing_else(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(audit_run, "TICKETS_AT_A_TIME", AT_A_TIME)
    by = factories.access()
    audited.add_schedules(by)
    tickets = planted.season(TICKETS)
    made = list(planted.plant(tickets, OF_EACH))
    kinds = {mistake.name for mistake, _ in made}
    clean = [each for each in tickets if not each.mistake]
    # Before any schedule, a number used again, and a load entered again under another number.
    early = replace(clean[10], number="early", delivered_at=planted.FIRST - timedelta(days=2))
    again = replace(clean[500], number=clean[700].number, delivered_at=clean[500].delivered_at + timedelta(minutes=3))
    twice = replace(clean[900], number="once more")
    tester = factories.meter(by, standard_uncertainty_pct=0.15)
    rows = audited.add_tickets(by, [*tickets, early, again, twice])
    by_number = {row.number: row for row in rows[:TICKETS]}
    random = np.random.default_rng(3)
    sampled = [by_number[each.number] for each in clean[2000:6000:4]]
    wrong = sampled[:OF_EACH]
    errors = [2.6] * OF_EACH + list(random.normal(0.0, 0.4, len(sampled) - OF_EACH))
    own = [(row, float(row.moisture_pct) + error) for row, error in zip(sampled, errors, strict=True)]
    audited.add_samples(by, own, meter_id=tester.pk)

    audit = audited.audit(by)

    assert (audit.state, audit.error) == ("done", "")
    assert audit.tickets == audit.tickets_done == TICKETS + 3
    found = audited.findings(audit)
    assert [each.place for each in found] == list(range(audit.findings))
    causes: dict[object, list] = {}
    for each in found:
        if not each.consequence_of:
            causes.setdefault(each.ticket_id, []).append(each)
    planted_ids = {by_number[ticket.number].pk for _, ticket in made}
    others = {rows[TICKETS].pk, rows[TICKETS + 2].pk, *(row.pk for row in wrong)}
    number_twins = {row.pk for row in rows if row.number == again.number}
    # Two of one number: the later one is told of.
    assert set(causes) - number_twins == planted_ids | others
    assert len(set(causes) & number_twins) == 1
    for mistake, ticket in made:
        mine = causes[by_number[ticket.number].pk]
        told = [(each.kind, each.rule) for each in mine]
        assert len(mine) == 1 and mine[0].kind in mistake.kind.split(" or "), (mistake.name, told)
        if mistake.explained:
            told = [text for each in mine for text in each.explanations]
            assert any(mistake.explained in text for text in told), (mistake.name, told)
        stated, right = ticket.stated["net_amount_usd"], ticket.by().net_amount_usd
        effects = sum(each.effect_usd for each in found if each.ticket_id == by_number[ticket.number].pk)
        assert effects == stated - right, mistake.name
    assert [each.kind for each in causes[rows[TICKETS].pk]] == ["no_schedule"]
    assert {each.kind for row in wrong for each in causes[row.pk]} == {"moisture_disagreement"}
    assert len(kinds) + 4 >= 50

    summary = summary_of(audit)
    assert summary["tickets_with_findings"] == len(causes)
    balance = sum((t.stated["net_amount_usd"] - t.by().net_amount_usd for _, t in made), Decimal(0))
    assert Decimal(summary["balance_usd"]) == balance
    assert sum(month["tickets"] for month in summary["by_month"]) == TICKETS + 3
    assert sum(month["tickets_with_findings"] for month in summary["by_month"]) == len(causes)


def test_clean_tickets_stay_clean() -> None:
    by = factories.access()
    audited.add_schedules(by)
    audited.add_tickets(by, planted.season(500, seed=11))
    audit = audited.audit(by)
    summary = summary_of(audit)
    assert (audit.findings, summary["tickets_with_findings"], summary["balance_usd"]) == (0, 0, "0.00")
