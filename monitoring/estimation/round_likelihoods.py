"""How likely each mean per unit makes the counts of a round, on a common grid."""

from functools import lru_cache

import numpy as np
from scipy.special import gammaln, roots_legendre

from monitoring.estimation.bags import Bags
from monitoring.estimation.priors import DEFAULT_K_PRIOR, KPrior
from monitoring.estimation.validation import FloatArray, Places

# ln of the mean per unit: from one in 8,000 units to 1.2 million on each.
LOG_MEAN_STEP = 0.08
LOG_MEANS: FloatArray = np.arange(-9.0, 14.0, LOG_MEAN_STEP)
K_NODES = 12
ROUNDS_AT_ONCE = 100


def round_likelihoods(bags: Bags, *, k_prior: KPrior = DEFAULT_K_PRIOR) -> FloatArray:
    """Give the likelihood of each mean at LOG_MEANS, k integrated, round by round.

    bags: counts and exposures (recovery times proportion counted times units) of all
    rounds. k_prior: of each round's clumping.

    Shape (rounds, nodes), each row scaled to a highest value of 1. No prior of the mean
    is in it, so that empty rounds say only that there were few.
    Raises nothing: arguments were checked.
    Source: negative binomial likelihood; Gauss-Legendre quadrature over ln k.
    """
    rounds = bags.sizes.size
    found = np.empty((rounds, LOG_MEANS.size))
    for start in range(0, rounds, ROUNDS_AT_ONCE):
        rows = np.arange(start, min(start + ROUNDS_AT_ONCE, rounds))
        found[rows] = _some(bags.take(rows), k_prior)
    return found


def _some(bags: Bags, k_prior: KPrior) -> FloatArray:
    log_k, log_weights = _k_nodes(k_prior)
    k, means = np.exp(log_k)[:, None], np.exp(LOG_MEANS)
    of_k = bags.sums(gammaln(bags.counts[:, None] + k[:, 0]) - gammaln(k[:, 0]))
    of_k += bags.sizes[:, None] * k[:, 0] * log_k + log_weights
    seen = bags.sums(bags.counts)
    joint = of_k[:, :, None] + seen[:, None, None] * LOG_MEANS
    for exposure, bags_of, seen_of in bags.kinds().columns():
        spread = np.log(means * exposure[:, None, None] + k)
        joint -= (seen_of[:, None, None] + bags_of[:, None, None] * k) * spread
    joint -= joint.max(axis=(1, 2), keepdims=True)
    likelihood: FloatArray = np.exp(joint).sum(axis=1)
    likelihood /= likelihood.max(axis=1, keepdims=True)
    return likelihood


@lru_cache(maxsize=64)
def _k_nodes(k_prior: KPrior) -> tuple[FloatArray, FloatArray]:
    at, weights = roots_legendre(K_NODES)
    low, high = k_prior.log_range()
    log_k = low + (high - low) * (at + 1) / 2
    return log_k, np.log(weights) + k_prior.log_density(log_k)


def bags_in_a_row(counts: list[FloatArray], exposures: list[FloatArray]) -> Bags:
    """Put the bags of rounds one after another.

    counts, exposures: one array a round, shape (bags,) each.

    Raises nothing: arguments were checked.
    Source: none needed.
    """
    sizes: Places = np.array([one.size for one in counts], dtype=np.intp)
    return Bags(np.concatenate(counts), np.concatenate(exposures), sizes)
