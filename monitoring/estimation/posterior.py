"""Distributions of a density on a grid, and the few numbers that are stored of one."""

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from math import ceil, floor, inf, log, log2, sqrt

import numpy as np
from scipy.special import betaincinv, ndtr, ndtri

from monitoring.estimation.grids import Grids
from monitoring.estimation.priors import LeafPriors
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    proportion,
)

# Where a density's stored quantiles stand: even steps of the normal deviate, dense in
# both tails, with the probabilities that pages show among them.
PROBABILITIES: FloatArray = np.unique(
    np.concatenate(
        [
            ndtr(np.linspace(-3.5, 3.5, 96)),
            [0.025, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.975],
        ]
    )
)
# Recoveries over which a posterior is averaged stand at even normal deviates, this far
# out and at most this far apart: closer where the recovery is vague against the rest.
RECOVERY_REACH, WIDEST_STEP = 4.0, 1.0
MOST_HALVINGS = 6
QUARTILES: FloatArray = np.array([0.25, 0.75])
QUARTILES_APART = 1.349
TINY = 1e-300
# Mass above this share of the upper limit means that the bags give no upper limit.
NO_LIMIT_ABOVE = 0.1
NO_LIMIT_MASS = 0.01


@dataclass(frozen=True)
class GridPosterior:
    """A distribution of a positive quantity by its distribution function.

    log_values: shape (nodes,), increasing natural logarithms.
    cumulative: shape (nodes,), probability at or below each, from 0 to 1.
    """

    log_values: FloatArray = field(repr=False)
    cumulative: FloatArray = field(repr=False)

    def probability_below(self, log_value: FloatArray) -> FloatArray:
        """Give the probability at or below values, by their logarithms."""
        found: FloatArray = np.interp(
            log_value, self.log_values, self.cumulative, left=0.0, right=1.0
        )
        return found

    def quantiles(self, probabilities: FloatArray) -> FloatArray:
        """Give the values at probabilities in (0, 1)."""
        found = np.interp(probabilities, self.cumulative, self.log_values)
        return np.exp(found)


def divide_by_recovery(
    washed_off: GridPosterior, recovery: float | BetaRecovery, upper_limit: float
) -> GridPosterior:
    """Turn what is washed off into what was there: F(t) = E[F_m(t r)].

    washed_off: distribution of animals that one wash brings off.
    recovery: a number in (0, 1], or a beta, averaged over its normal deviates.
    upper_limit: where the prior of what was there ends.

    Raises nothing: all were checked when they were made.
    Source: change of variable m = mu r with r independent of the counts.
    """
    if not isinstance(recovery, BetaRecovery):
        shifted = washed_off.log_values - log(recovery)
        return GridPosterior(shifted, washed_off.cumulative)
    log_nodes, weights = recovery_nodes(recovery, _spacing(washed_off, recovery))
    log_values = washed_off.log_values - log(recovery.mean)
    np.minimum(log_values, log(upper_limit), out=log_values)
    spread = washed_off.probability_below(log_nodes[:, None] + log_values)
    cumulative = weights @ spread
    # What a small recovery would lift over the prior's end is not believed.
    return GridPosterior(log_values, cumulative / cumulative[-1])


def _spacing(washed_off: GridPosterior, recovery: BetaRecovery) -> float:
    """Choose the step between recoveries: narrow against what is washed off."""
    # The nearest nodes will do.
    low, high = washed_off.log_values[washed_off.cumulative.searchsorted(QUARTILES)]
    own = max(float(high - low) / QUARTILES_APART, TINY)
    relative = sqrt(recovery.b / (recovery.a * (recovery.a + recovery.b + 1)))
    halvings = min(max(-floor(log2(own / (2 * relative))), 0), MOST_HALVINGS)
    return float(WIDEST_STEP / 2**halvings)


@lru_cache(maxsize=256)
def recovery_nodes(
    recovery: BetaRecovery, spacing: float
) -> tuple[FloatArray, FloatArray]:
    """Give the logarithms of recoveries at even normal deviates, and their weights.

    recovery: a beta. spacing: of the deviates, above 0.

    Raises nothing.
    Source: trapezoid rule for the normal density, whose error falls as
    exp(-2 (pi/spacing)^2) (Trefethen & Weideman 2014, SIAM Review 56:385-458).
    """
    steps = ceil(RECOVERY_REACH / spacing)
    deviates = spacing * np.arange(-steps, steps + 1)
    weights = np.exp(-(deviates**2) / 2)
    nodes = betaincinv(recovery.a, recovery.b, ndtr(deviates))
    return np.log(np.maximum(nodes, TINY)), weights / weights.sum()


@dataclass(frozen=True)
class StoredPosterior:
    """A distribution rebuilt from its quantiles at PROBABILITIES.

    quantiles: shape of PROBABILITIES, above 0 and not falling.
    Between them the logarithm of the value runs straight over the normal deviate of
    the probability; beyond them the last slope goes on.
    """

    quantiles: tuple[float, ...]

    def __post_init__(self) -> None:
        values = numbers("quantiles", self.quantiles)
        if values.size != PROBABILITIES.size:
            raise EstimationError("quantiles", f"needs {PROBABILITIES.size} values")
        if (values <= 0).any() or (np.diff(values) < 0).any():
            raise EstimationError("quantiles", "must be above 0 and not fall")

    @cached_property
    def _curve(self) -> tuple[FloatArray, FloatArray]:
        deviates = ndtri(PROBABILITIES)
        log_values = np.log(np.asarray(self.quantiles))
        # Equal neighbours would make the inverse ambiguous.
        log_values = log_values + 1e-12 * np.arange(log_values.size)
        return deviates, log_values

    def chance_above(self, threshold: float) -> float:
        """Give the probability of a value above a threshold; 1 at 0 and below."""
        if threshold <= 0:
            return 1.0
        deviates, log_values = self._curve
        found = _straight(log(threshold), log_values, deviates)
        return float(ndtr(-found))

    def chance_below(self, value: float) -> float:
        """Give the probability of a value below one; 0 at 0 and below."""
        return 1.0 - self.chance_above(value)

    def quantile(self, probability: float) -> float:
        """Give the value that is not exceeded with a probability in (0, 1)."""
        proportion("probability", probability)
        deviates, log_values = self._curve
        found = _straight(float(ndtri(probability)), deviates, log_values)
        return float(np.exp(found))


def _straight(at: float, x: FloatArray, y: FloatArray) -> float:
    """Interpolate linearly, and go on straight beyond both ends."""
    if at < x[0]:
        return float(y[0] + (at - x[0]) * (y[1] - y[0]) / (x[1] - x[0]))
    if at > x[-1]:
        return float(y[-1] + (at - x[-1]) * (y[-1] - y[-2]) / (x[-1] - x[-2]))
    return float(np.interp(at, x, y))


@dataclass(frozen=True, kw_only=True)
class DensityEstimate:
    """Animals per leaf (shoot, bud): posterior median, interval, and what is beside.

    `high` is inf when the bags give no upper limit. `sample_mean` is the plain mean,
    corrected for cells and mean recovery. `animals` is how many were seen.
    `sigma_median` and `lognormal_share` say what the averaged model held of lognormal
    leaves: the deviation of their logarithms (nan where not asked), and its share;
    `log_evidence` compares what was held before the counts were seen (nan likewise),
    which is `priors`.
    """

    median: float
    low: float
    high: float
    confidence: float
    sample_mean: float
    bags: int
    animals: float
    k_median: float
    sigma_median: float
    lognormal_share: float
    log_evidence: float
    priors: LeafPriors
    posterior: GridPosterior
    washed_off: GridPosterior
    recovery: float | BetaRecovery
    upper_limit: float

    def chance_above(self, threshold: float) -> float:
        """Give the probability that the density is above a threshold."""
        if threshold <= 0:
            return 1.0
        below = self.posterior.probability_below(np.array([log(threshold)]))
        return float(1 - below[0])

    def quantile(self, probability: float) -> float:
        """Give the density that is not exceeded with a probability in (0, 1)."""
        proportion("probability", probability)
        return float(self.posterior.quantiles(np.array([probability]))[0])

    def quantiles_at(self, probabilities: Numbers) -> FloatArray:
        """Give the densities not exceeded with probabilities in (0, 1)."""
        return self.posterior.quantiles(numbers("probabilities", probabilities))


def upper_ends(grids: Grids, highs: FloatArray, limits: FloatArray) -> FloatArray:
    """Give intervals' upper ends, inf where only the prior's end holds them.

    grids: of the densities. highs: shape (rounds,), their upper quantiles. limits:
    shape (rounds,), where the prior of each density ends.

    Raises nothing.
    Source: the posterior's upper tail falls like a power of the density, so that for
    few bags its quantiles follow the prior's end (own derivation, checked in tests).
    """
    above = 1 - grids.below(np.log(limits * NO_LIMIT_ABOVE))
    return np.where(above > NO_LIMIT_MASS, inf, highs)
