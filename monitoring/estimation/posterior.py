"""Distributions of a density on a grid, and the few numbers that are stored of one."""

from dataclasses import dataclass, field
from functools import cached_property
from math import inf, log

import numpy as np
from scipy.special import betaincinv, ndtr, ndtri

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
# Equally probable recoveries over which a posterior is averaged.
RECOVERY_NODES = 41
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
        first, last = self._rising
        return np.exp(
            np.interp(
                probabilities,
                self.cumulative[first:last],
                self.log_values[first:last],
            )
        )

    @cached_property
    def _rising(self) -> tuple[int, int]:
        """The part of the grid where the distribution function rises."""
        first = int(np.searchsorted(self.cumulative, 0.0, side="right")) - 1
        last = int(np.searchsorted(self.cumulative, 1.0, side="left")) + 1
        return max(first, 0), min(last, self.cumulative.size)


def divide_by_recovery(
    washed_off: GridPosterior, recovery: float | BetaRecovery
) -> GridPosterior:
    """Turn what is washed off into what was there: F(t) = E[F_m(t r)].

    washed_off: distribution of animals that one wash brings off.
    recovery: a number in (0, 1], or a beta, averaged over equally probable nodes.

    Raises nothing: both were checked when they were made.
    Source: change of variable m = mu r with r independent of the counts.
    """
    if not isinstance(recovery, BetaRecovery):
        shifted = washed_off.log_values - log(recovery)
        return GridPosterior(shifted, washed_off.cumulative)
    log_nodes = np.log(recovery_nodes(recovery))
    log_values = washed_off.log_values - log(recovery.mean)
    spread = washed_off.probability_below(log_values[:, None] + log_nodes[None, :])
    return GridPosterior(log_values, spread.mean(axis=1))


def recovery_nodes(recovery: BetaRecovery) -> FloatArray:
    """Give equally probable recoveries, the middles of as many slices of the beta.

    recovery: a beta. Raises nothing.
    Source: midpoint rule on the quantile function.
    """
    middles = (np.arange(RECOVERY_NODES) + 0.5) / RECOVERY_NODES
    nodes: FloatArray = betaincinv(recovery.a, recovery.b, middles)
    return nodes


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
    """

    median: float
    low: float
    high: float
    confidence: float
    sample_mean: float
    bags: int
    animals: float
    k_median: float
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


def upper_end(posterior: GridPosterior, high: float, upper_limit: float) -> float:
    """Give the interval's upper end, or inf where only the prior's end holds it.

    posterior: of the density. high: its upper quantile. upper_limit: where the prior
    of the density ends.

    Raises nothing.
    Source: the posterior's upper tail falls like a power of the density, so that for
    few bags its quantiles follow the prior's end (own derivation, checked in tests).
    """
    edge = np.array([log(upper_limit * NO_LIMIT_ABOVE)])
    if 1 - float(posterior.probability_below(edge)[0]) > NO_LIMIT_MASS:
        return inf
    return high
