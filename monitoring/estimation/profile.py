"""Prior-free checks on the posterior: profile likelihood, and all-zero rounds."""

from math import exp, inf, log
from typing import Literal, TypeAlias

import numpy as np
from scipy import optimize, stats

from monitoring.estimation.dispersion import log_likelihood
from monitoring.estimation.result_types import ProfileInterval
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    each_bag,
    positive,
    proportion,
    whole_counts,
)

Cut: TypeAlias = Literal["t", "chi_square"]
# ln k is sought within these: clumped beyond use, and as good as Poisson.
LOG_K_ENDS = (log(1e-4), log(1e5))
# An interval's end further from the mean than this factor is no end.
FARTHEST = log(1e9)


def profile_interval(
    counts: Numbers,
    *,
    proportions_counted: Numbers | float = 1.0,
    recovery: float = 1.0,
    cut: Cut = "t",
) -> ProfileInterval:
    """Give the 95 % profile likelihood interval of the mean per leaf.

    counts: shape (bags,), two or more, with an animal. proportions_counted: in (0, 1].
    recovery: a number in (0, 1]. cut: "t" (square of t with n - 1 degrees of freedom,
    halved) or "chi_square".

    Raises EstimationError if a precondition fails. An end that the likelihood does not
    bound is 0 or inf.
    Source: Venzon & Moolgavkar 1988, Appl. Statist. 37:87-94; t cut by simulation.
    """
    seen = whole_counts("counts", counts)
    if seen.size < 2 or seen.sum() == 0:
        raise EstimationError("counts", "needs two bags and an animal")
    proportion("recovery", recovery, may_be_one=True)
    shares = each_bag(
        "proportions_counted", [proportions_counted], np.array([seen.size])
    )
    if (shares <= 0).any() or (shares > 1).any():
        raise EstimationError("proportions_counted", "must be above 0 and up to 1")
    exposures = recovery * shares
    drops = {
        "t": float(stats.t.ppf(0.975, seen.size - 1)) ** 2 / 2,
        "chi_square": float(stats.chi2.ppf(0.95, 1)) / 2,
    }
    if cut not in drops:
        raise EstimationError("cut", f"{cut!r} is not known")
    return _interval(seen, exposures, drops[cut])


def _best_k(log_mean: float, seen: FloatArray, exposures: FloatArray) -> float:
    means = exp(log_mean) * exposures

    def minus(log_k: float) -> float:
        return -log_likelihood(seen, means, exp(log_k))

    grid = np.linspace(*LOG_K_ENDS, 60)
    start = int(np.argmin([minus(at) for at in grid]))
    near = (grid[max(start - 1, 0)], grid[min(start + 1, grid.size - 1)])
    best = optimize.minimize_scalar(
        minus, bounds=near, method="bounded", options={"xatol": 1e-10}
    )
    return float(best.x)


def _interval(seen: FloatArray, exposures: FloatArray, drop: float) -> ProfileInterval:
    def profile(log_mean: float) -> float:
        log_k = _best_k(log_mean, seen, exposures)
        return log_likelihood(seen, exp(log_mean) * exposures, exp(log_k))

    start = log(seen.sum() / exposures.sum())
    peak = optimize.minimize_scalar(
        lambda at: -profile(at), bounds=(start - 2, start + 2), method="bounded"
    )
    middle, top = float(peak.x), -float(peak.fun)

    def excess(log_mean: float) -> float:
        return top - profile(log_mean) - drop

    low, high = middle - FARTHEST, middle + FARTHEST
    return ProfileInterval(
        low=exp(optimize.brentq(excess, low, middle)) if excess(low) > 0 else 0.0,
        high=exp(optimize.brentq(excess, middle, high)) if excess(high) > 0 else inf,
        k=exp(_best_k(middle, seen, exposures)),
    )


def zero_count_upper_limit(
    *,
    bags: int,
    k: float,
    recovery: float = 1.0,
    proportion_counted: float = 1.0,
    confidence: float = 0.95,
) -> float:
    """Give the one-sided upper limit of the mean when no bag held an animal.

    bags: 1 or more. k: assumed, above 0. recovery, proportion_counted: in (0, 1].
    confidence: in (0, 1).

    Raises EstimationError if a precondition fails.
    Source: P(all zero) = (1 + c m/k)^(-n k), solved for m.
    """
    if bags < 1:
        raise EstimationError("bags", "must be 1 or more")
    positive("k", k)
    proportion("recovery", recovery, may_be_one=True)
    proportion("proportion_counted", proportion_counted, may_be_one=True)
    proportion("confidence", confidence)
    seen_share = recovery * proportion_counted
    return float(k / seen_share * ((1 - confidence) ** (-1 / (bags * k)) - 1))
