"""Predators per prey."""

from dataclasses import dataclass
from math import inf, log, nan, pi, sin, sqrt

import numpy as np
from scipy import stats
from scipy.special import ndtr, ndtri

from monitoring.estimation.posterior import DensityEstimate, GridPosterior
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    proportion,
    two_samples,
)

ATOMS = 301
DEVIATE_REACH = 5.0
NODES = 500
# Probabilities of 0 and 1 have no normal deviate; this far out they do not matter.
TINY = 1e-12
NO_PREY = "no prey found"
NO_PREDATORS = "no predators found: upper limit only"
NEITHER = "neither prey nor predators found"


@dataclass(frozen=True, kw_only=True)
class RatioEstimate:
    """Numerator over denominator: posterior median and interval, or why not.

    `ratio`, `low` and `high` are nan when no prey was found. `low` is 0 when no
    predators were found.
    """

    ratio: float
    low: float
    high: float
    confidence: float
    reason: str
    posterior: GridPosterior | None

    def chance_below(self, value: float) -> float:
        """Give the probability of a ratio below a value; nan without prey."""
        if self.posterior is None:
            return nan
        if value <= 0:
            return 0.0
        return float(self.posterior.probability_below(np.array([log(value)]))[0])

    def quantiles_at(self, probabilities: Numbers) -> FloatArray:
        """Give the ratios not exceeded with probabilities; EstimationError if none."""
        if self.posterior is None:
            raise EstimationError("probabilities", self.reason)
        return self.posterior.quantiles(numbers("probabilities", probabilities))


def estimate_ratio(
    numerator: DensityEstimate,
    denominator: DensityEstimate,
    *,
    rank_correlation: float = 0.0,
    shared_recovery: bool = False,
    confidence: float = 0.95,
) -> RatioEstimate:
    """Estimate the ratio of two densities of the same bags.

    numerator, denominator: densities, of predators and of prey.
    rank_correlation: Spearman's, between the bags' counts, within (-1, 1).
    shared_recovery: whether both have one and the same recovery, which then cancels.
    confidence: of the central interval, in (0, 1).

    Raises EstimationError if a precondition fails. Without prey the ratio is nan.
    Source: Gaussian copula; Pearson's from Spearman's correlation by 2 sin(pi rho/6),
    Kruskal 1958, J. Am. Stat. Assoc. 53:814-861; numerical integration.
    """
    proportion("confidence", confidence)
    if not -1 < rank_correlation < 1:
        raise EstimationError("rank_correlation", "must lie within -1 and 1")
    reason = _reason(numerator, denominator)
    if denominator.animals == 0:
        return RatioEstimate(
            ratio=nan,
            low=nan,
            high=nan,
            confidence=confidence,
            reason=reason,
            posterior=None,
        )
    above, below = (
        (numerator.washed_off, denominator.washed_off)
        if shared_recovery
        else (numerator.posterior, denominator.posterior)
    )
    posterior = _quotient(above, below, 2 * sin(pi * rank_correlation / 6))
    tail = (1 - confidence) / 2
    low, median, high = posterior.quantiles(np.array([tail, 0.5, 1 - tail]))
    return RatioEstimate(
        ratio=float(median),
        low=0.0 if numerator.animals == 0 else float(low),
        high=float(high),
        confidence=confidence,
        reason=reason,
        posterior=posterior,
    )


def _reason(numerator: DensityEstimate, denominator: DensityEstimate) -> str:
    if denominator.animals == 0:
        return NEITHER if numerator.animals == 0 else NO_PREY
    return NO_PREDATORS if numerator.animals == 0 else ""


def _quotient(
    above: GridPosterior, below: GridPosterior, correlation: float
) -> GridPosterior:
    """Integrate P(A <= r B | B) over B at normal deviates."""
    deviates = np.linspace(-DEVIATE_REACH, DEVIATE_REACH, ATOMS)
    weights = np.exp(-(deviates**2) / 2)
    weights /= weights.sum()
    log_below = np.log(below.quantiles(ndtr(deviates)))
    ends = np.array([1e-7, 1 - 1e-7])
    log_above = np.log(above.quantiles(ends))
    log_ratio = np.linspace(
        log_above[0] - log_below[-1], log_above[1] - log_below[0], NODES
    )
    shares = above.probability_below(log_ratio[:, None] + log_below[None, :])
    inside = np.clip(shares, TINY, 1 - TINY)
    scale = sqrt(1 - correlation**2)
    conditional = ndtr((ndtri(inside) - correlation * deviates[None, :]) / scale)
    cumulative = np.maximum.accumulate(conditional @ weights)
    cumulative[0], cumulative[-1] = 0.0, 1.0
    return GridPosterior(log_ratio, cumulative)


@dataclass(frozen=True, slots=True, kw_only=True)
class FiellerInterval:
    """Fieller's limits of a ratio of means; unbounded where g is 1 or more."""

    ratio: float
    low: float
    high: float
    g: float
    bounded: bool


def fieller_interval(
    numerator: Numbers,
    denominator: Numbers,
    *,
    paired: bool = True,
    confidence: float = 0.95,
) -> FiellerInterval:
    """Give Fieller's interval for the ratio of two sample means.

    numerator, denominator: shapes (n,), the same n if paired; two or more each.
    paired: whether entries belong together; if not, Welch's degrees of freedom.
    confidence: in (0, 1).

    Raises EstimationError if a precondition fails or the denominator's mean is 0.
    Source: Fieller 1954, J. R. Stat. Soc. B 16:175-185; unequal variances as in
    Tamhane & Logan 2004.
    """
    top, bottom = two_samples(
        numerator, denominator, paired=paired, confidence=confidence
    )
    if bottom.mean() == 0:
        raise EstimationError("denominator", "has mean 0")
    ratio = float(top.mean() / bottom.mean())
    v_top = float(top.var(ddof=1)) / top.size
    v_bottom = float(bottom.var(ddof=1)) / bottom.size
    between = float(np.cov(top, bottom)[0, 1]) / top.size if paired else 0.0
    freedom = float(top.size - 1)
    if not paired:
        spread = v_top + ratio**2 * v_bottom
        freedom = spread**2 / (
            v_top**2 / (top.size - 1) + ratio**4 * v_bottom**2 / (bottom.size - 1)
        )
    t_square = float(stats.t.ppf((1 + confidence) / 2, freedom)) ** 2
    return _limits(
        ratio,
        a=float(bottom.mean()) ** 2 - t_square * v_bottom,
        b=float(top.mean() * bottom.mean()) - t_square * between,
        c=float(top.mean()) ** 2 - t_square * v_top,
        g=t_square * v_bottom / float(bottom.mean()) ** 2,
    )


def _limits(ratio: float, *, a: float, b: float, c: float, g: float) -> FiellerInterval:
    if g >= 1:
        return FiellerInterval(ratio=ratio, low=-inf, high=inf, g=g, bounded=False)
    root = sqrt(max(b**2 - a * c, 0.0))
    return FiellerInterval(
        ratio=ratio, low=(b - root) / a, high=(b + root) / a, g=g, bounded=True
    )
