"""Where the mean of a round's posterior is followed, and its distribution there."""

from functools import lru_cache

import numpy as np

from monitoring.estimation.bags import Bags
from monitoring.estimation.grids import Grids
from monitoring.estimation.validation import FloatArray

# Nodes of ln m at which the likelihood is computed; between them its logarithm is
# followed by polynomials through the NEAREST, at FINER times as many.
MEAN_NODES, FINER, NEAREST = 40, 8, 6
FINE_NODES = (MEAN_NODES - 1) * FINER + 1
# How far the grid of ln m goes below the counts' own mean: past what the largest
# clumping can do, and where few animals were seen past their slow lower tail.
REACH_BELOW = 6.0
REACH_OF_FEW = 16.0


def mean_nodes(bags: Bags, log_tops: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place nodes of ln m about each round's mean, ever wider, up to the prior's end.

    bags: of all rounds. log_tops: shape (rounds,), logarithms of the largest means.
    Both answers are of shape (rounds, MEAN_NODES): ln m, and its step from node to
    node. About as wide steps as the posterior's deviation allows near the mean, then
    wider in proportion to the distance: ln m = centre + unit sinh(v), v evenly.

    Raises nothing.
    Source: change of variable of the trapezoid rule (own choice of steps).
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


def fine_grids(log_m: FloatArray, of_mean: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give ln m at FINER times the nodes, and the distribution function there.

    log_m, of_mean: shape (rounds, MEAN_NODES), nodes and mass a step at each.

    Raises nothing.
    Source: local polynomials of the logarithm, then the trapezoid rule.
    """
    lowest = of_mean.max(axis=1, keepdims=True) * 1e-290
    weights = between(MEAN_NODES, FINER, NEAREST)
    fine = np.exp(np.matmul(np.log(np.maximum(of_mean, lowest)), weights))
    total = np.zeros_like(fine)
    np.cumsum((fine[:, 1:] + fine[:, :-1]) / 2, axis=1, out=total[:, 1:])
    total /= total[:, -1:]
    return np.matmul(log_m, weights), total


@lru_cache(maxsize=8)
def between(nodes: int, finer: int, nearest: int) -> FloatArray:
    """Weigh nodes in polynomials through the nearest; shape (nodes, fine nodes).

    nodes: how many. finer: fine steps a node. nearest: nodes of a polynomial, even.

    Raises nothing.
    Source: Lagrange's interpolation.
    """
    at = np.arange((nodes - 1) * finer + 1) / finer
    first = np.clip(np.floor(at).astype(int) - nearest // 2 + 1, 0, nodes - nearest)
    weights = np.zeros((at.size, nodes))
    places = first[:, None] + np.arange(nearest)
    local = polynomial_weights(at - first, nearest)
    np.put_along_axis(weights, places, local, axis=1)
    return np.ascontiguousarray(weights.T)


def polynomial_weights(at: FloatArray, nearest: int) -> FloatArray:
    """Weigh nodes 0, 1, 2, ... in the polynomial through them; shape (..., nearest).

    at: where it is read, between the nodes. nearest: how many nodes.

    Raises nothing.
    Source: Lagrange's interpolation.
    """
    weights = np.ones((*at.shape, nearest))
    for one in range(nearest):
        for other in range(nearest):
            if other != one:
                weights[..., one] *= (at - other) / (one - other)
    return weights


def medians(weights: FloatArray, log_values: FloatArray) -> FloatArray:
    """Give medians from the weights of nodes.

    weights: shape (rounds, nodes). log_values: shape (nodes,), increasing logarithms.

    Raises nothing.
    Source: linear interpolation of the distribution function at middles of weights.
    """
    total = np.cumsum(weights, axis=1)
    middles = (total - weights / 2) / total[:, -1:]
    every = np.broadcast_to(log_values, middles.shape)
    return np.exp(Grids(every, middles).log_quantiles(0.5))
