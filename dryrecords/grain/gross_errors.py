"""Finds readings and intervals that cannot be right: a slip of the pen, a delivery that nobody wrote down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import FloatArray, IntArray

# A residual beyond so many standard uncertainties is told, not spread: in one of 370 residuals of clean data.
BEYOND_U = 3.0
# A signature that those already found explain is none of its own.
_EXPLAINED = 1e-8


@dataclass(frozen=True)
class GrossErrors:
    """h errors, in the order in which they were found; shape (h,).

    signature : which column of the signatures each has
    size, size_u : its size in the unit of the residuals, and the standard uncertainty of that
    beyond_u : how far the residual was off when it was found, in its own standard uncertainties
    """

    signature: IntArray
    size: FloatArray
    size_u: FloatArray
    beyond_u: FloatArray


def gross_errors(
    residuals: FloatArray, covariance: FloatArray, signatures: FloatArray, beyond_u: float = BEYOND_U
) -> GrossErrors:
    """The gross errors that explain residuals best, one after another, until what is left is no stranger than noise.

    Parameters
    ----------
    residuals : (m,) what each interval drew less what it was expected to
    covariance : (m, m) of the residuals without gross errors, positive definite
    signatures : (m, s) what a gross error of size 1 does to the residuals
    beyond_u : [-]

    Returns
    -------
    GrossErrors, h from 0 to m

    Equation    T = (f' S^-1 r)^2 / (f' S^-1 f); the largest first; after each, S^-1 loses what it explains; sizes of
                all together by least squares
    Source      Narasimhan & Mah 1987 (AIChE J. 33:1514), generalised likelihood ratios with serial compensation; for
                one interval it is the measurement test of Mah & Tamhane 1982 (AIChE J. 28:828). From memory
    Checked by  tests/grain/test_gross_errors.py
    """
    weight = np.linalg.inv(covariance)
    # S^-1 f, f' S^-1 f and f' S^-1 r of every signature f; what an error explains is taken out of all three.
    pulled = weight @ signatures
    strength = own = np.einsum("ks,ks->s", signatures, pulled)
    score = residuals @ pulled
    found: list[int] = []
    ratios: list[float] = []
    while own.size and len(found) < residuals.size:
        known = strength > _EXPLAINED * own
        ratio = np.where(known, np.abs(score) / np.sqrt(np.where(known, strength, 1.0)), 0.0)
        best = int(np.argmax(ratio))
        if ratio[best] <= beyond_u:
            break
        found.append(best)
        ratios.append(float(ratio[best]))
        part = pulled[:, best] @ signatures / strength[best]
        pulled, strength, score = (
            pulled - np.outer(pulled[:, best], part),
            strength - strength[best] * part**2,
            score - score[best] * part,
        )
    chosen = signatures[:, found]
    normal = np.linalg.inv(chosen.T @ weight @ chosen)
    return GrossErrors(
        np.array(found, dtype=np.int64),
        normal @ chosen.T @ weight @ residuals,
        np.sqrt(np.diag(normal)),
        np.array(ratios),
    )
