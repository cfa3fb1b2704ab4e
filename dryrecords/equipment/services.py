"""Every write in equipment, and which figures each makes stale."""

from __future__ import annotations

from dryrecords.equipment.models import Bin, Dryer, Meter, Tank
from dryrecords.journal import kinds
from dryrecords.journal.stale import Mark
from dryrecords.tenancy.records import Record
from dryrecords.tenancy.writes import MarksOf, Writer


def _whole(kind: str) -> MarksOf:
    """A correction to a piece of equipment concerns every batch it had a part in. A new one had none."""

    def marks(before: Record | None, after: Record | None) -> list[Mark]:
        return [Mark(kind, str(before.pk))] if before else []

    return marks


def _dryer_marks(before: Dryer | None, after: Dryer | None) -> list[Mark]:
    """A dryer that moves to another tank or site also leaves neighbours behind on the old ones."""
    if before is None:
        return []
    marks = [Mark(kinds.DRYER, str(before.pk))]
    if after and before.tank_id and before.tank_id != after.tank_id:
        marks.append(Mark(kinds.TANK, str(before.tank_id)))
    if after and before.site_id != after.site_id:
        marks.append(Mark(kinds.SITE_POWER, str(before.site_id)))
    return marks


tanks = Writer(Tank, marks_of=_whole(kinds.TANK))
dryers = Writer(Dryer, marks_of=_dryer_marks)
meters = Writer(Meter, marks_of=_whole(kinds.METER))
bins = Writer(Bin)
