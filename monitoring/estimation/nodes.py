"""Where a prior of the leaves' clumping is followed."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import roots_legendre

from monitoring.estimation.priors import KPrior, SigmaPrior
from monitoring.estimation.validation import FloatArray


@dataclass(frozen=True)
class Nodes:
    """Logarithms of k or sigma, and the logarithm of each one's weight.

    Both are of shape (nodes,); weights hold the prior, up to a constant.
    """

    log_values: FloatArray
    log_weights: FloatArray

    def log_shares(self) -> FloatArray:
        """Give the weights' logarithms, scaled so that the weights add up to 1."""
        shares: FloatArray = self.log_weights - np.logaddexp.reduce(self.log_weights)
        return shares


@lru_cache(maxsize=256)
def prior_nodes(prior: KPrior | SigmaPrior, size: int) -> Nodes:
    """Place nodes over a prior's range.

    prior: of k or of sigma. size: how many nodes, 1 or more.

    Raises nothing.
    Source: Gauss-Legendre quadrature in the logarithm.
    """
    at, weights = _gauss_legendre(size)
    low, high = prior.log_range()
    log_values = low + (high - low) * (at + 1) / 2
    return Nodes(log_values, np.log(weights) + prior.log_density(log_values))


@lru_cache(maxsize=64)
def _gauss_legendre(size: int) -> tuple[FloatArray, FloatArray]:
    at, weights = roots_legendre(size)
    return at, weights
