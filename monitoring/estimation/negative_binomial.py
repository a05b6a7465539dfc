"""The posterior of what is washed off, for negative binomial counts of many rounds."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, sqrt

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, roots_legendre

from monitoring.estimation.bags import Bags, Kinds
from monitoring.estimation.grids import Grids, WashedOff
from monitoring.estimation.priors import KPrior
from monitoring.estimation.validation import FloatArray

# Nodes of ln m at which the likelihood is computed; between them its logarithm is
# followed by polynomials through the NEAREST, at FINER times as many.
MEAN_NODES, FINER, NEAREST = 40, 8, 6
# How far the grid of ln m goes below the counts' own mean: past what the largest
# clumping can do, and where few animals were seen past their slow lower tail.
REACH_BELOW = 6.0
REACH_OF_FEW = 16.0
# Gauss-Legendre nodes of ln k for K_BAGS bags over a range of K_RANGE; more bags make
# the posterior of k narrower, by their square root.
K_NODES, K_BAGS, K_RANGE, MOST_K_NODES = 20, 20, 5.5, 2000
# Numbers in one array of a chunk of rounds: fast memory holds a few such arrays.
CHUNK = 60_000


@dataclass(frozen=True)
class KNodes:
    """Where a prior of k is followed: ln k, and the logarithm of each node's weight."""

    log_k: FloatArray
    log_weights: FloatArray


def washed_off_posteriors(
    bags: Bags, k_priors: Sequence[KPrior], tops: FloatArray
) -> WashedOff:
    """Integrate the negative binomial likelihood over k, round by round.

    bags: counts and exposures (units times the proportion counted) of all rounds.
    k_priors: of each round's k. tops: shape (rounds,), largest mean per unit.

    The prior of the mean m given k is Jeffreys', sqrt(sum e/(m (1 + m e/k))), up to
    the top. Raises nothing: arguments were checked.
    Source: thinning keeps k (Poisson-gamma mixture); Jeffreys 1946, Proc. R. Soc. A
    186:453-461.
    """
    kinds, rounds = bags.kinds(), len(k_priors)
    log_values = np.empty((rounds, (MEAN_NODES - 1) * FINER + 1))
    cumulative, k_medians = np.empty_like(log_values), np.empty(rounds)
    for rows, nodes in _chunks(bags, kinds, k_priors):
        some = bags.take(rows)
        log_m, step = _mean_nodes(some, np.log(tops[rows]))
        density = _joint_density(some, kinds.take(rows), log_m, nodes)
        of_mean = density.sum(axis=1) * step
        of_k = np.matmul(density, step[:, :, None])[:, :, 0]
        log_values[rows], cumulative[rows] = _fine_grids(log_m, of_mean)
        k_medians[rows] = _medians(of_k, nodes.log_k)
    return WashedOff(Grids(log_values, cumulative), k_medians)


def _chunks(
    bags: Bags, kinds: Kinds, k_priors: Sequence[KPrior]
) -> Iterator[tuple[NDArray[np.intp], KNodes]]:
    """Part rounds that share nodes of k into chunks; those of few kinds first."""
    groups: dict[tuple[KPrior, int], list[int]] = {}
    for row, (prior, size) in enumerate(zip(k_priors, bags.sizes, strict=True)):
        groups.setdefault((prior, nodes_for(prior, int(size))), []).append(row)
    for (prior, size), members in groups.items():
        nodes = _k_nodes(prior, size)
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


@lru_cache(maxsize=256)
def _k_nodes(prior: KPrior, size: int) -> KNodes:
    at, weights = _gauss_legendre(size)
    low, high = prior.log_range()
    log_k = low + (high - low) * (at + 1) / 2
    return KNodes(log_k, np.log(weights) + prior.log_density(log_k))


@lru_cache(maxsize=64)
def _gauss_legendre(size: int) -> tuple[FloatArray, FloatArray]:
    at, weights = roots_legendre(size)
    return at, weights


def _mean_nodes(bags: Bags, log_tops: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place nodes of ln m about each round's mean, ever wider, up to the prior's end.

    Both answers are of shape (rounds, MEAN_NODES): ln m, and its step from node to
    node. About as wide steps as the posterior's deviation allows near the mean, then
    wider in proportion to the distance: ln m = centre + unit sinh(v), v evenly.
    """
    seen, exposed = bags.sums(bags.counts), bags.sums(bags.exposures)
    centre = np.minimum(np.log(np.maximum(seen, 0.25) / exposed), log_tops)
    unit = _expected_deviation(bags, seen, exposed)
    below = REACH_BELOW + REACH_OF_FEW / (seen + 0.5)
    start, end = -np.arcsinh(below / unit), np.arcsinh((log_tops - centre) / unit)
    v_step = (end - start) / (MEAN_NODES - 1)
    v = start[:, None] + v_step[:, None] * np.arange(MEAN_NODES)
    log_m = centre[:, None] + unit[:, None] * np.sinh(v)
    return log_m, (unit * v_step)[:, None] * np.cosh(v)


def _expected_deviation(
    bags: Bags, seen: FloatArray, exposed: FloatArray
) -> FloatArray:
    """Guess the deviation of ln m's posterior, from k by moments within 0.02 to 50."""
    mean = np.maximum(seen, 0.25) / exposed
    expected = np.repeat(mean, bags.sizes) * bags.exposures
    excess = bags.sums((bags.counts - expected) ** 2) - seen
    one_over_k = np.clip(excess / bags.sums(expected**2), 0.02, 50.0)
    deviation: FloatArray = np.sqrt(1 / (seen + 0.5) + one_over_k / bags.sizes)
    return deviation


def _joint_density(
    bags: Bags, kinds: Kinds, log_m: FloatArray, nodes: KNodes
) -> FloatArray:
    """Likelihood times priors in ln m and ln k, times k's weights.

    Shape (rounds, ks, means), scaled by each round's own factor.
    """
    m, k = np.exp(log_m)[:, None, :], np.exp(nodes.log_k)[:, None]
    of_k = bags.sums(_rising_factorials(bags.counts, k[:, 0]))
    of_k += bags.sizes[:, None] * k[:, 0] * nodes.log_k + nodes.log_weights
    # The prior's square root has k in it, which goes with what depends on k alone.
    of_k += 0.5 * nodes.log_k
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
    joint -= joint.max(axis=(1, 2), keepdims=True)
    density: FloatArray = np.exp(joint, out=joint)
    # sqrt(information / m), times m for the step from m to ln m.
    information *= m
    density *= np.sqrt(information, out=information)
    return density


def _rising_factorials(counts: FloatArray, k: FloatArray) -> FloatArray:
    """Give ln Gamma(x + k) - ln Gamma(k); shape (counts, ks)."""
    values, back = np.unique(counts, return_inverse=True)
    table = gammaln(values[:, None] + k) - gammaln(k)
    found: FloatArray = table[back]
    return found


def _fine_grids(
    log_m: FloatArray, of_mean: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give ln m at FINER times the nodes, and the distribution function there."""
    lowest = of_mean.max(axis=1, keepdims=True) * 1e-290
    between = _between(MEAN_NODES, FINER)
    fine = np.exp(np.matmul(np.log(np.maximum(of_mean, lowest)), between))
    total = np.zeros_like(fine)
    np.cumsum((fine[:, 1:] + fine[:, :-1]) / 2, axis=1, out=total[:, 1:])
    total /= total[:, -1:]
    return np.matmul(log_m, between), total


@lru_cache(maxsize=8)
def _between(nodes: int, finer: int) -> FloatArray:
    """Weights of the nodes in polynomials through the nearest; (nodes, fine nodes)."""
    at = np.arange((nodes - 1) * finer + 1) / finer
    first = np.clip(np.floor(at).astype(int) - NEAREST // 2 + 1, 0, nodes - NEAREST)
    weights = np.zeros((nodes, at.size))
    for one in range(NEAREST):
        product = np.ones(at.size)
        for other in range(NEAREST):
            if other != one:
                product *= (at - (first + other)) / (one - other)
        weights[first + one, np.arange(at.size)] = product
    return weights


def _medians(weights: FloatArray, log_k: FloatArray) -> FloatArray:
    """Give the medians of k from the weights of its nodes, shape (rounds, ks)."""
    total = np.cumsum(weights, axis=1)
    middles = (total - weights / 2) / total[:, -1:]
    every = np.broadcast_to(log_k, middles.shape)
    return np.exp(Grids(every, middles).log_quantiles(0.5))
