"""Time: the one place that asks for now, and the harvest year of a moment."""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils import timezone

FIRST_MONTH_OF_A_SEASON = 6


def now() -> datetime:
    return timezone.now()


def season_of(moment: datetime, timezone_name: str) -> int:
    """Harvest year: what starts before 1 June, local time, still belongs to the year before."""
    local = moment.astimezone(ZoneInfo(timezone_name))
    return local.year if local.month >= FIRST_MONTH_OF_A_SEASON else local.year - 1
