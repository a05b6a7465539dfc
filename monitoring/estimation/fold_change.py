"""How many times as many there are as there were, from two stored densities."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtri

from monitoring.estimation.posterior import PROBABILITIES, StoredPosterior
from monitoring.estimation.validation import FloatArray, proportion


@dataclass(frozen=True, slots=True, kw_only=True)
class FoldChange:
    """A later density over an earlier one: median and interval."""

    median: float
    low: float
    high: float
    confidence: float


def fold_change(
    later: StoredPosterior, earlier: StoredPosterior, *, confidence: float = 0.95
) -> FoldChange:
    """Give the ratio of two densities of one subject, taken as independent.

    later, earlier: as stored. confidence: of the central interval, in (0, 1).

    Raises EstimationError if the confidence is none. A recovery that both have in
    common is counted twice, so the interval is a little wide.
    Source: distribution of a ratio by its definition, over all pairs of nodes.
    """
    tail = (1 - proportion("confidence", confidence)) / 2
    weights = _weights()
    logs = np.subtract.outer(
        np.log(np.asarray(later.quantiles)), np.log(np.asarray(earlier.quantiles))
    ).ravel()
    order = np.argsort(logs)
    mass = np.outer(weights, weights).ravel()[order]
    below = np.cumsum(mass) - mass / 2
    low, median, high = np.exp(np.interp([tail, 0.5, 1 - tail], below, logs[order]))
    return FoldChange(
        median=float(median), low=float(low), high=float(high), confidence=confidence
    )


@lru_cache(maxsize=1)
def _weights() -> FloatArray:
    """Give the probability that each stored quantile stands for."""
    deviates = ndtri(PROBABILITIES)
    density = np.exp(-(deviates**2) / 2)
    weights: FloatArray = density * np.gradient(deviates)
    weights /= weights.sum()
    return weights
