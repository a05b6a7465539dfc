"""How well two or more readings of the same things agree."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atanh, inf, sqrt, tanh
from typing import TypeAlias

import numpy as np
from scipy import stats

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    proportion,
)

Table: TypeAlias = Sequence[Sequence[float]] | FloatArray

# Half the width of the limits of agreement, in standard deviations.
LIMIT_WIDTH = 1.96
# Smaller than this share of the figures themselves, a spread is rounding.
ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Concordance:
    """Lin's coefficient, -1 to 1, with its interval; 1 is the same reading always."""

    coefficient: float
    low: float
    high: float
    pearson: float
    pairs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AgreementLimits:
    """Mean difference x - y, and the limits that hold 95 in 100 differences.

    bias_low, bias_high: interval of the mean difference. low_range, high_range: exact
    interval of each limit.
    """

    bias: float
    sd: float
    low: float
    high: float
    bias_low: float
    bias_high: float
    limit_standard_error: float
    low_range: tuple[float, float]
    high_range: tuple[float, float]
    pairs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class IntraclassCorrelation:
    """Three of the intraclass correlations of one reading, and the mean squares.

    icc_2_1 is that of absolute agreement between raters taken at random; low and high
    are its interval.
    """

    icc_1_1: float
    icc_2_1: float
    icc_3_1: float
    low: float
    high: float
    subjects_mean_square: float
    raters_mean_square: float
    error_mean_square: float
    subjects: int
    raters: int


def concordance(x: Numbers, y: Numbers, *, confidence: float = 0.95) -> Concordance:
    """Give Lin's concordance correlation of two readings with its interval.

    x, y: shape (pairs,), the same things read twice, three pairs or more, in any one
    unit. confidence: in (0, 1). Moments are taken over n, as Lin did.

    Raises EstimationError if lengths differ, pairs are too few, or a reading never
    varies, so that nothing can be told.
    Source: Lin 1989, Biometrics 45:255-268, with the variance as corrected in Lin 2000,
    Biometrics 56:324-325; interval by Fisher's z.
    """
    first, second = _paired(x, y, fewest=3)
    proportion("confidence", confidence)
    n = first.size
    sd_x, sd_y = _spread("x", first), _spread("y", second)
    covariance = float(((first - first.mean()) * (second - second.mean())).mean())
    gap = float(first.mean() - second.mean())
    pearson = min(max(covariance / (sd_x * sd_y), -1.0), 1.0)
    # How far the readings are from the line of equality, apart from their scatter.
    accuracy = 2 * sd_x * sd_y / (sd_x**2 + sd_y**2 + gap**2)
    coefficient = pearson * accuracy
    if abs(coefficient) >= 1 - ROUNDING:
        coefficient = float(round(coefficient))
        return Concordance(
            coefficient=coefficient,
            low=coefficient,
            high=coefficient,
            pearson=pearson,
            pairs=n,
        )
    shift = gap**2 / (sd_x * sd_y)
    variance = (
        (1 - pearson**2) * accuracy**2 * (1 - coefficient**2)
        + 2 * coefficient**2 * accuracy * (1 - coefficient) * shift
        - 0.5 * coefficient**2 * accuracy**2 * shift**2
    ) / (n - 2)
    error = sqrt(max(variance, 0.0)) / (1 - coefficient**2)
    reach = float(stats.norm.isf((1 - confidence) / 2)) * error
    middle = atanh(coefficient)
    return Concordance(
        coefficient=coefficient,
        low=tanh(middle - reach),
        high=tanh(middle + reach),
        pearson=pearson,
        pairs=n,
    )


def limits_of_agreement(
    x: Numbers, y: Numbers, *, confidence: float = 0.95
) -> AgreementLimits:
    """Give the mean difference and the limits of agreement, 1.96 sd either side.

    x, y: shape (pairs,), the same things read twice, two pairs or more, on a scale on
    which differences do not grow with level: counts as log10(x + 1), so that limits
    become ratios. confidence: of the intervals of bias and limits, in (0, 1).

    Raises EstimationError if lengths differ or pairs are too few.
    Source: Bland & Altman 1986, Lancet i:307-310; intervals of the limits exact by the
    noncentral t, Carkeet 2015, Optom. Vis. Sci. 92:e71-e80.
    """
    first, second = _paired(x, y, fewest=2)
    proportion("confidence", confidence)
    n = first.size
    differences = first - second
    bias, sd = float(differences.mean()), float(differences.std(ddof=1))
    tail = (1 - confidence) / 2
    reach = float(stats.t.isf(tail, n - 1)) * sd / sqrt(n)
    shift = LIMIT_WIDTH * sqrt(n)
    near, far = (
        float(stats.nct.ppf(chance, n - 1, shift)) * sd / sqrt(n)
        for chance in (tail, 1 - tail)
    )
    return AgreementLimits(
        bias=bias,
        sd=sd,
        low=bias - LIMIT_WIDTH * sd,
        high=bias + LIMIT_WIDTH * sd,
        bias_low=bias - reach,
        bias_high=bias + reach,
        limit_standard_error=sqrt(3 / n) * sd,
        low_range=(bias - far, bias - near),
        high_range=(bias + near, bias + far),
        pairs=n,
    )


def intraclass_correlation(
    table: Table, *, confidence: float = 0.95
) -> IntraclassCorrelation:
    """Give the intraclass correlations of a table of subjects by raters.

    table: shape (subjects, raters), two or more of each, every cell filled.
    confidence: of the interval of icc_2_1, in (0, 1).

    Raises EstimationError if the shape is another or nothing varies.
    Source: Shrout & Fleiss 1979, Psychol. Bull. 86:420-428; interval of ICC(2,1) by
    their formula 8 (McGraw & Wong 1996, Psychol. Methods 1:30-46, table 7).
    """
    read = _whole_table(table)
    proportion("confidence", confidence)
    n, k = read.shape
    between, judges, error = _mean_squares(read)
    within = ((k - 1) * judges + (k - 1) * (n - 1) * error) / (n * (k - 1))
    if between <= 0 and within <= 0:
        raise EstimationError("table", "nothing in it varies: agreement cannot be told")
    absolute = between + (k - 1) * error + k * (judges - error) / n
    consistent = between + (k - 1) * error
    icc_2_1 = _within_bounds(between - error, absolute, raters=k)
    low, high = _absolute_interval(
        (between, judges, error), shape=(n, k), icc=icc_2_1, confidence=confidence
    )
    return IntraclassCorrelation(
        icc_1_1=(between - within) / (between + (k - 1) * within),
        icc_2_1=icc_2_1,
        icc_3_1=(between - error) / consistent if consistent > 0 else 0.0,
        low=low,
        high=high,
        subjects_mean_square=between,
        raters_mean_square=judges,
        error_mean_square=error,
        subjects=n,
        raters=k,
    )


def _paired(x: Numbers, y: Numbers, *, fewest: int) -> tuple[FloatArray, FloatArray]:
    first, second = numbers("x", x), numbers("y", y)
    if first.size != second.size:
        raise EstimationError(
            "y", f"has {second.size} readings where x has {first.size}"
        )
    if first.size < fewest:
        raise EstimationError("x", f"needs {fewest} pairs or more")
    return first, second


def _spread(argument: str, values: FloatArray) -> float:
    """Give the standard deviation over n; or EstimationError where it is nothing."""
    sd = float(values.std())
    if sd <= ROUNDING * float(np.abs(values).max()):
        raise EstimationError(
            argument, "never varies: agreement cannot be told from these"
        )
    return sd


def _whole_table(table: Table) -> FloatArray:
    try:
        read = np.asarray(table, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise EstimationError("table", "must hold a number in every cell") from error
    if read.ndim != 2 or min(read.shape) < 2:
        raise EstimationError("table", "needs two subjects and two raters or more")
    if not np.isfinite(read).all():
        raise EstimationError("table", "must hold finite numbers only")
    return read


def _mean_squares(read: FloatArray) -> tuple[float, float, float]:
    """Give the mean squares of subjects, raters and what is left."""
    n, k = read.shape
    middle = read.mean()
    by_subject, by_rater = read.mean(axis=1), read.mean(axis=0)
    left = read - by_subject[:, None] - by_rater[None, :] + middle
    size = ROUNDING * float(np.abs(read).max()) ** 2
    squares = (
        float(k * ((by_subject - middle) ** 2).sum() / (n - 1)),
        float(n * ((by_rater - middle) ** 2).sum() / (k - 1)),
        float((left**2).sum() / ((n - 1) * (k - 1))),
    )
    # What rounding leaves of nothing is nothing.
    between, judges, error = (0.0 if one <= size else one for one in squares)
    return between, judges, error


def _absolute_interval(
    squares: tuple[float, float, float],
    *,
    shape: tuple[int, int],
    icc: float,
    confidence: float,
) -> tuple[float, float]:
    """Give the interval of ICC(2,1) by Satterthwaite's degrees of freedom."""
    between, judges, error = squares
    n, k = shape
    if judges <= 0 and error <= 0:
        return icc, icc
    ratio = judges / error if error > 0 else inf
    pull = k * icc
    push = n * (1 + (k - 1) * icc) - k * icc
    if np.isinf(ratio):
        freedom = float(k - 1)
    else:
        freedom = (
            (k - 1) * (n - 1) * (pull * ratio + push) ** 2
            / ((n - 1) * pull**2 * ratio**2 + push**2)
        )  # fmt: skip
    tail = (1 - confidence) / 2
    rest = k * judges + (k * n - k - n) * error
    above = float(stats.f.isf(tail, n - 1, freedom))
    below = float(stats.f.isf(tail, freedom, n - 1))
    low = _within_bounds(
        n * (between - above * error), above * rest + n * between, raters=k
    )
    high = _within_bounds(
        n * (below * between - error), rest + n * below * between, raters=k
    )
    return low, high


def _within_bounds(top: float, bottom: float, *, raters: int) -> float:
    """Divide, and keep to what an intraclass correlation can be."""
    least = -1 / (raters - 1)
    if bottom <= 0:
        return least if top < 0 else 0.0
    return min(max(top / bottom, least), 1.0)
