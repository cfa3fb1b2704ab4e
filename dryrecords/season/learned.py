"""Background work: learns dryers anew after their results have changed."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import UUID

from django.db import transaction

from dryrecords.core import clock
from dryrecords.core.errors import Invalid
from dryrecords.equipment.models import Dryer
from dryrecords.journal import stale
from dryrecords.journal.stale import Claim
from dryrecords.season.calibration import calibrate
from dryrecords.season.models import DryerCalibration
from dryrecords.season.storing import save_calibration


def compute_calibrations(claims: Sequence[Claim]) -> None:
    for claim in claims:
        dryer_id, crop = claim.key.split(":")
        columns = _columns(claim.organization_id, UUID(dryer_id), crop)
        keys = {"organization_id": claim.organization_id, "dryer_id": UUID(dryer_id), "crop": crop}
        with transaction.atomic():
            if columns is not None:
                save_calibration({**keys, "generation": claim.wanted, "computed_at": clock.now(), **columns})
            # Overtaken: a newer worker may have found the dryer gone, and so left nothing to be older than.
            if stale.settle([claim]) or columns is None:
                DryerCalibration.objects.filter(**keys, generation__lte=claim.wanted).delete()


def _columns(organization_id: UUID, dryer_id: UUID, crop: str) -> dict[str, object] | None:
    """None for a dryer that is gone or whose record has no floor area: it can teach nothing."""
    dryer = (
        Dryer.objects.filter(organization_id=organization_id, pk=dryer_id, deleted_at__isnull=True)
        .select_related("site")
        .first()
    )
    if dryer is None:
        return None
    try:
        return calibrate(dryer, crop)
    except Invalid:
        return None
