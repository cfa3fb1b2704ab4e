"""Moisture in and out of many batches, from their samples and refills, with what a shared meter makes them share."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from uuid import UUID

import numpy as np

from dryrecords.grain.arrays import FloatArray, IntArray, StrArray
from dryrecords.grain.sampling import UNNAMED_METER, MoistureMeans, combine_moisture, moisture_covariance_pct2
from dryrecords.grain.uncertainty import SINGLE_SAMPLE_U_PCT, meter_bias_u_pct
from dryrecords.season.facts import BatchRow, SampleRow

Columns = dict[str, FloatArray]
Samples = Sequence[Sequence[SampleRow]]


def moisture_columns(
    batches: Sequence[BatchRow], crops: StrArray, wet: Samples, out: Samples, known: Mapping[str, FloatArray]
) -> Columns:
    """The moisture columns of BatchInputs; `known` holds masses and handling loss of the same batches."""
    meters = _numbered(wet, out)
    means_in, means_out = _means(wet, crops, meters), _means(out, crops, meters)
    moisture_in, u_in, share = _with_refills(batches, crops, means_in, means_out, known)
    return {
        "moisture_in_pct": moisture_in,
        "moisture_in_u_pct": u_in,
        "moisture_out_pct": means_out.moisture_pct,
        "moisture_out_u_pct": means_out.moisture_u_pct,
        "moisture_covariance_pct2": share * moisture_covariance_pct2(means_in, means_out),
        "moisture_out_parts_pct": _padded(out),
    }


def _numbered(*stages: Samples) -> dict[UUID, int]:
    ids = {sample.meter_id for stage in stages for samples in stage for sample in samples if sample.meter_id}
    return {meter_id: number for number, meter_id in enumerate(sorted(ids))}


def _means(stage: Samples, crops: StrArray, meters: Mapping[UUID, int]) -> MoistureMeans:
    flat = [(i, sample) for i, samples in enumerate(stage) for sample in samples]
    batch: IntArray = np.array([i for i, _ in flat], dtype=np.int64)
    moisture = np.array([sample.moisture_pct for _, sample in flat], dtype=float)
    meter = np.array([meters[s.meter_id] if s.meter_id else UNNAMED_METER for _, s in flat], dtype=np.int64)
    own_u = np.array([math.nan if s.meter_u_pct is None else s.meter_u_pct for _, s in flat], dtype=float)
    # A meter without a figure of its own is within the published tolerance, which grows with moisture.
    meter_u = np.where(np.isnan(own_u), meter_bias_u_pct(crops[batch], moisture), own_u)
    return combine_moisture(moisture, np.ones(len(flat)), meter, meter_u, batch, len(stage))


def _padded(stage: Samples) -> FloatArray:
    """One row of samples per batch. Each stands for an equal share of the dried grain."""
    widest = max((len(samples) for samples in stage), default=0)
    padded = np.full((len(stage), max(widest, 1)), math.nan)
    for i, samples in enumerate(stage):
        padded[i, : len(samples)] = [sample.moisture_pct for sample in samples]
    return padded


def _with_refills(
    batches: Sequence[BatchRow],
    crops: StrArray,
    means_in: MoistureMeans,
    means_out: MoistureMeans,
    known: Mapping[str, FloatArray],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Moisture in weighted by the mass of the first charge and of each refill: mean, uncertainty, first charge's share.

    A refill's moisture is a single test by an unnamed meter.
    """
    moisture, u = means_in.moisture_pct.copy(), means_in.moisture_u_pct.copy()
    share = np.ones(len(batches))
    for i, batch in enumerate(batches):
        if not batch.refills:
            continue
        mass = np.array([refill["mass_kg"] for refill in batch.refills], dtype=float)
        tested = np.array([refill["moisture_pct"] for refill in batch.refills], dtype=float)
        total = _total_mass(i, mass, tested, moisture[i], means_out.moisture_pct[i], known)
        part = mass / total
        share[i] = 1.0 - part.sum()
        bias = meter_bias_u_pct(np.full(part.shape, crops[i]), tested)
        moisture[i] = share[i] * moisture[i] + (part * tested).sum()
        u[i] = math.sqrt(
            (share[i] * u[i]) ** 2 + ((part * SINGLE_SAMPLE_U_PCT) ** 2).sum() + float((part * bias).sum()) ** 2
        )
    return moisture, u, share


def _total_mass(
    i: int,
    refill_kg: FloatArray,
    refill_pct: FloatArray,
    first_pct: float,
    out_pct: float,
    known: Mapping[str, FloatArray],
) -> float:
    """All that went in. If only the dried grain was weighed: the mass whose dry matter, less handling, came out."""
    total = float(known["wet_mass_kg"][i])
    if not math.isnan(total):
        return total
    kept = (100.0 - first_pct) / (100.0 - out_pct) - float(known["handling_pct"][i]) / 100.0
    drier_refills = float((refill_kg * (first_pct - refill_pct)).sum()) / (100.0 - out_pct)
    return (float(known["dry_mass_kg"][i]) - drier_refills) / kept
