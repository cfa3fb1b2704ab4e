"""Moisture of many batches from their samples: mean, standard uncertainty, what one meter's bias makes them share."""

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import FloatArray, IntArray, ratio
from dryrecords.grain.uncertainty import SINGLE_SAMPLE_U_PCT

UNNAMED_METER = -1


@dataclass(frozen=True)
class MoistureMeans:
    """Weighted mean moisture of n batches at one stage, and how the bias of each meter enters it.

    The bias arrays have one entry for each pair of batch and named meter, in rising order of the pair.
    """

    moisture_pct: FloatArray  # (n,), NaN where a batch has no sample
    moisture_u_pct: FloatArray  # (n,)
    random_u_pct: FloatArray  # (n,), the part that is not the meters' bias
    samples: IntArray  # (n,)
    bias_batch: IntArray  # (p,)
    bias_meter: IntArray  # (p,)
    bias_u_pct: FloatArray  # (p,), what the meter's bias gives the mean [points]


def combine_moisture(
    moisture_pct: FloatArray,
    weight: FloatArray,
    meter: IntArray,
    meter_u_pct: FloatArray,
    batch: IntArray,
    batches: int,
) -> MoistureMeans:
    """Weighted mean moisture of each batch from all samples of one stage, with its standard uncertainty.

    Parameters
    ----------
    moisture_pct : array, shape (s,). [% wet basis]; a NaN sample is left out
    weight : array, shape (s,); mass that the sample stands for, or 1. [any one unit]; left out unless above 0
    meter : int array, shape (s,); index of the meter, UNNAMED_METER where not recorded
    meter_u_pct : array, shape (s,); standard uncertainty of that meter's bias. [points]
    batch : int array, shape (s,); index of the batch, 0 to batches - 1
    batches : number of batches n

    Returns
    -------
    MoistureMeans of n batches; the order of the samples makes no difference, to the last bit

    Raises      nothing for odd values
    Equation    mean = sum s_i m_i; random u^2 = n/(n - 1) sum s_i^2 (m_i - mean)^2, which is the squared standard
                error when the shares s_i are equal; bias u^2 = sum over meters (sum of s_i u_meter)^2
    Source      JCGM 100:2008 sections 4.2.3 (random part) and 5.2.2 (full correlation within one meter); the
                weighted standard error is that of a ratio estimate, Cochran 1977, from memory
    Known gap   samples by unnamed meters count as if one meter had read them all, within the stage only
    Checked by  tests/grain/test_sampling.py
    """
    use = np.isfinite(moisture_pct) & np.isfinite(weight) & (weight > 0.0)
    # one order whatever the caller's: sums of floats depend on it
    order = np.lexsort((meter_u_pct[use], weight[use], moisture_pct[use], batch[use]))
    m, w, u = (x[use][order] for x in (moisture_pct, weight, meter_u_pct))
    meter, batch = meter[use][order], batch[use][order]
    samples = np.bincount(batch, minlength=batches)
    share = w / np.bincount(batch, w, batches)[batch]
    mean = np.where(samples > 0, np.bincount(batch, share * m, batches), np.nan)
    random_u = _random_u_pct(share * (m - mean[batch]), batch, samples)
    bias_batch, bias_meter, bias_u = _biases(share * u, batch, meter)
    bias_variance = _sum_by_batch(bias_u**2, bias_batch, batches)
    named = bias_meter != UNNAMED_METER
    return MoistureMeans(
        mean,
        np.sqrt(random_u**2 + bias_variance),
        random_u,
        samples,
        bias_batch[named],
        bias_meter[named],
        bias_u[named],
    )


def moisture_covariance_pct2(one: MoistureMeans, other: MoistureMeans) -> FloatArray:
    """Covariance between two means of each batch that the meters used for both give.

    Parameters
    ----------
    one, other : means of the same n batches (wet and dry samples), meters numbered alike

    Returns
    -------
    array of shape (n,). [points squared]; 0 where no meter was used for both

    Source      JCGM 100:2008 section F.1.2.3, eq. F.2
    Checked by  tests/grain/test_sampling.py
    """
    batches = one.samples.size
    one_pair = one.bias_meter * batches + one.bias_batch
    other_pair = other.bias_meter * batches + other.bias_batch
    pair, in_one, in_other = np.intersect1d(one_pair, other_pair, assume_unique=True, return_indices=True)
    return _sum_by_batch(one.bias_u_pct[in_one] * other.bias_u_pct[in_other], pair % max(batches, 1), batches)


def _random_u_pct(deviation: FloatArray, batch: IntArray, samples: IntArray) -> FloatArray:
    """Observed standard error of each mean; a single sample has the published scatter of single tests."""
    spread = ratio(samples, samples - 1.0) * np.bincount(batch, deviation**2, samples.size)
    return np.where(samples == 0, np.nan, np.where(samples == 1, SINGLE_SAMPLE_U_PCT, np.sqrt(spread)))


def _biases(bias_u: FloatArray, batch: IntArray, meter: IntArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Sums of bias_u over the samples of each pair of batch and meter that occurs: batch, meter, sum."""
    meters = int(meter.max(initial=UNNAMED_METER)) + 2
    pair, place = np.unique(batch * meters + (meter - UNNAMED_METER), return_inverse=True)
    sums = np.bincount(place, bias_u, pair.size).astype(float)
    return pair // meters, pair % meters + UNNAMED_METER, sums


def _sum_by_batch(x: FloatArray, batch: IntArray, batches: int) -> FloatArray:
    """Sum of x for each batch, smallest first, so that the numbering of the meters makes no difference."""
    order = np.lexsort((x, batch))
    return np.bincount(batch[order], x[order], batches).astype(float)
