"""Two ways of measuring the same things: bias, limits of agreement, equivalence, the line between them."""

from dataclasses import dataclass

import numpy as np

from dryrecords.grain.arrays import BoolArray, FloatArray, IntArray, Values, ratio
from dryrecords.grain.student import student_tail, student_value

CONFIDENCE = 0.95
POWER = 0.80
# 95 % of a normal distribution; Bland & Altman 1986 take 2.
LIMITS = 1.96


@dataclass(frozen=True)
class Differences:
    """Paired differences of g groups; float arrays of shape (g,), NaN where a group has too few pairs."""

    pairs: IntArray
    mean: FloatArray
    sd: FloatArray  # NaN below 2 pairs
    standard_error: FloatArray
    degrees: FloatArray
    t: FloatArray  # of the mean against 0; NaN where all differences are equal
    p: FloatArray  # two-sided
    low: FloatArray  # confidence interval of the mean
    high: FloatArray


def paired_differences(
    difference: FloatArray, group: IntArray, groups: int, confidence: float = CONFIDENCE
) -> Differences:
    """Mean difference of each group's pairs with its confidence interval.

    Parameters
    ----------
    difference : array, shape (n,); one way of measuring less the other. [any unit]; NaN is left out
    group : int array, shape (n,); 0 to groups - 1
    groups : number of groups g
    confidence : of the interval, two-sided. [-]; 0 to below 1

    Returns
    -------
    Differences of g groups, in the unit of difference

    Raises      ValueError for a confidence outside the range
    Source      paired t-test, Student 1908, Biometrika 6:1
    Checked by  tests/reference/test_comparison.py, tests/grain/test_comparison.py
    """
    use = np.isfinite(difference)
    difference, group = difference[use], group[use]
    pairs = np.bincount(group, minlength=groups)
    mean = ratio(np.bincount(group, difference, groups), pairs)
    squares = np.bincount(group, (difference - mean[group]) ** 2, groups).astype(float)
    return differences_of(pairs, mean, squares, confidence)


def differences_of(
    pairs: IntArray, mean: FloatArray, squares: FloatArray, confidence: float = CONFIDENCE
) -> Differences:
    """The same from what was added up before.

    Parameters
    ----------
    pairs, mean, squares : arrays, shape (g,); how many, their mean [any unit], and the sum of squared deviations
        from it [unit squared]
    confidence : as above

    Returns
    -------
    Differences of g groups
    """
    degrees = np.where(pairs > 1, pairs - 1.0, np.nan)
    sd = np.sqrt(squares / degrees)
    standard_error = sd / np.sqrt(np.maximum(pairs, 1))
    t = ratio(mean, standard_error)
    half = student_value(0.5 + 0.5 * confidence, degrees) * standard_error
    p = 2.0 * student_tail(np.abs(t), degrees)
    return Differences(pairs, mean, sd, standard_error, degrees, t, p, mean - half, mean + half)


@dataclass(frozen=True)
class Agreement:
    """Limits between which most differences lie, each with its confidence interval; arrays of shape (g,)."""

    low: FloatArray
    high: FloatArray
    standard_error: FloatArray  # of either limit
    low_from: FloatArray
    low_to: FloatArray
    high_from: FloatArray
    high_to: FloatArray


def limits_of_agreement(of: Differences, multiple: float = LIMITS, confidence: float = CONFIDENCE) -> Agreement:
    """Limits of agreement of each group.

    Parameters
    ----------
    of : differences of g groups
    multiple : standard deviations from the mean to a limit. [-]
    confidence : of the limits' intervals. [-]

    Returns
    -------
    Agreement of g groups, in the unit of the differences

    Raises      ValueError for a confidence outside 0 to below 1
    Equation    limits mean -+ multiple sd; standard error of a limit sqrt(3/n) sd
    Source      Bland & Altman 1986, Lancet 1:307, from memory
    Known gap   takes the spread of a group as one; the spread of moisture meters grows with moisture (Hurburgh,
                Hazen & Bern 1985), so moistures are put into groups by bands
    Checked by  tests/reference/test_comparison.py
    """
    low, high = of.mean - multiple * of.sd, of.mean + multiple * of.sd
    error = np.sqrt(3.0) * of.standard_error
    half = student_value(0.5 + 0.5 * confidence, of.degrees) * error
    return Agreement(low, high, error, low - half, low + half, high - half, high + half)


@dataclass(frozen=True)
class Equivalence:
    """Two one-sided tests against a tolerance; arrays of shape (g,)."""

    t_low: FloatArray  # above minus the tolerance
    t_high: FloatArray  # below the tolerance
    p: FloatArray  # the larger of both
    low: FloatArray  # the interval that lies inside the tolerance if and only if p is below alpha
    high: FloatArray
    equivalent: BoolArray
    beyond: BoolArray  # the bias itself is shown to be larger than the tolerance


def equivalence(of: Differences, tolerance: Values, alpha: float = 1.0 - CONFIDENCE) -> Equivalence:
    """Whether each group's mean difference is shown to lie within a tolerance, or shown to lie outside.

    Parameters
    ----------
    of : differences of g groups
    tolerance : array that broadcasts to shape (g,). [unit of the differences]; above 0
    alpha : of each one-sided test. [-]; 0 to 0.5

    Returns
    -------
    Equivalence of g groups; neither where the pairs do not tell

    Raises      ValueError for an alpha outside the range
    Source      two one-sided tests, Schuirmann 1987, Journal of Pharmacokinetics and Biopharmaceutics 15:657,
                from memory
    Checked by  tests/reference/test_comparison.py, tests/grain/test_comparison.py
    """
    t_low = ratio(of.mean + tolerance, of.standard_error)
    t_high = ratio(of.mean - tolerance, of.standard_error)
    p = np.maximum(student_tail(t_low, of.degrees), student_tail(-t_high, of.degrees))
    half = student_value(1.0 - alpha, of.degrees) * of.standard_error
    low, high = of.mean - half, of.mean + half
    within = (low > -np.asarray(tolerance)) & (high < tolerance)
    beyond = (low > tolerance) | (high < -np.asarray(tolerance))
    return Equivalence(t_low, t_high, p, low, high, within, beyond)


def smallest_detectable(sd: Values, pairs: Values, alpha: float = 1.0 - CONFIDENCE, power: float = POWER) -> FloatArray:
    """Smallest true bias that so many pairs would show with a given power, by the two-sided paired t-test.

    Parameters
    ----------
    sd : array; standard deviation of the differences. [any unit]
    pairs : array that broadcasts with sd; NaN below 2
    alpha : of the two-sided test. [-]
    power : probability to show it. [-]; 0.5 to below 1

    Returns
    -------
    float64 array of the broadcast shape. [unit of sd]

    Raises      ValueError for a power outside the range
    Equation    (t(1 - alpha/2) + t(power)) sd / sqrt(n), n - 1 degrees of freedom
    Source      approximation to the noncentral t, textbook; power within 0.06 of the exact one at 5 pairs, within
                0.025 from 10 pairs on (tests/grain/test_comparison.py)
    """
    pairs = np.asarray(pairs, dtype=float)
    degrees = np.where(pairs > 1.0, pairs - 1.0, np.nan)
    both = student_value(1.0 - 0.5 * alpha, degrees) + student_value(power, degrees)
    return np.asarray(both * sd / np.sqrt(pairs))


def chance_of_showing(bias: Values, sd: Values, pairs: Values, alpha: float = 1.0 - CONFIDENCE) -> FloatArray:
    """Power: how probably so many pairs would show a true bias by the two-sided paired t-test.

    Parameters
    ----------
    bias, sd : arrays that broadcast. [one unit]
    pairs : array that broadcasts with them; NaN below 2
    alpha : of the test. [-]

    Returns
    -------
    float64 array of the broadcast shape. [-]

    Equation    upper tail of t at t(1 - alpha/2) - |bias| sqrt(n)/sd; the far side is left out
    Source      the approximation of smallest_detectable, turned round
    """
    pairs = np.asarray(pairs, dtype=float)
    degrees = np.where(pairs > 1.0, pairs - 1.0, np.nan)
    shift = np.abs(bias) * np.sqrt(pairs) / np.asarray(sd)
    return student_tail(student_value(1.0 - 0.5 * alpha, degrees) - shift, degrees)


@dataclass(frozen=True)
class Line:
    """A straight line y = intercept + slope x through each of g groups; arrays of shape (g,)."""

    slope: FloatArray
    intercept: FloatArray
    pairs: IntArray
    lowest_x: FloatArray  # beyond these the line says nothing
    highest_x: FloatArray


def deming_line(x: FloatArray, y: FloatArray, variance_ratio: float, group: IntArray, groups: int) -> Line:
    """Line through pairs of which both members have errors, whose variances have a known ratio.

    Parameters
    ----------
    x, y : arrays, shape (n,). [one unit]; a pair with NaN is left out
    variance_ratio : variance of y's error over that of x's. [-]; 1 makes it orthogonal regression
    group : int array, shape (n,); 0 to groups - 1
    groups : number of groups g

    Returns
    -------
    Line of g groups; NaN where x and y do not vary together

    Equation    slope = (Syy - r Sxx + sqrt((Syy - r Sxx)^2 + 4 r Sxy^2)) / (2 Sxy), r the variance ratio
    Source      Deming 1943, Statistical Adjustment of Data; for r = 1 Pearson 1901, Philosophical Magazine 2:559,
                both from memory
    Checked by  tests/reference/test_comparison.py, tests/grain/test_comparison.py
    """
    use = np.isfinite(x) & np.isfinite(y)
    x, y, group = x[use], y[use], group[use]
    pairs = np.bincount(group, minlength=groups)
    x_mean, y_mean = (ratio(np.bincount(group, each, groups), pairs) for each in (x, y))
    dx, dy = x - x_mean[group], y - y_mean[group]
    sxx, syy, sxy = (np.bincount(group, each, groups) for each in (dx * dx, dy * dy, dx * dy))
    excess = syy - variance_ratio * sxx
    slope = ratio(excess + np.sqrt(excess**2 + 4.0 * variance_ratio * sxy**2), 2.0 * sxy)
    lowest, highest = np.full(groups, np.inf), np.full(groups, -np.inf)
    np.minimum.at(lowest, group, x)
    np.maximum.at(highest, group, x)
    known = pairs > 0
    lowest, highest = np.where(known, lowest, np.nan), np.where(known, highest, np.nan)
    return Line(slope, y_mean - slope * x_mean, pairs, lowest, highest)


def moisture_band(moisture_pct: FloatArray, edges_pct: FloatArray) -> IntArray:
    """Band of each moisture (shape (n,), [% wet basis]): 0 below the first edge, one more from each edge on."""
    return np.searchsorted(edges_pct, moisture_pct, side="right")
