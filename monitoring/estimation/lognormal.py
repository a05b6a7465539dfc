"""How probable counts are where leaves differ as a lognormal does."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import ceil, pi, sqrt

import numpy as np

from monitoring.estimation.bags import Bags
from monitoring.estimation.mean_grid import NEAREST, polynomial_weights
from monitoring.estimation.priors import SigmaPrior
from monitoring.estimation.validation import FloatArray, Places

# Steps of the integral over one leaf's expectation, in deviations of its integrand:
# below the peak the integrand falls slowly where no animal was seen.
STEPS_BELOW, STEPS_ABOVE = 9, 7
# Newton's steps for the place of the peak.
OMEGA_STEPS = 4
# Step of ln of the expected count in the table of log probabilities.
TABLE_STEP = 0.4
# Distinct counts of the table computed at a time, to bound memory.
COUNTS_AT_ONCE = 40
# Nodes of ln sigma are a posterior's deviation apart, and never fewer than this.
FEWEST_SIGMA_NODES, MOST_SIGMA_NODES = 14, 400


def sigma_nodes_for(prior: SigmaPrior, bags: int) -> int:
    """Say how many nodes of sigma so many bags need.

    prior: of sigma. bags: 1 or more. Raises nothing.
    Source: the information on ln sigma is at most 2 a bag, so its posterior's deviation
    is at least 1/sqrt(2 bags).
    """
    low, high = prior.log_range()
    wanted = 2 * ceil((high - low) * sqrt(2 * bags) / 2)
    return min(max(wanted, FEWEST_SIGMA_NODES), MOST_SIGMA_NODES)


def log_probabilities(
    counts: FloatArray, log_expected: FloatArray, sigma: FloatArray
) -> FloatArray:
    """Give ln of x! times the Poisson-lognormal probability of counts x.

    counts: shape (counts,), whole, 0 or more. log_expected: shape (means,), ln of the
    mean count. sigma: shape (sigmas,), deviation of ln of a leaf's own mean, above 0.
    The answer is of shape (counts, means, sigmas).

    Raises nothing.
    Source: Aitchison & Ho 1989, Biometrika 76:643-653, for the distribution; the
    integrand's peak by Lambert's W in Wright's form, the integral by the trapezoid
    rule about it.
    """
    x, variance = counts[:, None, None], (sigma**2)[None, None, :]
    middle = log_expected[None, :, None] - variance / 2
    shifted = middle + x * variance
    peak = shifted - wright_omega(shifted + np.log(variance))
    expected = np.exp(peak)
    width = 1 / np.sqrt(expected + 1 / variance)
    total = np.ones_like(peak)
    for factor, away, steps in (
        (np.exp(-width), -width, STEPS_BELOW),
        (np.exp(width), width, STEPS_ABOVE),
    ):
        total += _on_one_side(expected, factor, (away, steps), variance)
    at_peak = x * peak - expected - (peak - middle) ** 2 / (2 * variance)
    found: FloatArray = at_peak + np.log(total * width) - np.log(2 * pi * variance) / 2
    return found


def wright_omega(values: FloatArray) -> FloatArray:
    """Solve w + ln w = z.

    values: z, from -700 to 1e7; the answer is good to 1e-12. SciPy's own takes over
    three times as long, a third of the time of a density.
    Raises nothing.
    Source: Newton's steps for ln w from the softplus of z; Corless & Jeffrey 2002,
    The Wright omega function, LNCS 2385:76-89, for the function.
    """
    found: FloatArray = np.maximum(values, 0) + np.log1p(np.exp(-np.abs(values)))
    for _ in range(OMEGA_STEPS):
        found *= 1 + (values - found - np.log(found)) / (1 + found)
    return found


def _on_one_side(
    expected: FloatArray,
    factor: FloatArray,
    walk: tuple[FloatArray, int],
    variance: FloatArray,
) -> FloatArray:
    """Add up the integrand, 1 at its peak, at steps to one side of it.

    Powers of the factor are multiplied up: raising to a power is the dear part.
    """
    step, steps = walk
    total, growth = np.zeros_like(expected), np.ones_like(expected)
    curve = step * step / (2 * variance)
    for one in range(1, steps + 1):
        growth *= factor
        part = growth - 1
        part -= one * step
        part *= expected
        part += one * one * curve
        np.negative(part, out=part)
        total += np.exp(part, out=part)
    return total


@dataclass(frozen=True)
class CountTable:
    """Log probabilities of a few bags' counts, at even steps of ln of the mean count.

    counts: shape (counts,), distinct, increasing. start: first ln of the mean count.
    values: shape (counts, means, sigmas).
    """

    counts: FloatArray
    start: float
    values: FloatArray

    @classmethod
    def of(cls, bags: Bags, sigma: FloatArray, low: float, high: float) -> "CountTable":
        """Compute the table between two logarithms of the mean count."""
        counts = np.unique(bags.counts)
        start = low - NEAREST * TABLE_STEP
        size = ceil((high - start) / TABLE_STEP) + NEAREST
        log_expected = start + TABLE_STEP * np.arange(size, dtype=np.float64)
        values = np.empty((counts.size, size, sigma.size))
        for first in range(0, counts.size, COUNTS_AT_ONCE):
            some = slice(first, first + COUNTS_AT_ONCE)
            values[some] = log_probabilities(counts[some], log_expected, sigma)
        return cls(counts, start, values)

    @cached_property
    def size(self) -> int:
        """How many steps the table has."""
        return int(self.values.shape[1])

    def rows_of(self, counts: FloatArray) -> Places:
        """Say where counts stand."""
        return np.searchsorted(self.counts, counts)

    def weights(self, log_expected: FloatArray) -> FloatArray:
        """Weigh the table's steps for means between them; shape (..., steps)."""
        at = (log_expected - self.start) / TABLE_STEP
        first = np.floor(at).astype(np.intp) - NEAREST // 2 + 1
        found = np.zeros((*log_expected.shape, self.size))
        local = polynomial_weights(at - first, NEAREST)
        places = first[..., None] + np.arange(NEAREST)
        np.put_along_axis(found, places, local, axis=-1)
        return found


def log_likelihoods(bags: Bags, log_m: FloatArray, table: CountTable) -> FloatArray:
    """Give ln of the likelihood of rounds times the product of their counts' x!.

    bags: of the rounds. log_m: shape (rounds, means), ln of the mean per unit. table:
    of these bags' counts and means. The answer is of shape (rounds, sigmas, means).

    Raises nothing.
    Source: product over bags; those of one exposure are added up before the table is
    read between its steps, which is the same as polynomials add up.
    """
    found = np.zeros((log_m.shape[0], table.values.shape[2], log_m.shape[1]))
    for rows, exposures, added in _by_kind(bags, table):
        weights = table.weights(log_m[rows] + np.log(exposures)[:, None])
        # A round stands here once for each of its exposures.
        np.add.at(found, rows, np.matmul(weights, added).transpose(0, 2, 1))
    return found


def log_range_of(bags: Bags, log_m: FloatArray) -> tuple[float, float]:
    """Give the ends of ln of the mean count over rounds' bags and means.

    bags: of the rounds. log_m: shape (rounds, means). Raises nothing.
    Source: none needed.
    """
    log_exposures = np.log(bags.exposures)
    low = log_m[:, 0] + np.minimum.reduceat(log_exposures, bags.starts)
    high = log_m[:, -1] + np.maximum.reduceat(log_exposures, bags.starts)
    return float(low.min()), float(high.max())


def _by_kind(
    bags: Bags, table: CountTable, *, at_once: int = 50
) -> Iterator[tuple[Places, FloatArray, FloatArray]]:
    """Give rounds, an exposure of each, and its bags' log probabilities added up."""
    rounds = np.repeat(np.arange(bags.sizes.size), bags.sizes)
    for first in range(0, bags.sizes.size, at_once):
        chosen = np.flatnonzero((rounds >= first) & (rounds < first + at_once))
        order = chosen[np.lexsort((bags.exposures[chosen], rounds[chosen]))]
        of_round, exposures = rounds[order], bags.exposures[order]
        new = np.ones(order.size, dtype=bool)
        new[1:] = (np.diff(of_round) != 0) | (np.diff(exposures) != 0)
        starts = np.flatnonzero(new)
        rows = table.rows_of(bags.counts[order])
        added = np.add.reduceat(table.values[rows], starts, axis=0)
        yield of_round[starts], exposures[starts], added
