"""Which batches a wide mark touches, and the other way round: a price, a meter, a tank reading, a neighbour."""

from __future__ import annotations

from uuid import UUID

from django.db import connection

from dryrecords.journal import kinds, stale
from dryrecords.journal.stale import Claim

# A batch occupies its dryer from the start to when it was emptied, as far as that is known.
END = "coalesce({0}.emptied_at, {0}.cooling_ended_at, {0}.drying_ended_at, {0}.started_at)"
OCCUPANCY = f"tstzrange({{0}}.started_at, {END}, '[]')"


def reach(dryer: str, since: str) -> str:
    """`reach.earliest`: no batch of the dryer that started before it lasted until `since`.

    Behind row-level security an index is searched by comparisons that cannot leak a row, which those of moments are
    and those of spans are not; so spans are found by their start, and the longest one says how far back to look. The
    longest comes from the index batch_duration. OFFSET keeps the sum out of the comparison.
    """
    return (
        f"LATERAL (SELECT {since} - coalesce((SELECT {END.format('x')} - x.started_at FROM harvest_batch x"
        f" WHERE x.dryer_id = {dryer} AND x.deleted_at IS NULL"
        f" ORDER BY {END.format('x')} - x.started_at DESC LIMIT 1), '0') AS earliest OFFSET 0) reach"
    )


def _batches(dryers: str, span: str) -> str:
    return (
        f"SELECT b.id FROM ({span} OFFSET 0) span CROSS JOIN equipment_dryer d CROSS JOIN {reach('d.id', 'span.low')}"
        f" JOIN harvest_batch b ON b.dryer_id = d.id AND b.deleted_at IS NULL"
        f" AND b.started_at >= reach.earliest AND b.started_at <= span.high AND {END.format('b')} >= span.low"
        f" WHERE {dryers}"
    )


def _around(table: str, match: str) -> str:
    """From the last reading before the touched span to the first one after it: no batch outside is bracketed by it."""
    readings = f"FROM {table} r WHERE {match} AND r.deleted_at IS NULL"
    return (
        f"SELECT coalesce((SELECT max(r.at) {readings} AND r.at < %(since)s), %(since)s) AS low,"
        f" coalesce((SELECT min(r.at) {readings} AND r.at > %(until)s), %(until)s) AS high"
    )


_THE_DRYER = "(SELECT {} FROM equipment_dryer WHERE id = %(key)s)"
_OF_TANK = _batches("d.tank_id = %(key)s", _around("harvest_fuelreading", "r.tank_id = %(key)s"))
_OF_SITE_METER = _batches("d.site_id = %(key)s", _around("harvest_powerreading", "r.site_id = %(key)s"))
# Neighbours share the dryer and its meter, its tank, or its site's meter.
_OF_DRYER = " UNION ".join(
    [
        _batches("d.id = %(key)s", _around("harvest_powerreading", "r.dryer_id = %(key)s")),
        _OF_TANK.replace("%(key)s", _THE_DRYER.format("tank_id")),
        _OF_SITE_METER.replace("%(key)s", _THE_DRYER.format("site_id")),
    ]
)

_SQL = {
    kinds.DRYER: _OF_DRYER,
    kinds.TANK: _OF_TANK,
    kinds.SITE_POWER: _OF_SITE_METER,
    kinds.METER: "SELECT DISTINCT batch_id FROM harvest_sample WHERE meter_id = %(key)s AND batch_id IS NOT NULL",
    kinds.LOT: "SELECT id FROM harvest_batch WHERE lot_id = %(key)s",
}
# Prices and settings hold from a moment on, for whatever ended after it.
_FROM_THEN_ON = (
    "SELECT b.id FROM harvest_batch b WHERE b.organization_id = %(organization_id)s AND b.deleted_at IS NULL"
    " AND coalesce(b.drying_ended_at, b.started_at) >= %(since)s"
)


def batches_touched(claim: Claim) -> list[UUID]:
    with connection.cursor() as cursor:
        cursor.execute(
            _SQL.get(claim.kind, _FROM_THEN_ON),
            {
                "key": claim.key,
                "organization_id": claim.organization_id,
                "since": claim.since,
                "until": claim.until,
            },
        )
        return [row[0] for row in cursor.fetchall()]


# What a mark of these kinds touches shares a site or a tank with its key; the other wide kinds may touch anything.
LOCAL = (kinds.DRYER, kinds.TANK, kinds.SITE_POWER)
EVERYWHERE = tuple(kind for kind in kinds.WIDE if kind not in LOCAL)

# Dryers `d` whose batches an open local mark may touch. A key of one kind is never the id of another.
DRYERS_WITH_OPEN_MARKS = """
    (SELECT kind, key::uuid AS key FROM journal_stalemark
     WHERE organization_id = %(organization)s AND kind = ANY(%(local)s) AND wanted > done OFFSET 0) mark
    LEFT JOIN equipment_dryer k ON mark.kind = 'dryer' AND k.id = mark.key
    JOIN equipment_dryer d ON d.site_id = coalesce(k.site_id, mark.key) OR d.tank_id = coalesce(k.tank_id, mark.key)
"""


# And those whose batches an account that is still to be made may give another share.
DRYERS_WITH_OPEN_ACCOUNTS = """
    (SELECT split_part(key, ':', 2)::uuid AS key FROM journal_stalemark
     WHERE organization_id = %(organization)s AND kind = 'account' AND wanted > done OFFSET 0) account
    JOIN equipment_dryer d ON account.key IN (d.id, d.site_id, d.tank_id)
"""


# Of a batch that has a share: others that draw on the same tank or meter and wait to be computed. When they are, in one
# transaction, the account's mark is raised; so these and that have to be looked at in one statement.
_SHARERS_WAIT = """
    SELECT 1 FROM (
        SELECT key::uuid AS key FROM journal_stalemark
        WHERE organization_id = %(organization)s AND kind = 'batch' AND wanted > done OFFSET 0) mark
    JOIN harvest_batch b ON b.id = mark.key JOIN equipment_dryer d ON d.id = b.dryer_id
    JOIN season_energyshare s ON s.batch_id = %(batch)s AND s.of_id IN (d.id, d.site_id, d.tank_id)
"""


# Dryers `n` of whose batches some have shares, and that draw on one tank or meter with one that has a batch that waits.
_DRYERS_THAT_SHARE = """
    (SELECT key::uuid AS key FROM journal_stalemark
     WHERE organization_id = %(organization)s AND kind = 'batch' AND wanted > done OFFSET 0) mark
    JOIN harvest_batch b ON b.id = mark.key JOIN equipment_dryer d ON d.id = b.dryer_id
    JOIN equipment_dryer n ON n.id = d.id OR n.tank_id = d.tank_id OR n.site_id = d.site_id
    JOIN season_energyshare s ON s.of_id IN (n.id, n.tank_id, n.site_id)
"""


def touched_by_open_marks(organization_id: UUID, dryer_id: UUID, batch_id: UUID | None = None) -> bool:
    """May an open mark of something else touch this batch, or any of this dryer? Sometimes yes though it does not."""
    if stale.open_marks(organization_id, EVERYWHERE):
        return True
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT EXISTS (SELECT 1 FROM {DRYERS_WITH_OPEN_MARKS} WHERE d.id = %(dryer)s)"
            f" OR EXISTS (SELECT 1 FROM {DRYERS_WITH_OPEN_ACCOUNTS} WHERE d.id = %(dryer)s)"
            f" OR EXISTS ({_SHARERS_WAIT})",
            {"organization": organization_id, "local": list(LOCAL), "dryer": dryer_id, "batch": batch_id},
        )
        return bool(cursor.fetchone()[0])


def dryers_touched_by_open_marks(organization_id: UUID) -> set[UUID] | None:
    """The dryers of which the same may be said; None for all of them."""
    if stale.open_marks(organization_id, EVERYWHERE):
        return None
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT d.id FROM {DRYERS_WITH_OPEN_MARKS} UNION SELECT d.id FROM {DRYERS_WITH_OPEN_ACCOUNTS}"
            f" UNION SELECT n.id FROM {_DRYERS_THAT_SHARE}",
            {"organization": organization_id, "local": list(LOCAL)},
        )
        return {row[0] for row in cursor.fetchall()}
