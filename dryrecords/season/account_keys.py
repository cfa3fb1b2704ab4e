"""Which accounts of tanks and electricity meters a batch, a reading or a delivery has a part in."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import connection

from dryrecords.core import clock
from dryrecords.journal import kinds
from dryrecords.journal.stale import Claim, Mark
from dryrecords.season.models import EnergyAccount

TANK, DRYER, SITE = (kind.value for kind in EnergyAccount.Kind)


class Key(NamedTuple):
    """Which account: of a tank, of a dryer's electricity meter or of a site's, in one harvest year. It goes from the
    last reading before 1 June to the last one before the next."""

    kind: str
    of_id: UUID
    season: int

    @property
    def mark(self) -> Mark:
        return Mark(kinds.ACCOUNT, f"{self.kind}:{self.of_id}:{self.season}")


class Accounted(NamedTuple):
    """What accounts need of a batch, as its result keeps it: any change makes its accounts anew."""

    tank_id: str | None
    site_id: str
    dryer_id: str
    started_at: str
    drying_ended_at: str | None
    cooling_ended_at: str | None
    # Cubic metres at 60 F of a liquid, joules of gas.
    fuel: float | None
    fuel_u: float
    kwh: float | None
    kwh_u: float


def season_span(season: int, zone: str) -> tuple[datetime, datetime]:
    june = clock.FIRST_MONTH_OF_A_SEASON
    return datetime(season, june, 1, tzinfo=ZoneInfo(zone)), datetime(season + 1, june, 1, tzinfo=ZoneInfo(zone))


_READ = {
    TANK: "harvest_fuelreading r WHERE r.tank_id = w.of_id",
    DRYER: "harvest_powerreading r WHERE r.dryer_id = w.of_id",
    SITE: "harvest_powerreading r WHERE r.site_id = w.of_id",
}
_ZONE = {
    TANK: "equipment_tank e JOIN tenancy_site s ON s.id = e.site_id",
    DRYER: "equipment_dryer e JOIN tenancy_site s ON s.id = e.site_id",
    SITE: "tenancy_site e JOIN tenancy_site s ON s.id = e.id",
}
# The reading that ends the interval in which something began, and the one that ends that in which it ended.
_AROUND = " UNION ALL ".join(
    f"""
    SELECT w.kind, w.of_id, s.timezone, first.at, coalesce(last.at, first.at)
    FROM unnest(%(kind)s::text[], %(of)s::uuid[], %(begun)s::timestamptz[], %(ended)s::timestamptz[])
        AS w (kind, of_id, begun, ended)
    JOIN {_ZONE[kind]} ON e.id = w.of_id
    CROSS JOIN LATERAL (
        SELECT r.at FROM {read} AND r.deleted_at IS NULL AND r.at >= w.begun ORDER BY r.at LIMIT 1) first
    LEFT JOIN LATERAL (
        SELECT r.at FROM {read} AND r.deleted_at IS NULL AND r.at >= w.ended ORDER BY r.at LIMIT 1) last ON true
    WHERE w.kind = '{kind}'
    """
    for kind, read in _READ.items()
)


def keys_of_batches(batches: Iterable[Accounted]) -> set[Key]:
    """Accounts that the batches draw on; none where nothing was read since."""
    asked = [
        (kind, of_id, each.started_at, each.cooling_ended_at or each.drying_ended_at or each.started_at)
        for each in batches
        for kind, of_id in ((TANK, each.tank_id), (DRYER, each.dryer_id), (SITE, each.site_id))
        if of_id
    ]
    return _keys(asked) if asked else set()


_OF_WIDE = {kinds.TANK: TANK, kinds.DRYER: DRYER, kinds.SITE_POWER: SITE}


def keys_of_claims(claims: Sequence[Claim]) -> set[Key]:
    """Accounts whose readings or deliveries changed: those that are, and those that may have to be."""
    asked = [(_OF_WIDE[c.kind], c.key, c.since, c.until) for c in claims if c.kind in _OF_WIDE]
    if not asked:
        return set()
    of = {UUID(each[1]) for each in asked}
    held = EnergyAccount.objects.filter(organization_id=claims[0].organization_id, of_id__in=of)
    return _keys(asked) | {Key(*row) for row in held.values_list("kind", "of_id", "season")}


def _keys(asked: Sequence[tuple[str, str, Any, Any]]) -> set[Key]:
    columns = zip(*asked, strict=True)
    found = set()
    with connection.cursor() as cursor:
        cursor.execute(_AROUND, dict(zip(("kind", "of", "begun", "ended"), map(list, columns), strict=True)))
        for kind, of_id, zone, first, last in cursor.fetchall():
            seasons = range(clock.season_of(first, zone), clock.season_of(last, zone) + 1)
            found |= {Key(kind, of_id, season) for season in seasons}
    return found
