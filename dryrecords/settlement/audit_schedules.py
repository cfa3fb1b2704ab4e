"""The schedules of a buyer as an audit needs them: when each was in force, for which grain, by which rules."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from dryrecords.settlement.terms import Rules


@dataclass(frozen=True)
class AuditSchedule:
    id: UUID
    effective_from: datetime
    effective_to: datetime | None
    disposition: str
    jurisdiction: str
    rules: Rules

    def is_for(self, sold: NDArray[np.bool_]) -> NDArray[np.bool_]:
        if self.disposition == "sold":
            return sold
        return ~sold if self.disposition == "stored" else np.ones(len(sold), bool)

    def as_an_error(self) -> str:
        """How it is told of where another was in force."""
        grain = "" if self.disposition == "any" else f" for grain {self.disposition}"
        return f"the schedule{grain} from {self.effective_from:%Y-%m-%d}"
