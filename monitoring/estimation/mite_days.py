"""Mite-days: how many mites a leaf has borne for how long, with interval."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isinf, sqrt
from typing import TypeAlias

import numpy as np
from scipy.special import betaincinv, digamma, ndtri, polygamma
from scipy.stats import qmc

from monitoring.estimation.degree_days import BoolArray
from monitoring.estimation.posterior import (
    PROBABILITIES,
    DensityEstimate,
    StoredPosterior,
)
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    proportion,
)

Posterior: TypeAlias = DensityEstimate | StoredPosterior
Recoveries: TypeAlias = float | BetaRecovery | Sequence[float | BetaRecovery]
# Two to the power of this many points of a scrambled Sobol net.
NET_POWER = 13
DEVIATES: FloatArray = ndtri(PROBABILITIES)
TINY = 1e-300
# Rounds so alike (in ln) have a straight line between them in either way.
ALIKE = 1e-6
VERSION = "1"


@dataclass(frozen=True, kw_only=True)
class MiteDays:
    """Animals times days per leaf (shoot, bud), added up from round to round.

    cumulative: shape (rounds,), up to each round, 0 at the first; medians where
    posteriors were given. cumulative_low, cumulative_high: shape (rounds,), their
    intervals; NaN for plain numbers. terms, terms_low, terms_high: shape (rounds - 1,),
    what each stretch between two rounds adds. Medians of terms need not add up to the
    median of the sum. weights: shape (rounds,), days that each round stands for.
    """

    cumulative: FloatArray
    cumulative_low: FloatArray
    cumulative_high: FloatArray
    terms: FloatArray
    terms_low: FloatArray
    terms_high: FloatArray
    weights: FloatArray
    total: float
    low: float
    high: float
    standard_error: float
    log_linear_total: float
    confidence: float
    version: str = VERSION


def mite_days(
    days: Numbers,
    densities: Numbers | Sequence[Posterior],
    *,
    recoveries: Recoveries = 1.0,
    standard_errors: Numbers | None = None,
    confidence: float = 0.95,
    seed: int = 0,
) -> MiteDays:
    """Add up densities over time by straight lines between rounds.

    days: shape (rounds,), increasing, from any day on. densities: shape (rounds,),
    animals per unit, 0 or more; or a posterior a round, from DensityEstimate or
    StoredPosterior. recoveries: what StoredPosterior were divided by, one for all or
    one a round; a DensityEstimate brings its own. standard_errors: shape (rounds,), of
    numbers only, for independent rounds. confidence: of the intervals, in (0, 1).
    seed: of the net of points.

    Rounds are independent of each other but for the recovery, which is off by the same
    in all of them (where it changed, by the same deviate) and does not average out.
    What mites did between two rounds is no part of the interval; growth is mostly
    exponential, so that straight lines give more than `log_linear_total`.
    Raises EstimationError if a precondition fails.
    Source: Ruppel 1983, J. Econ. Entomol. 76:375-377 (from memory); the distribution
    of the sum over a scrambled Sobol net (Owen 1998, J. Complexity 14:466-489).
    """
    at = numbers("days", days)
    proportion("confidence", confidence)
    if (np.diff(at) <= 0).any():
        raise EstimationError("days", "must increase from round to round")
    if len(densities) != at.size:
        raise EstimationError("densities", f"needs one entry a round, {at.size}")
    posteriors = [
        one for one in densities if isinstance(one, DensityEstimate | StoredPosterior)
    ]
    if not posteriors:
        plain = numbers("densities", np.asarray(densities, dtype=np.float64))
        return _of_numbers(at, plain, standard_errors, confidence)
    if len(posteriors) != at.size or standard_errors is not None:
        raise EstimationError(
            "densities", "give posteriors for all rounds, or numbers for all"
        )
    drawn = _drawn(posteriors, _each(recoveries, at.size), seed)
    ends = np.array([_has_no_end(one) for one in posteriors])
    return _of_draws(at, drawn, ends, confidence)


def mite_day_weights(days: Numbers) -> FloatArray:
    """Give the days that each round stands for, with straight lines between rounds.

    days: shape (rounds,), increasing.

    Raises EstimationError if they do not increase.
    Source: trapezoid rule.
    """
    at = numbers("days", days)
    apart = np.diff(at)
    if (apart <= 0).any():
        raise EstimationError("days", "must increase from round to round")
    return np.asarray((np.append(apart, 0.0) + np.append(0.0, apart)) / 2)


def _of_numbers(
    days: FloatArray,
    values: FloatArray,
    standard_errors: Numbers | None,
    confidence: float,
) -> MiteDays:
    if (values < 0).any():
        raise EstimationError("densities", "must be 0 or more")
    terms = np.diff(days) * (values[:-1] + values[1:]) / 2
    cumulative = np.append(0.0, np.cumsum(terms))
    weights = mite_day_weights(days)
    nothing = np.full(values.size, np.nan)
    error, low, high = np.nan, np.nan, np.nan
    if standard_errors is not None:
        spread = numbers("standard_errors", standard_errors)
        if spread.size != values.size or (spread < 0).any():
            raise EstimationError("standard_errors", "needs one a round, 0 or more")
        error = sqrt(float((weights**2 * spread**2).sum()))
        reach = float(ndtri((1 + confidence) / 2)) * error
        low, high = max(float(cumulative[-1]) - reach, 0.0), cumulative[-1] + reach
    return MiteDays(
        cumulative=cumulative,
        cumulative_low=nothing,
        cumulative_high=nothing,
        terms=terms,
        terms_low=nothing[1:],
        terms_high=nothing[1:],
        weights=weights,
        total=float(cumulative[-1]),
        low=low,
        high=float(high),
        standard_error=error,
        log_linear_total=_log_linear(days, values),
        confidence=confidence,
    )


def _log_linear(days: FloatArray, values: FloatArray) -> float:
    """Add up exponential lines between rounds; straight ones where one end is 0."""
    first, then = values[:-1], values[1:]
    both = (first > 0) & (then > 0)
    growth = np.log(np.where(both, then, 1.0)) - np.log(np.where(both, first, 1.0))
    curved = np.abs(growth) > ALIKE
    means = np.where(
        curved, (then - first) / np.where(curved, growth, 1.0), (first + then) / 2
    )
    return float((means * np.diff(days)).sum())


def _each(recoveries: Recoveries, rounds: int) -> list[float | BetaRecovery]:
    if isinstance(recoveries, float | int | BetaRecovery):
        recoveries = [recoveries] * rounds
    if len(recoveries) != rounds:
        raise EstimationError("recoveries", f"needs one entry a round, {rounds}")
    for one in recoveries:
        if not isinstance(one, BetaRecovery):
            proportion("recoveries", one, may_be_one=True)
    return list(recoveries)


def _has_no_end(posterior: Posterior) -> bool:
    return isinstance(posterior, DensityEstimate) and isinf(posterior.high)


def _drawn(
    posteriors: Sequence[Posterior], recoveries: list[float | BetaRecovery], seed: int
) -> FloatArray:
    """Lay points through the joint distribution; shape (points, rounds)."""
    net = qmc.Sobol(d=len(posteriors) + 1, rng=np.random.default_rng(seed))
    points = np.clip(net.random_base2(NET_POWER), 1e-12, 1 - 1e-12)
    columns = []
    for place, posterior in enumerate(posteriors):
        at = points[:, place + 1]
        if isinstance(posterior, DensityEstimate):
            own = posterior.recovery
            washed = np.log(posterior.washed_off.quantiles(at))
        else:
            own = recoveries[place]
            washed = _before_recovery(posterior, own, at)
        columns.append(np.exp(washed - _log_recovery(own, points[:, 0])))
    return np.column_stack(columns)


def _log_recovery(recovery: float | BetaRecovery, at: FloatArray) -> FloatArray:
    if not isinstance(recovery, BetaRecovery):
        return np.full(at.size, np.log(recovery))
    return np.log(np.maximum(betaincinv(recovery.a, recovery.b, at), TINY))


def _before_recovery(
    stored: StoredPosterior, recovery: float | BetaRecovery, at: FloatArray
) -> FloatArray:
    """Give log quantiles of what was washed off, from a density's quantiles.

    In logarithms the recovery's share of the spread is taken out at each deviate; exact
    where both are normal there, and near it where the density is the vaguer.
    """
    log_values = np.log(np.asarray(stored.quantiles))
    if isinstance(recovery, BetaRecovery):
        a, b = recovery.a, recovery.b
        variance = float(polygamma(1, a) - polygamma(1, a + b))
        middle = float(np.interp(0.0, DEVIATES, log_values))
        away = log_values - middle
        left = np.maximum(away**2 - variance * DEVIATES**2, 0.0)
        rest = np.maximum.accumulate(np.sign(away) * np.sqrt(left))
        log_values = middle + float(digamma(a) - digamma(a + b)) + rest
    else:
        log_values = log_values + np.log(recovery)
    return _along(ndtri(at), DEVIATES, log_values)


def _along(at: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    """Interpolate, and go on straight beyond both ends."""
    found = np.interp(at, x, y)
    below, above = at < x[0], at > x[-1]
    found[below] = y[0] + (at[below] - x[0]) * (y[1] - y[0]) / (x[1] - x[0])
    slope = (y[-1] - y[-2]) / (x[-1] - x[-2])
    found[above] = y[-1] + (at[above] - x[-1]) * slope
    return np.asarray(found)


def _of_draws(
    days: FloatArray, drawn: FloatArray, endless: BoolArray, confidence: float
) -> MiteDays:
    terms = np.diff(days) * (drawn[:, :-1] + drawn[:, 1:]) / 2
    sums = np.column_stack([np.zeros(len(drawn)), np.cumsum(terms, axis=1)])
    tail = (1 - confidence) / 2
    low, median, high = np.quantile(sums, [tail, 0.5, 1 - tail], axis=0)
    term_low, term, term_high = np.quantile(terms, [tail, 0.5, 1 - tail], axis=0)
    # A round without an upper limit leaves the stretches beside it without one.
    beside = endless[:-1] | endless[1:]
    term_high = np.where(beside, inf, term_high)
    high[1:] = np.where(np.logical_or.accumulate(beside), inf, high[1:])
    return MiteDays(
        cumulative=median,
        cumulative_low=low,
        cumulative_high=high,
        terms=term,
        terms_low=term_low,
        terms_high=term_high,
        weights=mite_day_weights(days),
        total=float(median[-1]),
        low=float(low[-1]),
        high=float(high[-1]),
        standard_error=np.nan,
        log_linear_total=_log_linear(days, np.median(drawn, axis=0)),
        confidence=confidence,
    )
