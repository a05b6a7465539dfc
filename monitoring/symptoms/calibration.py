"""What was on a leaf, given what was seen of it: counting errs, and must not mislead.

An organism of which few cells are counted is known less surely than one of which the
whole dish is. Set side by side as counted, the surer one takes up what the other
causes wherever the two go together. So leaves enter with what is expected of them,
given both counts (regression calibration).
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from monitoring.estimation.validation import FloatArray

# Clumping within rounds is sought here; as the densities' own prior, a little wider.
CLUMPING = np.geomspace(0.05, 20.0, 40)
# A round where nothing was seen may have held a quarter of an animal in all.
UNSEEN = 0.25
NODES = (np.arange(21) + 0.5) / 21
ALMOST_ALL = 1 - 1e-9


@dataclass(frozen=True, slots=True)
class Calibrated:
    """Expected log10(1 + animals) of each leaf and organism.

    `within` (n, m): less its mean in the round, given the counts of all organisms.
    `means` (n, m): that mean. `reliability` (m,): the share of what leaves of a round
    differ in that is not counting error. `correlation`: of two organisms' true
    animals on leaves of a round; nan for another number of them.
    """

    within: FloatArray
    means: FloatArray
    reliability: FloatArray
    correlation: float


def calibrate(
    counts: FloatArray, shares: FloatArray, rounds: NDArray[np.int64]
) -> Calibrated:
    """Expect what was on each leaf.

    counts: (n, m), animals seen of m organisms. shares: (n, m), which share of a leaf's
    animals is seen: recovery times proportion counted, in (0, 1]. rounds: (n,), 0, 1,
    ...

    Source: regression calibration, Carroll et al. 2006, Measurement Error in Nonlinear
    Models, 2nd ed., ch. 4 (from memory); leaves of a round as negative binomial.
    """
    expected = np.empty(counts.shape)
    errors = np.empty(counts.shape[1])
    for one in range(counts.shape[1]):
        expected[:, one], spread = _on_the_leaf(counts[:, one], shares[:, one], rounds)
        errors[one] = spread.mean()
    means = round_means(expected, rounds)
    within = expected - means
    freedom = max(len(rounds) - int(rounds.max()) - 1, 1)
    seen = within.T @ within / freedom
    signal = np.diag(seen)
    reliability = signal / np.maximum(signal + errors, 1e-12)
    if counts.shape[1] != 2 or (signal <= 0).any():
        return Calibrated(within, means, reliability, float("nan"))
    correlation = seen[0, 1] / sqrt(
        float(signal.prod()) * max(float(reliability.prod()), 1e-12)
    )
    mixing = _given_both(seen, reliability)
    return Calibrated(within @ mixing.T, means, reliability, float(correlation))


def round_means(values: FloatArray, rounds: NDArray[np.int64]) -> FloatArray:
    """Give each leaf the mean of its round, column by column; (n, m)."""
    sizes = np.bincount(rounds).astype(float)
    sums = np.zeros((sizes.size, values.shape[1]))
    np.add.at(sums, rounds, values)
    found: FloatArray = (sums / np.maximum(sizes, 1.0)[:, None])[rounds]
    return found


def _given_both(seen: FloatArray, reliability: FloatArray) -> FloatArray:
    """Give the matrix from expectations by the own count to those by both counts.

    The covariance with the truth is the own variance, and the shared one over the own
    reliability: errors of two organisms' counts are independent.
    """
    with_truth = seen.copy()
    with_truth[0, 1] /= max(float(reliability[0]), 1e-12)
    with_truth[1, 0] /= max(float(reliability[1]), 1e-12)
    found: FloatArray = with_truth @ np.linalg.pinv(seen)
    return found


def _on_the_leaf(
    counts: FloatArray, shares: FloatArray, rounds: NDArray[np.int64]
) -> tuple[FloatArray, FloatArray]:
    """Give mean and variance of log10(1 + animals) of each leaf, given its count."""
    seen = np.bincount(rounds, weights=counts)
    looked_at = np.bincount(rounds, weights=shares)
    mean = (np.maximum(seen, UNSEEN) / looked_at)[rounds]
    clumping = _clumping(counts, mean * shares)
    shape = clumping + counts
    unseen = np.maximum(1 - shares, 1 - ALMOST_ALL)
    rate = clumping / mean + shares
    more = stats.nbinom.ppf(
        NODES[None, :], shape[:, None], (rate / (rate + unseen))[:, None]
    )
    logs = np.log10(1 + counts[:, None] + more)
    return logs.mean(axis=1), logs.var(axis=1)


def _clumping(counts: FloatArray, expected: FloatArray) -> float:
    """Give the k of likeliest counts, the rounds' means held."""
    k = CLUMPING[:, None]
    likelihood = (
        special.gammaln(counts + k)
        - special.gammaln(k)
        + k * np.log(k / (k + expected))
        + counts * np.log(expected / (k + expected))
    ).sum(axis=1)
    return float(CLUMPING[int(likelihood.argmax())])
