"""Predators per prey as a check: the interval of a log ratio of two sample means."""

from dataclasses import dataclass
from math import exp, log, sqrt
from typing import Literal

import numpy as np
from scipy import stats

from monitoring.estimation.validation import (
    EstimationError,
    Numbers,
    two_samples,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogDeltaInterval:
    """The ratio of two means, with the standard error of its logarithm."""

    ratio: float
    low: float
    high: float
    log_standard_error: float


def log_delta_interval(
    numerator: Numbers,
    denominator: Numbers,
    *,
    paired: bool = True,
    quantile: Literal["t", "normal"] = "t",
    confidence: float = 0.95,
) -> LogDeltaInterval:
    """Give the interval of a ratio of two means, symmetric for its logarithm.

    numerator, denominator: shapes (n,), the same n if paired; two or more each.
    paired: whether entries belong together; then their covariance counts.
    quantile: Student's t with one less than the smaller sample, or the normal's.
    confidence: in (0, 1).

    Raises EstimationError if a precondition fails or a mean is not above 0.
    Source: delta method, Cochran 1977, Sampling Techniques, 3rd ed., sec. 6.5 (from
    memory).
    """
    top, bottom = two_samples(
        numerator, denominator, paired=paired, confidence=confidence
    )
    for name, sample in (("numerator", top), ("denominator", bottom)):
        if sample.mean() <= 0:
            raise EstimationError(name, "has no mean above 0, so no logarithm")
    above, below = float(top.mean()), float(bottom.mean())
    variance = (
        float(top.var(ddof=1)) / top.size / above**2
        + float(bottom.var(ddof=1)) / bottom.size / below**2
    )
    if paired:
        shared = float(np.cov(top, bottom)[0, 1]) / top.size
        variance -= 2 * shared / (above * below)
    error = sqrt(max(variance, 0.0))
    tail = (1 + confidence) / 2
    freedom = min(top.size, bottom.size) - 1
    reach = stats.norm.ppf(tail) if quantile == "normal" else stats.t.ppf(tail, freedom)
    middle = log(above / below)
    return LogDeltaInterval(
        ratio=above / below,
        low=exp(middle - float(reach) * error),
        high=exp(middle + float(reach) * error),
        log_standard_error=error,
    )
