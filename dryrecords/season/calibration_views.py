"""Reads of what a dryer's batches taught: whether it is fresh, and of batches only those that the caller may see."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection

from dryrecords.core.errors import NotFound
from dryrecords.equipment.models import Dryer
from dryrecords.harvest.models import Batch, Crop
from dryrecords.journal import kinds
from dryrecords.journal.models import StaleMark
from dryrecords.season.affected import touched_by_open_marks
from dryrecords.season.calibration import calibration_of
from dryrecords.season.models import DryerCalibration
from dryrecords.tenancy.access import Access

# Lists of batches in the figures of a calibration.
OF_BATCHES = ("left_out", "last")


@dataclass(frozen=True)
class CalibrationView:
    """`calibration` is None until the dryer was learned for the first time."""

    dryer: Dryer
    crop: str
    calibration: DryerCalibration | None
    # Its figures, without the ids of batches that the caller may not see.
    figures: dict[str, Any]
    fresh: bool
    error: str


def dryer_of(access: Access, dryer_id: UUID) -> Dryer:
    """With the site and the tank, which every forecast asks for."""
    found: Dryer | None = Dryer.objects.visible_to(access).filter(pk=dryer_id).select_related("site", "tank").first()
    if found is None:
        raise NotFound()
    return found


def usual_crop(dryer: Dryer) -> str:
    """The crop of the newest batch, for who asks for none."""
    newest = Batch.objects.filter(dryer=dryer, deleted_at__isnull=True).order_by("-started_at", "-id").first()
    return newest.crop if newest else Crop.CORN.value


def calibration_view(access: Access, dryer_id: UUID, crop: str = "") -> CalibrationView:
    dryer = dryer_of(access, dryer_id)
    crop = crop or usual_crop(dryer)
    # Marks before the row: work that lands in between makes the row newer than what was said of it, never older.
    waiting = touched_by_open_marks(access.organization_id, dryer.pk) or _batches_wait(dryer, crop)
    mark = StaleMark.objects.filter(
        organization_id=access.organization_id, kind=kinds.CALIBRATION, key=f"{dryer.pk}:{crop}"
    ).first()
    open_mark = mark is not None and mark.wanted > mark.done
    held = calibration_of(access.organization_id, dryer.pk, crop)
    return CalibrationView(
        dryer=dryer,
        crop=crop,
        calibration=held,
        figures=_as_seen(access, held.figures) if held else {},
        fresh=not (waiting or open_mark) and (held is not None or not _has_batches(dryer, crop)),
        error=mark.last_error if mark else "",
    )


def _has_batches(dryer: Dryer, crop: str) -> bool:
    return Batch.objects.filter(dryer=dryer, crop=crop, deleted_at__isnull=True).exists()


def _batches_wait(dryer: Dryer, crop: str) -> bool:
    """Does a batch of this dryer and crop wait to be computed?"""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT EXISTS (SELECT 1 FROM journal_stalemark m JOIN harvest_batch b ON b.id::text = m.key"
            " WHERE m.organization_id = %s AND m.kind = %s AND m.wanted > m.done"
            " AND b.dryer_id = %s AND b.crop = %s)",
            [dryer.organization_id, kinds.BATCH, dryer.pk, crop],
        )
        return bool(cursor.fetchone()[0])


def _as_seen(access: Access, figures: dict[str, Any]) -> dict[str, Any]:
    """Factors are the dryer's own and shown as they are; single batches only to who may see them."""
    if access.customer_id is None:
        return figures
    told = {row["batch"] for name in OF_BATCHES for row in figures[name]} | set(figures["wild"])
    seen = {str(pk) for pk in Batch.objects.visible_to(access).filter(pk__in=told).values_list("pk", flat=True)}
    lists = {name: [row for row in figures[name] if row["batch"] in seen] for name in OF_BATCHES}
    return figures | lists | {"wild": [each for each in figures["wild"] if each in seen]}
