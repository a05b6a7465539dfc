"""Whether a counter's readings drift away from the others' over time."""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy import stats

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    positive,
    proportion,
)

# A chart with fixed limits of 2.72 standard errors and this weight gives one false
# signal in 250 readings, on average (Crowder 1989).
USUAL_WEIGHT = 0.2
USUAL_WIDTH = 2.72


@dataclass(frozen=True, slots=True, kw_only=True)
class DriftTrend:
    """A straight line through log ratios over time: slope a day with its interval.

    mean: of the log ratios, with its interval; what is always there and is no drift.
    """

    slope_per_day: float
    slope_standard_error: float
    slope_low: float
    slope_high: float
    at_first_day: float
    mean: float
    mean_low: float
    mean_high: float
    readings: int
    days_spanned: float


@dataclass(frozen=True, slots=True, kw_only=True)
class EwmaChart:
    """Exponentially weighted moving averages in order, and the limits about them.

    first_outside: place of the first one beyond the limits; None where all are within.
    """

    averages: FloatArray
    low: float
    high: float
    first_outside: int | None


def counter_drift(
    days: Numbers, log_ratios: Numbers, *, confidence: float = 0.95
) -> DriftTrend:
    """Fit a straight line to a counter's log ratios over time.

    days: shape (readings,), any day numbers, three readings or more on two days or
    more. log_ratios: log10 of own over reference reading. confidence: in (0, 1).

    Raises EstimationError if lengths differ or the days are all one.
    Source: least squares with Student's t; checked against the certified values of the
    NIST Statistical Reference Datasets (Norris).
    """
    at, ratios = numbers("days", days), numbers("log_ratios", log_ratios)
    proportion("confidence", confidence)
    if at.size != ratios.size:
        raise EstimationError(
            "log_ratios", f"has {ratios.size} entries where days has {at.size}"
        )
    if at.size < 3:
        raise EstimationError("days", "needs three readings or more")
    since = at - at.mean()
    spread = float((since**2).sum())
    if spread <= 0:
        raise EstimationError("days", "are all the same day: no trend can be told")
    n, mean = at.size, float(ratios.mean())
    slope = float((since * (ratios - mean)).sum()) / spread
    residuals = ratios - mean - slope * since
    error = sqrt(float((residuals**2).sum()) / (n - 2) / spread)
    tail = (1 - confidence) / 2
    reach = float(stats.t.isf(tail, n - 2)) * error
    mean_reach = float(stats.t.isf(tail, n - 1) * ratios.std(ddof=1)) / sqrt(n)
    return DriftTrend(
        slope_per_day=slope,
        slope_standard_error=error,
        slope_low=slope - reach,
        slope_high=slope + reach,
        at_first_day=mean + slope * float(since.min()),
        mean=mean,
        mean_low=mean - mean_reach,
        mean_high=mean + mean_reach,
        readings=n,
        days_spanned=float(at.max() - at.min()),
    )


def ewma_chart(
    values: Numbers,
    *,
    centre: float,
    sd: float,
    weight: float = USUAL_WEIGHT,
    width: float = USUAL_WIDTH,
) -> EwmaChart:
    """Smooth values in their order and set them against fixed limits.

    values: shape (readings,), oldest first. centre: where they should lie. sd: of one
    value while nothing is wrong, above 0. weight: of the newest value, in (0, 1].
    width: of the limits in standard errors of the average, above 0.

    Raises EstimationError if a precondition fails.
    Source: Roberts 1959, Technometrics 1:239-250; weight and width of a chart that
    signals falsely once in 250 values: Crowder 1989, J. Quality Technology 21:155-162.
    """
    read = numbers("values", values)
    positive("sd", sd)
    positive("width", width)
    proportion("weight", weight, may_be_one=True)
    averages = np.empty_like(read)
    last = float(numbers("centre", centre)[0])
    for place, value in enumerate(read):
        last = weight * float(value) + (1 - weight) * last
        averages[place] = last
    reach = width * sd * sqrt(weight / (2 - weight))
    outside = np.flatnonzero(np.abs(averages - centre) > reach)
    return EwmaChart(
        averages=averages,
        low=centre - reach,
        high=centre + reach,
        first_outside=int(outside[0]) if outside.size else None,
    )
