"""Sums of independent logarithms, convolved on even steps: no draws, no seeds."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import signal
from scipy.special import betaincinv, ndtr

from monitoring.estimation.posterior import GridPosterior
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import FloatArray

# Mass beyond these probabilities is gathered at the ends.
ENDS: FloatArray = np.array([1e-7, 1 - 1e-7])
QUARTILES: FloatArray = np.array([0.25, 0.75])
# Steps within the widest term's quartiles: what steps add to the variance is then
# 1 part in 70,000 of it a term.
STEPS_WITHIN_QUARTILES = 100
MOST_STEPS = 2**17
BETA_DEVIATES: FloatArray = np.linspace(-6.0, 6.0, 401)
TINY = 1e-300


@dataclass(frozen=True)
class LogTerm:
    """The logarithm of a positive quantity, taken some times (-2, -1, 1, 2)."""

    of: GridPosterior
    times: int

    @classmethod
    def of_recovery(cls, recovery: BetaRecovery, times: int) -> "LogTerm":
        """Take the logarithm of a recovery."""
        at = ndtr(BETA_DEVIATES)
        values = np.log(np.maximum(betaincinv(recovery.a, recovery.b, at), TINY))
        # Where a recovery is all but certain its neighbours would be equal.
        values = values + 1e-13 * np.arange(values.size)
        at[0], at[-1] = 0.0, 1.0
        return cls(GridPosterior(values, at), times)

    def log_quantiles(self, probabilities: FloatArray) -> FloatArray:
        """Give quantiles of the term, for probabilities that increase."""
        at = probabilities if self.times > 0 else 1 - probabilities
        return self.times * np.log(self.of.quantiles(at))

    def below(self, log_values: FloatArray) -> FloatArray:
        """Give the probability of a term at or below values."""
        found = self.of.probability_below(log_values / self.times)
        return found if self.times > 0 else 1 - found


def convolve(terms: Sequence[LogTerm | float]) -> GridPosterior:
    """Give the distribution of a product from its factors' independent logarithms.

    terms: logarithms, or numbers that are added to them; one LogTerm or more.

    Raises nothing: all were checked when they were made.
    Source: midpoint rule on even steps; Cooley & Tukey's transform in SciPy.
    """
    uncertain = [term for term in terms if isinstance(term, LogTerm)]
    shift = sum(term for term in terms if not isinstance(term, LogTerm))
    reaches = [term.log_quantiles(ENDS) for term in uncertain]
    widest = max(float(np.diff(term.log_quantiles(QUARTILES))[0]) for term in uncertain)
    whole = sum(float(high - low) for low, high in reaches)
    step = max(widest / STEPS_WITHIN_QUARTILES, whole / MOST_STEPS)
    mass, start = np.ones(1), 0.0
    for term, (low, high) in zip(uncertain, reaches, strict=True):
        cells = int(np.ceil((high - low) / step)) + 1
        middles = low + step * np.arange(cells)
        below = term.below(middles[:-1] + step / 2)
        mass = signal.convolve(mass, np.diff(below, prepend=0.0, append=1.0))
        start += low
    cumulative = np.cumsum(np.maximum(mass, 0.0))
    edges = start + shift + step * (np.arange(mass.size) + 0.5)
    log_values = np.append(edges[0] - step, edges)
    # Rounding of the transform leaves dust in both tails.
    cumulative = np.append(0.0, cumulative / cumulative[-1])
    return GridPosterior(log_values, np.maximum.accumulate(cumulative))
