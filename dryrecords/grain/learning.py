"""Learns a dryer's own straight-line relation from few batches, starting from what physics expects of any dryer."""

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import Array, FloatArray

# A wild sample pulls less the wilder it is: weights of Student's t with few degrees of freedom, but never above 1.
# Lange, Little & Taylor 1989, Journal of the American Statistical Association 84:881, from memory, take 4.
TAIL_DEGREES = 4.0
# Mean of weight times squared residual when the residuals are normal and none is wild; by quadrature.
NORMAL_SHARE = 0.7666
ITERATIONS = 100


@dataclass(frozen=True)
class Learned:
    """A relation y = x . coefficients + scatter, learned from n batches with p terms.

    The standard deviation `scatter` is the dryer's own: what is left when the known uncertainty of each y is
    taken out.
    """

    coefficients: FloatArray  # (p,)
    covariance: FloatArray  # (p, p)
    scatter: float
    weights: FloatArray  # (n,), 1 for a batch that fits, towards 0 for a wild one
    left_out_error: FloatArray  # (n,), y minus what the others alone predict

    def predict(self, x: Array) -> tuple[FloatArray, FloatArray]:
        """Mean and standard deviation of y at x, shape (..., p): of the coefficients and of the dryer's scatter."""
        mean = x @ self.coefficients
        variance = np.einsum("...i,ij,...j->...", x, self.covariance, x) + self.scatter**2
        return mean, np.sqrt(variance)


def learn_line(
    x: FloatArray,
    y: FloatArray,
    y_u: FloatArray,
    prior: FloatArray,
    prior_covariance: FloatArray,
    *,
    scatter: float,
    scatter_batches: float,
) -> Learned:
    """Coefficients of y on x, drawn towards a prior by as much as the batches do not contradict it.

    Parameters
    ----------
    x : array (n, p). [terms, any units]; n may be 0
    y : array (n,). [any unit]
    y_u : array (n,); standard uncertainty of each y. [unit of y]
    prior : array (p,); coefficients that physics expects
    prior_covariance : array (p, p), positive definite
    scatter : standard deviation expected of a dryer about its own line. [unit of y], above 0
    scatter_batches : number of batches that this expectation is worth

    Returns
    -------
    Learned

    Raises
    ------
    numpy.linalg.LinAlgError
        prior_covariance is not positive definite.

    Equation    posterior precision = prior precision + sum w_i x_i x_i' / s_i^2, s_i^2 = y_u_i^2 + scatter^2,
                w_i = min(1, (d + 1) / (d + r_i^2 / s_i^2)), iterated; scatter^2 by its scaled inverse chi-square
                posterior, made consistent for normal residuals
    Source      Gelman et al., Bayesian Data Analysis, 3rd ed., sections 14.2 and 17.2; from memory
    Checked by  tests/grain/test_learning.py against the closed form and synthetic dryers
    """
    n = y.size
    # The first problem uses every batch; each of the others leaves one out.
    use = np.ones((n + 1, n))
    use[np.arange(1, n + 1), np.arange(n)] = 0.0
    coefficients, covariance, spread, weights = _solve(
        x, y, y_u, use, prior, np.asarray(np.linalg.inv(prior_covariance), dtype=float), scatter**2, scatter_batches
    )
    predicted = np.einsum("ij,ij->i", x, coefficients[1:])
    return Learned(coefficients[0], covariance[0], float(np.sqrt(spread[0])), weights[0], y - predicted)


def _solve(
    x: FloatArray,
    y: FloatArray,
    y_u: FloatArray,
    use: FloatArray,
    prior: FloatArray,
    precision: FloatArray,
    scatter2: float,
    scatter_batches: float,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """All problems at once, shape (problems, n) in `use`: the weights and the scatter settle together."""
    problems = use.shape[0]
    spread = np.full(problems, scatter2)
    weights = np.ones_like(use)
    for _ in range(ITERATIONS):
        variance = y_u**2 + spread[:, None]
        gain = use * weights / variance
        covariance = np.linalg.inv(precision + np.einsum("ki,ij,il->kjl", gain, x, x))
        target = precision @ prior + np.einsum("ki,ij,i->kj", gain, x, y)
        coefficients = np.einsum("kij,kj->ki", covariance, target)
        residual2 = (y - coefficients @ x.T) ** 2
        weights = np.minimum(1.0, (TAIL_DEGREES + 1.0) / (TAIL_DEGREES + residual2 / variance))
        # What a batch shows of the dryer's scatter: its residual, made larger by what the fit took from it, less
        # what the uncertainty of y explains.
        taken = np.einsum("ij,kjl,il->ki", x, covariance, x)
        shown = np.maximum(weights * residual2 / NORMAL_SHARE + taken - y_u**2, 0.0)
        spread = (scatter_batches * scatter2 + (use * shown).sum(axis=1)) / (scatter_batches + use.sum(axis=1))
    return coefficients, covariance, spread, weights
