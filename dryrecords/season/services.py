"""Works off stale marks: facts in, figures out, saved over older generations, for many batches at once."""

from __future__ import annotations

import logging
import math
from collections import defaultdict
from collections.abc import Callable, Sequence
from datetime import timedelta
from time import monotonic
from typing import Any
from uuid import UUID

import numpy as np
from django.db import DatabaseError, connection, transaction
from django.db.models import F
from psycopg.errors import DeadlockDetected

from dryrecords.core import clock
from dryrecords.grain.batch import METHOD_VERSION, BatchFigures, batch_figures
from dryrecords.grain.figures import FIGURES
from dryrecords.harvest.models import Batch
from dryrecords.journal import kinds, stale
from dryrecords.journal.models import StaleMark
from dryrecords.journal.stale import Claim, Mark
from dryrecords.season import aggregate
from dryrecords.season.account_keys import Accounted, Key, keys_of_batches, keys_of_claims
from dryrecords.season.accounts import compute_accounts
from dryrecords.season.affected import batches_touched
from dryrecords.season.assemble import Assembled, assemble
from dryrecords.season.facts import BatchRow, load_facts
from dryrecords.season.grids import compute_grids
from dryrecords.season.learned import compute_calibrations
from dryrecords.season.models import BatchResult, DryerCalibration, EnergyAccount, EnergyShare, SiteSeason
from dryrecords.season.notes import note_figures, note_flags
from dryrecords.season.storing import (
    save_results,
    save_site_season,
    stored_accounted,
    stored_places,
    stored_results,
)
from dryrecords.tenancy import scope

log = logging.getLogger(__name__)

BATCHES_AT_ONCE = 500
WIDE_AT_ONCE = 20
ACCOUNTS_AT_ONCE = 10
SITE_SEASONS_AT_ONCE = 10
# A dryer is learned anew once for all that comes in meanwhile.
CALIBRATE_AFTER_S = 10.0


def work_off(seconds: float = math.inf) -> bool:
    """Work until nothing is stale or the time is over. True if something may be left."""
    until = monotonic() + seconds
    steps: list[tuple[Sequence[str], int, Callable[[Sequence[Claim]], None]]] = [
        (kinds.WIDE, WIDE_AT_ONCE, _spread),
        ([kinds.BATCH], BATCHES_AT_ONCE, compute_results),
        ([kinds.ACCOUNT], ACCOUNTS_AT_ONCE, compute_accounts),
        ([kinds.SITE_SEASON], SITE_SEASONS_AT_ONCE, compute_site_seasons),
        ([kinds.FORECAST_GRID], 1, compute_grids),
        ([kinds.CALIBRATION], 1, compute_calibrations),
    ]
    while monotonic() < until:
        # From wide to narrow: what a price change touches is marked before batches are computed, those before what
        # they shared is accounted for, and that before their season is summed. The first kind with work has the turn.
        with scope.sweep():
            due = stale.due_kinds()
        if not any(due.intersection(of) and _work_on(of, limit, do) for of, limit, do in steps):
            return False
    return True


def _work_on(claim_kinds: Sequence[str], limit: int, do: Callable[[Sequence[Claim]], None]) -> bool:
    with scope.sweep():
        claims = stale.claim(claim_kinds, limit)
    by_organization: dict[UUID, list[Claim]] = defaultdict(list)
    for claim in claims:
        by_organization[claim.organization_id].append(claim)
    for organization_id, group in by_organization.items():
        with scope.organization(organization_id):
            _attempt(group, do)
    return bool(claims)


def _attempt(claims: Sequence[Claim], do: Callable[[Sequence[Claim]], None], *, again: bool = False) -> None:
    """One that fails among many is found by trying each alone; only that one waits for its next attempt."""
    try:
        do(claims)
    except Exception as error:
        if isinstance(error.__cause__, DeadlockDetected) and not again:
            # The database broke a tie between transactions and rolled this one back: it is simply done again.
            _attempt(claims, do, again=True)
            return
        if isinstance(error, DatabaseError):
            # The session may have ended, and what follows needs one that works.
            connection.close_if_unusable_or_obsolete()
        if len(claims) > 1:
            for claim in claims:
                _attempt([claim], do)
            return
        log.exception("%s %s could not be computed", claims[0].kind, claims[0].key)
        stale.give_back(claims[0], f"{type(error).__name__}: {error}")


def _spread(claims: Sequence[Claim]) -> None:
    """Turn wide marks into marks of the batches they touch."""
    with transaction.atomic():
        touched = {batch_id for claim in claims for batch_id in batches_touched(claim)}
        accounts = [key.mark for key in keys_of_claims(claims)]
        batches = [Mark(kinds.BATCH, str(batch_id)) for batch_id in touched]
        stale.raise_marks(claims[0].organization_id, [*accounts, *batches])
        stale.settle(claims)


def compute_results(claims: Sequence[Claim]) -> None:
    """Results of the claimed batches of one organization; a removed batch loses its result."""
    organization_id = claims[0].organization_id
    ids = [UUID(claim.key) for claim in claims]
    facts = load_facts(organization_id, ids)
    assembled = assemble(facts)
    figures = batch_figures(assembled.inputs)
    generations = {UUID(claim.key): claim.wanted for claim in claims}
    rows = _result_rows(organization_id, facts.batches, assembled, figures, generations)
    live = {batch.id for batch in facts.batches}
    with transaction.atomic():
        accounts = keys_of_batches(_accounted_otherwise(stored_accounted(ids), rows))
        places = {*stored_places(ids), *((r["site_id"], r["season"], r["dryer_id"], r["crop"]) for r in rows)}
        save_results(rows)
        # Before the batches' own marks are locked: accounts lock theirs first, then those of batches.
        stale.raise_marks(organization_id, [key.mark for key in accounts])
        overtaken = stale.settle(claims)
        # Settled first: whoever saves the same batches waits for the marks, and then sees what is deleted here.
        BatchResult.objects.filter(batch_id__in=set(ids) - live).delete()
        _take_back(overtaken)
        stale.raise_marks(organization_id, [calibration_mark(p[2], p[3]) for p in places], wait_s=CALIBRATE_AFTER_S)
        stale.raise_marks(organization_id, [site_season_mark(p[0], p[1]) for p in places])


def _accounted_otherwise(before: dict[UUID, list[Any]], rows: Sequence[dict[str, Any]]) -> list[Accounted]:
    """What accounts need of the batches of which they need something else than before: as it was, and as it is."""
    after = {row["batch_id"]: row["accounted"] for row in rows}
    changed = [id for id in {*before, *after} if before.get(id) != after.get(id)]
    return [Accounted(*of[id]) for of in (before, after) for id in changed if of.get(id)]


def _take_back(overtaken: Sequence[Claim]) -> None:
    """An older result is only ever saved where a newer worker found the batch removed, and so left no result."""
    for claim in overtaken:
        BatchResult.objects.filter(batch_id=claim.key, generation__lte=claim.wanted).delete()


def calibration_mark(dryer_id: UUID, crop: str) -> Mark:
    return Mark(kinds.CALIBRATION, f"{dryer_id}:{crop}")


def site_season_mark(site_id: UUID, season: int) -> Mark:
    return Mark(kinds.SITE_SEASON, f"{site_id}:{season}")


def _result_rows(
    organization_id: UUID,
    batches: Sequence[BatchRow],
    assembled: Assembled,
    figures: BatchFigures,
    generations: dict[UUID, int],
) -> list[dict[str, Any]]:
    columns = {name: _nullable(figures.values[name]) for name in FIGURES}
    columns |= {f"{name}_u": _nullable(figures.uncertainties[name]) for name in FIGURES}
    flags = {name: flag.tolist() for name, flag in figures.flags.items()}
    base_moisture = np.asarray(assembled.inputs.base_moisture_pct).tolist()
    j_per_m3 = np.asarray(assembled.inputs.fuel_energy_j_per_m3).tolist()
    moment = clock.now()
    rows = []
    for i, batch in enumerate(batches):
        notes = assembled.notes[i]
        own_flags = {name: flag[i] for name, flag in flags.items()}
        note_flags(notes, batch.crop, own_flags)
        own = {name: column[i] for name, column in columns.items()}
        note_figures(notes, own, own_flags)
        rows.append(
            {
                "batch_id": batch.id,
                "organization_id": organization_id,
                "site_id": batch.site_id,
                "dryer_id": batch.dryer_id,
                "season": batch.season,
                "crop": batch.crop,
                "generation": generations[batch.id],
                "computed_at": moment,
                "method_version": METHOD_VERSION,
                "complete": notes.complete,
                "missing": notes.missing,
                "assumed": notes.assumed,
                "warnings": notes.warnings,
                "base_moisture_pct": base_moisture[i],
                "fuel_basis": _basis(own["fuel_energy_j"], own_flags["fuel_estimated"], notes.fuel_share),
                "electricity_basis": _basis(
                    own["electricity_kwh"],
                    own_flags["electricity_estimated"] or own_flags["electricity_from_fan"],
                    notes.electricity_share,
                ),
                "accounted": list(_accounted(batch, own, j_per_m3[i])),
                **own,
            }
        )
    return rows


def _nullable(column: np.ndarray[Any, Any]) -> list[float | None]:
    return [None if math.isnan(x) else x for x in column.tolist()]


def _accounted(batch: BatchRow, own: dict[str, float | None], j_per_m3: float) -> Accounted:
    """A liquid is accounted for by volume, gas by energy."""
    unit_j = j_per_m3 if batch.fuel != "natural_gas" else 1.0
    fuel, fuel_u = own["expected_fuel_energy_j"], own["expected_fuel_energy_j_u"] or 0.0
    dried = batch.drying_ended_at
    cooled = batch.cooling_ended_at or (dried and dried + timedelta(seconds=batch.cooling_s or 0.0))
    return Accounted(
        tank_id=str(batch.tank_id) if batch.tank_id else None,
        site_id=str(batch.site_id),
        dryer_id=str(batch.dryer_id),
        started_at=batch.started_at.isoformat(),
        drying_ended_at=dried.isoformat() if dried else None,
        cooling_ended_at=cooled.isoformat() if cooled else None,
        fuel=None if fuel is None else fuel / unit_j,
        fuel_u=fuel_u / unit_j,
        kwh=own["expected_electricity_kwh"],
        kwh_u=own["expected_electricity_kwh_u"] or 0.0,
    )


def _basis(figure: float | None, estimated: bool, share: str) -> str:
    """Empty where there is no figure to rest on anything; what the account says where the figure is its share."""
    if figure is None:
        return ""
    if share:
        return share
    return BatchResult.Basis.ESTIMATED if estimated else BatchResult.Basis.METERED


def compute_site_seasons(claims: Sequence[Claim]) -> None:
    for claim in claims:
        site_id, season = claim.key.split(":")
        row = _site_season(claim, UUID(site_id), int(season))
        with transaction.atomic():
            if row["batches"]:
                save_site_season(row)
            if stale.settle([claim]) or not row["batches"]:
                SiteSeason.objects.filter(
                    organization_id=claim.organization_id, site_id=site_id, season=season, generation__lte=claim.wanted
                ).delete()


def _site_season(claim: Claim, site_id: UUID, season: int) -> dict[str, Any]:
    """Figures of the complete batches alone: what went in then is what came out, and they add up."""
    read = ("batch_id", "dryer_id", "crop", "fuel_basis", "complete", *aggregate.COLUMNS)
    every = stored_results(claim.organization_id, site_id, season, read)
    rows = [row for row in every if row[4]]
    table = np.array([row[5:] for row in rows], dtype=float).reshape(len(rows), len(aggregate.COLUMNS))
    columns = {name: np.ascontiguousarray(table[:, i]) for i, name in enumerate(aggregate.COLUMNS)}
    best, worst = aggregate.best_and_worst(columns, [str(row[0]) for row in rows])
    return {
        "organization_id": claim.organization_id,
        "site_id": site_id,
        "season": season,
        "generation": claim.wanted,
        "computed_at": clock.now(),
        "batches": len(every),
        "complete_batches": len(rows),
        "figures": {
            "fuel_metered": sum(row[3] == BatchResult.Basis.METERED for row in rows),
            "fuel_allocated": sum(row[3] == BatchResult.Basis.ALLOCATED for row in rows),
            "parts": aggregate.parts(columns),
            "by_dryer": aggregate.grouped(columns, [str(row[1]) for row in rows]),
            "by_crop": aggregate.grouped(columns, [row[2] for row in rows]),
            "best": best,
            "worst": worst,
        },
    }


def rebuild(season: int | None = None) -> int:
    """Throw derived rows away and mark every batch; whoever works off the marks makes them anew."""
    which = {} if season is None else {"season": season}
    batches = Batch.objects.filter(deleted_at__isnull=True, **which)
    results = BatchResult.objects.filter(**which)
    seasons = SiteSeason.objects.filter(**which)
    count = 0
    for organization_id in scope.each_organization():
        with transaction.atomic():
            ids = batches.filter(organization_id=organization_id).values_list("id", flat=True)
            count += len(ids)
            results.filter(organization_id=organization_id).delete()
            seasons.filter(organization_id=organization_id).delete()
            accounts = EnergyAccount.objects.filter(organization_id=organization_id, **which)
            keys = [Key(*row) for row in accounts.values_list("kind", "of_id", "season")]
            accounts.delete()
            EnergyShare.objects.filter(organization_id=organization_id, **which).delete()
            if season is None:
                DryerCalibration.objects.filter(organization_id=organization_id).delete()
            marks = [Mark(kinds.BATCH, str(batch_id)) for batch_id in ids]
            stale.raise_marks(organization_id, [*marks, *(key.mark for key in keys)])
    return count


def everything_fresh(organization_id: UUID) -> bool:
    return not stale.open_marks(organization_id, [*kinds.WIDE, kinds.BATCH, kinds.ACCOUNT, kinds.SITE_SEASON])


def all_failures() -> list[tuple[str, str, str]]:
    """Kind, key and last error of what could not be computed, in every organization."""
    marks = StaleMark.objects.filter(wanted__gt=F("done")).exclude(last_error="")
    with scope.sweep():
        return list(marks.order_by("kind", "key").values_list("kind", "key", "last_error"))
