"""The posterior of what is washed off, for negative binomial counts of many rounds."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from monitoring.estimation.bags import Bags, Kinds
from monitoring.estimation.grids import Grids, WashedOff
from monitoring.estimation.mean_grid import (
    FINE_NODES,
    MEAN_NODES,
    fine_grids,
    mean_nodes,
    medians,
)
from monitoring.estimation.nodes import Nodes, prior_nodes
from monitoring.estimation.priors import KPrior, LeafPriors
from monitoring.estimation.validation import FloatArray

# Gauss-Legendre nodes of ln k for K_BAGS bags over a range of K_RANGE; more bags make
# the posterior of k narrower, by their square root.
K_NODES, K_BAGS, K_RANGE, MOST_K_NODES = 20, 20, 5.5, 2000
# Numbers in one array of a chunk of rounds: fast memory holds a few such arrays.
CHUNK = 60_000


def washed_off_posteriors(
    bags: Bags, priors: Sequence[LeafPriors], tops: FloatArray
) -> WashedOff:
    """Integrate the negative binomial likelihood over k, round by round.

    bags: counts and exposures (units times the proportion counted) of all rounds.
    priors: of each round's k; what else they hold is not used. tops: shape (rounds,),
    largest mean per unit.

    The prior of the mean m given k is Jeffreys', sqrt(sum e/(m (1 + m e/k))), up to
    the top. Raises nothing: arguments were checked.
    Source: thinning keeps k (Poisson-gamma mixture); Jeffreys 1946, Proc. R. Soc. A
    186:453-461.
    """
    kinds, rounds = bags.kinds(), len(priors)
    log_values = np.empty((rounds, FINE_NODES))
    cumulative, k_medians = np.empty_like(log_values), np.empty(rounds)
    for rows, nodes in _chunks(bags, kinds, [one.k for one in priors]):
        some = bags.take(rows)
        log_m, step = mean_nodes(some, np.log(tops[rows]))
        density = joint_density(some, kinds.take(rows), log_m, nodes).density
        of_mean = density.sum(axis=1) * step
        of_k = np.matmul(density, step[:, :, None])[:, :, 0]
        log_values[rows], cumulative[rows] = fine_grids(log_m, of_mean)
        k_medians[rows] = medians(of_k, nodes.log_values)
    return WashedOff(
        Grids(log_values, cumulative),
        k_medians=k_medians,
        sigma_medians=np.full(rounds, np.nan),
        lognormal_shares=np.zeros(rounds),
        log_evidences=np.full(rounds, np.nan),
    )


def _chunks(
    bags: Bags, kinds: Kinds, k_priors: Sequence[KPrior]
) -> Iterator[tuple[NDArray[np.intp], Nodes]]:
    """Part rounds that share nodes of k into chunks; those of few kinds first."""
    groups: dict[tuple[KPrior, int], list[int]] = {}
    for row, (prior, size) in enumerate(zip(k_priors, bags.sizes, strict=True)):
        groups.setdefault((prior, nodes_for(prior, int(size))), []).append(row)
    for (prior, size), members in groups.items():
        nodes = prior_nodes(prior, size)
        rows = np.array(members)
        rows = rows[np.argsort(kinds.per_round[rows], kind="stable")]
        length = max(1, CHUNK // (MEAN_NODES * size))
        for start in range(0, rows.size, length):
            yield rows[start : start + length], nodes


def nodes_for(prior: KPrior, bags: int) -> int:
    """Say how many nodes of k so many bags need, in steps of 8.

    prior: of k. bags: 1 or more. Raises nothing.
    Source: the information on ln k is at most 1 a bag, so its posterior's deviation is
    at least 1/sqrt(bags); steps about as wide integrate it to 1e-4.
    """
    low, high = prior.log_range()
    share = (high - low) / K_RANGE * sqrt(bags / K_BAGS)
    return K_NODES if share <= 1 else min(8 * ceil(K_NODES * share / 8), MOST_K_NODES)


@dataclass(frozen=True)
class JointDensity:
    """Likelihood times priors of rounds, in ln m and ln k, times k's weights.

    density: shape (rounds, ks, means), divided by exp(log_scales). log_scales: shape
    (rounds,). root_information: shape of density; the prior without what depends on k
    alone. Products of the exposures and of the counts' factorials are left out.
    """

    density: FloatArray
    log_scales: FloatArray
    root_information: FloatArray

    def prior_of_mean(self, nodes: Nodes) -> FloatArray:
        """Give the prior of ln m with k averaged out; shape (rounds, means)."""
        weights = np.exp(nodes.log_shares() + 0.5 * nodes.log_values)
        found: FloatArray = np.matmul(weights, self.root_information)
        return found


def joint_density(
    bags: Bags, kinds: Kinds, log_m: FloatArray, nodes: Nodes
) -> JointDensity:
    """Multiply likelihood and priors at nodes of the mean and of k.

    bags, kinds: of the rounds. log_m: shape (rounds, means). nodes: of ln k.

    Raises nothing.
    Source: as `washed_off_posteriors`.
    """
    m, k = np.exp(log_m)[:, None, :], np.exp(nodes.log_values)[:, None]
    of_k = bags.sums(_rising_factorials(bags.counts, k[:, 0]))
    of_k += bags.sizes[:, None] * k[:, 0] * nodes.log_values + nodes.log_weights
    # The prior's square root has k in it, which goes with what depends on k alone.
    of_k += 0.5 * nodes.log_values
    joint = bags.sums(bags.counts)[:, None, None] * log_m[:, None, :]
    joint = joint + of_k[:, :, None]
    # Arrays this large are slow to get: three serve throughout.
    information, spread, part = np.zeros((3, *joint.shape))
    for exposure, bags_of, seen_of in kinds.columns():
        np.add(m * exposure[:, None, None], k, out=spread)
        np.divide((bags_of * exposure)[:, None, None], spread, out=part)
        information += part
        np.log(spread, out=part)
        part *= seen_of[:, None, None] + bags_of[:, None, None] * k
        joint -= part
    scales = joint.max(axis=(1, 2), keepdims=True)
    joint -= scales
    density: FloatArray = np.exp(joint, out=joint)
    # sqrt(information / m), times m for the step from m to ln m.
    information *= m
    density *= np.sqrt(information, out=information)
    return JointDensity(density, scales[:, 0, 0], information)


def _rising_factorials(counts: FloatArray, k: FloatArray) -> FloatArray:
    """Give ln Gamma(x + k) - ln Gamma(k); shape (counts, ks)."""
    values, back = np.unique(counts, return_inverse=True)
    table = gammaln(values[:, None] + k) - gammaln(k)
    found: FloatArray = table[back]
    return found
