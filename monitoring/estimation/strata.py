"""A round's density from its canopy positions."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from math import log, sqrt

import numpy as np
from scipy import stats
from scipy.special import ndtr

from monitoring.estimation.grids import Grids
from monitoring.estimation.posterior import (
    WIDEST_STEP,
    DensityEstimate,
    GridPosterior,
    divide_by_recovery,
    recovery_nodes,
    upper_ends,
)
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    proportion,
    whole_counts,
)

# Steps of the normal deviate in which posteriors are added up.
NODES, DEVIATE_REACH = 301, 6.0
ROOM_NODES = 60
TINY = 1e-300
# Shares of leaves are stated with a few decimals.
SUM_SLACK = 1e-6


def combine_strata(
    densities: Sequence[DensityEstimate], weights: Numbers
) -> DensityEstimate:
    """Weight the strata's posteriors into the round's.

    densities: one a stratum, all with the same recovery and confidence.
    weights: share of leaves in each stratum, 0 or more, adding up to 1.

    The posteriors of what is washed off are convolved; recovery, being common to the
    strata, is integrated once after.
    Raises EstimationError if a precondition fails. `k_median` and the
    other figures of clumping are those of the stratum with the most bags: strata have
    none in common.
    Source: Cochran 1977, Sampling Techniques, ch. 5 (stratified mean), with posteriors
    in place of means; convolution by the trapezoid rule over normal deviates.
    """
    shares = numbers("weights", weights)
    if not densities or shares.size != len(densities):
        raise EstimationError("weights", "needs one weight a stratum")
    if (shares < 0).any() or abs(shares.sum() - 1) > SUM_SLACK:
        raise EstimationError("weights", "must be 0 or more and add up to 1")
    first = densities[0]
    if any(one.recovery != first.recovery for one in densities):
        raise EstimationError("densities", "must share one recovery")
    used = [
        (one, float(share))
        for one, share in zip(densities, shares, strict=True)
        if share > 0
    ]
    washed_off = _with_room(_sum_of(used), first.recovery)
    posterior = divide_by_recovery(washed_off, first.recovery, first.upper_limit)
    tail = (1 - first.confidence) / 2
    low, median, high = posterior.quantiles(np.array([tail, 0.5, 1 - tail]))
    grids = Grids(posterior.log_values[None], posterior.cumulative[None])
    limits = np.array([first.upper_limit], dtype=np.float64)
    largest = max(densities, key=lambda one: one.bags)
    return DensityEstimate(
        median=float(median),
        low=float(low),
        high=float(upper_ends(grids, np.array([high]), limits)[0]),
        confidence=first.confidence,
        sample_mean=sum(share * one.sample_mean for one, share in used),
        bags=sum(one.bags for one in densities),
        animals=sum(one.animals for one in densities),
        k_median=largest.k_median,
        sigma_median=largest.sigma_median,
        lognormal_share=largest.lognormal_share,
        log_evidence=sum(one.log_evidence for one, _ in used),
        priors=largest.priors,
        posterior=posterior,
        washed_off=washed_off,
        recovery=first.recovery,
        upper_limit=first.upper_limit,
    )


def _sum_of(used: list[tuple[DensityEstimate, float]]) -> GridPosterior:
    """Add up independent strata, each times its share."""
    parts = [
        GridPosterior(one.washed_off.log_values + log(share), one.washed_off.cumulative)
        for one, share in used
    ]
    return reduce(_add, parts)


def _add(left: GridPosterior, right: GridPosterior) -> GridPosterior:
    """Convolve two distributions, of A and B.

    P(A + B <= s) = E[(F_B(s - A) - F_B(s/2))+] + E[(F_A(s - B) - F_A(s/2))+]
    + F_A(s/2) F_B(s/2), as one of the two is s/2 at most. Means over even steps of the
    normal deviate are good in this form even where a tail is so heavy that neighbouring
    nodes lie far apart: what is averaged has no jumps.
    """
    deviates = np.linspace(-DEVIATE_REACH, DEVIATE_REACH, NODES)
    weights = np.exp(-(deviates**2) / 2)
    weights /= weights.sum()
    a, b = left.quantiles(ndtr(deviates)), right.quantiles(ndtr(deviates))
    # Sums of equal quantiles lie where the sum has its mass, and densely in its tails.
    s = a + b
    half_a, half_b = _below(left, s / 2), _below(right, s / 2)
    past_a = np.maximum(_below(right, s[:, None] - a) - half_b[:, None], 0)
    past_b = np.maximum(_below(left, s[:, None] - b) - half_a[:, None], 0)
    below = np.maximum.accumulate((past_a + past_b) @ weights + half_a * half_b)
    below[0], below[-1] = 0.0, 1.0
    return GridPosterior(np.log(s), np.minimum(below, 1.0))


def _with_room(
    washed_off: GridPosterior, recovery: float | BetaRecovery
) -> GridPosterior:
    """Add nodes at both ends, as far as the recovery can move what is washed off."""
    if not isinstance(recovery, BetaRecovery):
        return washed_off
    log_shares, _ = recovery_nodes(recovery, WIDEST_STEP)
    shifts = log(recovery.mean) - log_shares
    steps = np.linspace(0, 1, ROOM_NODES + 1)[1:]
    before = washed_off.log_values[0] + float(shifts.min()) * steps[::-1]
    after = washed_off.log_values[-1] + float(shifts.max()) * steps
    return GridPosterior(
        np.concatenate([before, washed_off.log_values, after]),
        np.concatenate(
            [np.zeros(ROOM_NODES), washed_off.cumulative, np.ones(ROOM_NODES)]
        ),
    )


def _below(posterior: GridPosterior, values: FloatArray) -> FloatArray:
    """Give the probabilities at or below values, 0 for values not above 0."""
    return posterior.probability_below(np.log(np.maximum(values, TINY)))


@dataclass(frozen=True, slots=True, kw_only=True)
class StratifiedMean:
    """The plain stratified mean with its t interval."""

    mean: float
    standard_error: float
    degrees_of_freedom: float
    low: float
    high: float


def stratified_mean(
    strata: Sequence[Numbers], weights: Numbers, *, confidence: float = 0.95
) -> StratifiedMean:
    """Weight the strata's sample means, with Satterthwaite's degrees of freedom.

    strata: count arrays, two counts or more in each. weights: shares of leaves adding
    up to 1. confidence: in (0, 1).

    Raises EstimationError if a precondition fails.
    Source: Cochran 1977, Sampling Techniques, ch. 5; Satterthwaite 1946.
    """
    samples = [whole_counts("strata", stratum) for stratum in strata]
    shares = numbers("weights", weights)
    proportion("confidence", confidence)
    if shares.size != len(samples) or abs(shares.sum() - 1) > SUM_SLACK:
        raise EstimationError("weights", "needs one a stratum, adding up to 1")
    if any(sample.size < 2 for sample in samples):
        raise EstimationError("strata", "each needs two counts or more")
    mean = sum(w * s.mean() for w, s in zip(shares, samples, strict=True))
    parts = np.array(
        [w**2 * s.var(ddof=1) / s.size for w, s in zip(shares, samples, strict=True)]
    )
    variance = float(parts.sum())
    sizes = np.array([s.size - 1 for s in samples])
    freedom = variance**2 / float((parts**2 / sizes).sum()) if variance else np.inf
    reach = float(stats.t.ppf((1 + confidence) / 2, freedom)) * sqrt(variance)
    return StratifiedMean(
        mean=float(mean),
        standard_error=sqrt(variance),
        degrees_of_freedom=float(freedom),
        low=float(mean) - reach,
        high=float(mean) + reach,
    )
