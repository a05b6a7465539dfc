"""What earlier rounds tell of how leaves differ, as priors for the next ones."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan

import numpy as np
from scipy.optimize import minimize_scalar

from monitoring.estimation.averaged import averaged_posteriors
from monitoring.estimation.bags import Bags
from monitoring.estimation.lognormal import (
    CountTable,
    log_likelihoods,
    log_range_of,
    sigma_nodes_for,
)
from monitoring.estimation.mean_grid import mean_nodes
from monitoring.estimation.negative_binomial import joint_density, nodes_for
from monitoring.estimation.nodes import Nodes, prior_nodes
from monitoring.estimation.posterior import DensityEstimate
from monitoring.estimation.priors import (
    ExponentialSigma,
    LeafPriors,
    LogNormalK,
    LogNormalSigma,
    LogUniformK,
)
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    each_bag,
    one_after_another,
)

# Fewer rounds, rounds of fewer bags, or fewer animals in all tell too little.
FEWEST_ROUNDS, FEWEST_BAGS, FEWEST_ANIMALS = 10, 10, 200
# How far the next round's clumping may lie from the earlier ones' middle.
K_SD_LOG, SIGMA_SD_LOG = 0.35, 0.15
# No history counts a model out: leaves may differ otherwise next time.
LARGEST_ODDS = 100.0
# Where middles are sought.
WIDE_K = LogUniformK(0.02, 20.0)
WIDE_SIGMA = ExponentialSigma(0.0, 0.15, 2.5)
TOP, TINY, TINY_LIKELIHOOD = 1e6, 1e-12, 1e-300
ROUNDS_AT_ONCE = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedClumping:
    """What earlier rounds tell: a prior of k, one of sigma, and the models' odds."""

    k: LogNormalK
    sigma: LogNormalSigma
    lognormal_odds: float
    rounds: int
    bags: int

    @property
    def priors(self) -> LeafPriors:
        """The priors as the estimators take them."""
        return LeafPriors(self.k, self.sigma, self.lognormal_odds)


def learn_clumping(
    rounds: Sequence[Numbers], *, exposures: Sequence[Numbers | float] | None = None
) -> LearnedClumping:
    """Learn the priors of how leaves differ from a group's own earlier rounds.

    rounds: count arrays, at least ten, each of ten bags or more and with an animal in
    one, of one tissue and organism; 200 animals in all. exposures: by round, units in
    the bag times the proportion counted, one value or one a bag, above 0; 1 where not
    given.

    The middle of k (of sigma) is where the rounds are together most probable, each with
    a k (sigma) of its own about it; the odds are those of all rounds under the two.
    Raises EstimationError if a precondition fails.
    Source: maximum marginal likelihood of a random effect (empirical Bayes: Carlin &
    Louis 2000, ch. 3); the deviations about the middle are this project's choice.
    """
    bags = _checked(rounds, exposures)
    of_k, of_sigma = _likelihoods(bags)
    k = LogNormalK(_middle(*of_k, K_SD_LOG), K_SD_LOG)
    sigma = LogNormalSigma(_middle(*of_sigma, SIGMA_SD_LOG), SIGMA_SD_LOG)
    return LearnedClumping(
        k=k,
        sigma=sigma,
        lognormal_odds=_odds(bags, LeafPriors(k, sigma)),
        rounds=int(bags.sizes.size),
        bags=int(bags.sizes.sum()),
    )


def guard_history(
    learned: DensityEstimate, default: DensityEstimate
) -> DensityEstimate:
    """Give the density by the learned priors, unless the bags speak against them.

    learned, default: of the same bags by the averaged model, with the learned priors
    and with those that hold without a history.

    The default is given where the counts are more probable under it: then this round
    is not like the earlier ones.
    Raises EstimationError where one was not made by the averaged model.
    Source: Bayes factor at 1 (Kass & Raftery 1995, JASA 90:773-795); the bound was
    chosen by simulation, of 1, 3, 10 and none.
    """
    for name, one in (("learned", learned), ("default", default)):
        if isnan(one.log_evidence):
            raise EstimationError(name, "was not made by the averaged model")
    return default if default.log_evidence > learned.log_evidence else learned


def _checked(
    rounds: Sequence[Numbers], exposures: Sequence[Numbers | float] | None
) -> Bags:
    if len(rounds) < FEWEST_ROUNDS:
        raise EstimationError("rounds", f"must hold {FEWEST_ROUNDS} rounds or more")
    counts, sizes = one_after_another("rounds", rounds)
    if (counts < 0).any() or (counts != np.floor(counts)).any():
        raise EstimationError("rounds", "must hold whole numbers of animals, 0 or more")
    given = [1.0] * len(rounds) if exposures is None else list(exposures)
    if len(given) != len(rounds):
        raise EstimationError("exposures", "needs one entry a round")
    exposed = each_bag("exposures", given, sizes)
    if (exposed <= 0).any():
        raise EstimationError("exposures", "must be above 0")
    bags = Bags(counts, exposed, sizes)
    if sizes.min() < FEWEST_BAGS or bags.sums(counts).min() == 0:
        raise EstimationError(
            "rounds", f"need {FEWEST_BAGS} bags or more each, and an animal in one"
        )
    if counts.sum() < FEWEST_ANIMALS:
        raise EstimationError(
            "rounds", f"hold fewer than {FEWEST_ANIMALS} animals in all"
        )
    return bags


def _likelihoods(
    bags: Bags,
) -> tuple[tuple[FloatArray, Nodes], tuple[FloatArray, Nodes]]:
    """Give ln of each round's likelihood at nodes of k, and of sigma.

    The mean is integrated over Jeffreys' prior, made proper for each k. Both arrays are
    of shape (rounds, nodes).
    """
    most = int(bags.sizes.max())
    of_k = prior_nodes(WIDE_K, nodes_for(WIDE_K, most))
    of_sigma = prior_nodes(WIDE_SIGMA, sigma_nodes_for(WIDE_SIGMA, most))
    by_k = np.empty((bags.sizes.size, of_k.log_values.size))
    by_sigma = np.empty((bags.sizes.size, of_sigma.log_values.size))
    for first in range(0, bags.sizes.size, ROUNDS_AT_ONCE):
        rows = np.arange(first, min(first + ROUNDS_AT_ONCE, bags.sizes.size))
        some = bags.take(rows)
        log_m, step = mean_nodes(some, np.full(rows.size, np.log(TOP)))
        joint = joint_density(some, some.kinds(), log_m, of_k)
        dear = np.matmul(joint.density, step[:, :, None])[:, :, 0]
        prior = np.matmul(joint.root_information, step[:, :, None])[:, :, 0]
        by_k[rows] = (
            np.log(np.maximum(dear / prior, TINY_LIKELIHOOD))
            - of_k.log_weights
            - 0.5 * of_k.log_values
        )
        table = CountTable.of(
            some, np.exp(of_sigma.log_values), *log_range_of(some, log_m)
        )
        found = log_likelihoods(some, log_m, table)
        weights = np.log(joint.prior_of_mean(of_k) * step)
        by_sigma[rows] = np.logaddexp.reduce(found + weights[:, None, :], axis=2)
    return (by_k, of_k), (by_sigma, of_sigma)


def _middle(log_likelihoods: FloatArray, nodes: Nodes, deviation: float) -> float:
    """Find the middle at which rounds are together most probable.

    log_likelihoods: shape (rounds, nodes), each row up to a constant.
    """

    def minus_log(middle: float) -> float:
        prior = -0.5 * ((nodes.log_values - middle) / deviation) ** 2
        weights = prior + nodes.log_weights
        weights = weights - np.logaddexp.reduce(weights)
        of_round = np.logaddexp.reduce(log_likelihoods + weights, axis=1)
        return -float(of_round.sum())

    ends = float(nodes.log_values[0]), float(nodes.log_values[-1])
    best = minimize_scalar(minus_log, bounds=ends, method="bounded")
    return float(np.exp(best.x))


def _odds(bags: Bags, priors: LeafPriors) -> float:
    """Give the odds of the lognormal model after all rounds, within bounds."""
    size = int(bags.sizes.size)
    found = averaged_posteriors(bags, [priors] * size, np.full(size, TOP))
    shares = np.clip(found.lognormal_shares, TINY, 1 - TINY)
    together = float(np.log(shares / (1 - shares)).sum())
    most = float(np.log(LARGEST_ODDS))
    return float(np.exp(np.clip(together, -most, most)))
