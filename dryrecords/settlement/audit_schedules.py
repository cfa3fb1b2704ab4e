"""The schedules of a buyer as an audit needs them: when each was in force, for which grain, by which rules."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from dryrecords.settlement.rules import rules_of
from dryrecords.settlement.schedule_model import Schedule
from dryrecords.settlement.terms import Rules
from dryrecords.tenancy.access import Access


@dataclass(frozen=True)
class AuditSchedule:
    id: UUID
    effective_from: datetime
    effective_to: datetime | None
    # Of a ticket's dispositions, or any.
    disposition: str
    jurisdiction: str
    rules: Rules

    def is_for(self, sold: NDArray[np.bool_]) -> NDArray[np.bool_]:
        if self.disposition == Schedule.Disposition.SOLD:
            return sold
        return ~sold if self.disposition == Schedule.Disposition.STORED else np.ones(len(sold), bool)

    def as_an_error(self) -> str:
        """How it is told of where another was in force."""
        grain = "" if self.disposition == Schedule.Disposition.ANY else f" for grain {self.disposition}"
        return f"the schedule{grain} from {self.effective_from:%Y-%m-%d}"


def schedules_of(access: Access, buyer: str, crop: str) -> list[AuditSchedule]:
    """All of them, the earliest first: those not in force show what a ticket may have been settled by instead."""
    rows = Schedule.objects.visible_to(access).filter(buyer=buyer, crop=crop).order_by("effective_from", "disposition")
    return [
        AuditSchedule(
            id=each.pk,
            effective_from=each.effective_from,
            effective_to=each.effective_to,
            disposition=each.disposition,
            jurisdiction=each.jurisdiction,
            rules=rules_of(each.rules),
        )
        for each in rows
    ]
