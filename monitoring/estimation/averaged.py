"""Posteriors averaged over two shapes of clumping: negative binomial and lognormal."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from monitoring.estimation.bags import Bags
from monitoring.estimation.grids import Grids, WashedOff
from monitoring.estimation.lognormal import (
    CountTable,
    log_likelihoods,
    log_range_of,
    sigma_nodes_for,
)
from monitoring.estimation.mean_grid import (
    FINE_NODES,
    fine_grids,
    mean_nodes,
    medians,
)
from monitoring.estimation.negative_binomial import joint_density, nodes_for
from monitoring.estimation.nodes import Nodes, prior_nodes
from monitoring.estimation.priors import LeafPriors
from monitoring.estimation.validation import FloatArray, Places

# Rounds whose counts share one table, and rounds of one array.
ROUNDS_OF_TABLE, ROUNDS_AT_ONCE = 400, 50


@dataclass(frozen=True)
class _BothDensities:
    """Densities of rounds in ln m and in ln k or ln sigma, on one scale a round.

    binomial: shape (rounds, ks, means). lognormal: shape (rounds, sigmas, means).
    log_scales: shape (rounds,), of their scale to that of a proper prior of the mean.
    """

    log_m: FloatArray
    step: FloatArray
    binomial: FloatArray
    lognormal: FloatArray
    log_scales: FloatArray


def averaged_posteriors(
    bags: Bags, priors: Sequence[LeafPriors], tops: FloatArray
) -> WashedOff:
    """Average the posteriors of both models by their marginal likelihoods.

    bags: counts and exposures (units times the proportion counted) of all rounds.
    priors: of each round's k, sigma, and odds of the lognormal model. tops: shape
    (rounds,), largest mean per unit.

    The negative binomial's prior is that of its own posterior; the lognormal's mean has
    the same prior, with k averaged out, so that the odds do not hang on a constant.
    Raises nothing: arguments were checked.
    Source: Hoeting et al. 1999, Statistical Science 14:382-417 (model averaging);
    Poisson-lognormal of Aitchison & Ho 1989, Biometrika 76:643-653.
    """
    rounds = len(priors)
    log_values = np.empty((rounds, FINE_NODES))
    cumulative = np.empty_like(log_values)
    k_medians, sigma_medians, shares, log_evidences = np.empty((4, rounds))
    odds = np.array([one.lognormal_odds for one in priors])
    for rows, of_k, of_sigma in _groups(bags, priors):
        for some, both in _both(bags, rows, tops, (of_k, of_sigma)):
            binomial = both.binomial.sum(axis=1) * both.step
            lognormal = both.lognormal.sum(axis=1) * both.step * odds[some, None]
            of_mean = binomial + lognormal
            log_values[some], cumulative[some] = fine_grids(both.log_m, of_mean)
            total = of_mean.sum(axis=1)
            shares[some] = lognormal.sum(axis=1) / total
            log_evidences[some] = np.log(total / (1 + odds[some])) + both.log_scales
            k_weights, sigma_weights = (
                np.matmul(density, both.step[:, :, None])[:, :, 0]
                for density in (both.binomial, both.lognormal)
            )
            k_medians[some] = medians(k_weights, of_k.log_values)
            sigma_medians[some] = medians(sigma_weights, of_sigma.log_values)
    return WashedOff(
        Grids(log_values, cumulative), k_medians, sigma_medians, shares, log_evidences
    )


def _groups(
    bags: Bags, priors: Sequence[LeafPriors]
) -> Iterator[tuple[Places, Nodes, Nodes]]:
    """Put rounds together that share nodes of k and of sigma."""
    groups: dict[tuple[LeafPriors, int, int], list[int]] = {}
    for row, (prior, size) in enumerate(zip(priors, bags.sizes, strict=True)):
        ks = nodes_for(prior.k, int(size))
        sigmas = sigma_nodes_for(prior.sigma, int(size))
        groups.setdefault((prior, ks, sigmas), []).append(row)
    for (prior, ks, sigmas), members in groups.items():
        rows = np.array(members)
        for first in range(0, rows.size, ROUNDS_OF_TABLE):
            some = rows[first : first + ROUNDS_OF_TABLE]
            yield some, prior_nodes(prior.k, ks), prior_nodes(prior.sigma, sigmas)


def _both(
    bags: Bags, rows: Places, tops: FloatArray, nodes: tuple[Nodes, Nodes]
) -> Iterator[tuple[Places, _BothDensities]]:
    """Compute both densities of rounds, a few at a time, from one table of counts."""
    together = bags.take(rows)
    log_m, step = mean_nodes(together, np.log(tops[rows]))
    sigma = np.exp(nodes[1].log_values)
    table = CountTable.of(together, sigma, *log_range_of(together, log_m))
    for first in range(0, rows.size, ROUNDS_AT_ONCE):
        here = np.arange(first, min(first + ROUNDS_AT_ONCE, rows.size))
        some = together.take(here)
        both = _densities(some, (log_m[here], step[here]), table, nodes)
        yield rows[here], both


def _densities(
    bags: Bags,
    means: tuple[FloatArray, FloatArray],
    table: CountTable,
    nodes: tuple[Nodes, Nodes],
) -> _BothDensities:
    """Bring both models' densities to one scale."""
    (log_m, step), (of_k, of_sigma) = means, nodes
    joint = joint_density(bags, bags.kinds(), log_m, of_k)
    # The negative binomial's likelihood was made without the product of exposures.
    scales = joint.log_scales + bags.sums(bags.counts * np.log(bags.exposures))
    scales -= np.logaddexp.reduce(of_k.log_weights)
    lognormal = log_likelihoods(bags, log_m, table)
    lognormal += of_sigma.log_shares()[:, None]
    tops = np.maximum(scales, lognormal.max(axis=(1, 2)))
    lognormal = np.exp(lognormal - tops[:, None, None])
    prior = joint.prior_of_mean(of_k)
    lognormal *= prior[:, None, :]
    binomial = joint.density * np.exp(scales - tops)[:, None, None]
    log_scales = tops - np.log((prior * step).sum(axis=1))
    return _BothDensities(log_m, step, binomial, lognormal, log_scales)
