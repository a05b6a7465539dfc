"""The posterior of a density by brute force, written apart from the core's way.

Every bag's probability is taken from SciPy's negative binomial on a fine grid of the
mean and of k, multiplied up, weighted by Jeffreys' prior and added over k. Recovery is
averaged over two thousand equally probable values. Lognormal leaves are integrated over
a fine grid of the leaf's own mean.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.interpolate import CubicSpline

from monitoring.estimation import (
    BetaRecovery,
    ExponentialSigma,
    LogNormalK,
    LogNormalSigma,
    LogUniformK,
)

Floats = NDArray[np.float64]
RECOVERIES = 2000
ANY_K = LogUniformK(0.02, 5.0)


class SlowPosterior:
    """Distribution of the mean per unit; slow, plain, and of 1e-4 or better."""

    def __init__(
        self,
        counts: list[int],
        exposures: list[float],
        *,
        recovery: float | BetaRecovery = 1.0,
        k_prior: LogUniformK | LogNormalK = ANY_K,
        upper_limit: float = 1e6,
        nodes: tuple[int, int] = (2001, 201),
        sigma_prior: ExponentialSigma | LogNormalSigma | None = None,
        lognormal_odds: float = 1.0,
    ) -> None:
        highest = recovery if isinstance(recovery, float) else 1.0
        log_m = self._means(counts, exposures, upper_limit * highest, nodes[0])
        log_k, log_prior = _k_grid(k_prior, nodes[1])
        rows = [
            self._log_joint(np.exp(log_m), float(np.exp(at)), counts, exposures) + prior
            for at, prior in zip(log_k, log_prior, strict=True)
        ]
        # The two ends stand for half a step of k.
        rows[0], rows[-1] = rows[0] - np.log(2), rows[-1] - np.log(2)
        log_total = np.logaddexp.reduce(log_prior + _trapezoid(log_prior.size))
        log_density = np.logaddexp.reduce(rows) + log_m - log_total
        if sigma_prior is not None:
            log_prior_m = self._log_prior_of_mean(log_m, log_k, log_prior, exposures)
            lognormal = _log_lognormal(log_m, counts, exposures, sigma_prior)
            lognormal += log_prior_m + log_m + np.log(lognormal_odds)
            self.lognormal_share = _share(log_m, lognormal, log_density)
            log_density = np.logaddexp(log_density, lognormal)
        density = np.exp(log_density - log_density.max())
        slices = (density[1:] + density[:-1]) / 2 * np.diff(log_m)
        below = np.concatenate([[0.0], np.cumsum(slices)]) / slices.sum()
        self.log_values, self.below = self._there(log_m, below, recovery, upper_limit)

    @staticmethod
    def _means(
        counts: list[int], exposures: list[float], top: float, nodes: int
    ) -> Floats:
        """Even steps of ln m from far below to the top, and closer about the mean."""
        middle = np.log(max(sum(counts), 0.25) / sum(exposures))
        far = np.linspace(middle - 38, np.log(top), nodes)
        near = np.linspace(middle - 8, middle + 8, nodes)
        nearer = np.linspace(middle - 1, middle + 1, nodes)
        every = np.concatenate([far, near, nearer])
        return np.unique(every[every <= np.log(top)])

    @staticmethod
    def _log_joint(
        m: Floats, k: float, counts: list[int], exposures: list[float]
    ) -> Floats:
        total = np.zeros_like(m)
        information = np.zeros_like(m)
        pairs = list(zip(counts, exposures, strict=True))
        for count, exposure in set(pairs):
            expected = m * exposure
            times = pairs.count((count, exposure))
            total += times * stats.nbinom.logpmf(count, k, k / (k + expected))
            information += times * exposure / (m * (1 + expected / k))
        return total + 0.5 * np.log(information)

    @staticmethod
    def _log_prior_of_mean(
        log_m: Floats, log_k: Floats, log_prior: Floats, exposures: list[float]
    ) -> Floats:
        """Jeffreys' prior of the mean given k, averaged over k."""
        weights = log_prior + _trapezoid(log_prior.size)
        weights -= np.logaddexp.reduce(weights)
        m, k = np.exp(log_m), np.exp(log_k)[:, None]
        information = sum(e / (m * (1 + m * e / k)) for e in exposures)
        found: Floats = np.logaddexp.reduce(weights[:, None] + np.log(information) / 2)
        return found

    @staticmethod
    def _there(
        log_m: Floats,
        below: Floats,
        recovery: float | BetaRecovery,
        upper_limit: float,
    ) -> tuple[Floats, Floats]:
        if isinstance(recovery, float):
            return log_m - np.log(recovery), below
        at = (np.arange(RECOVERIES) + 0.5) / RECOVERIES
        # What was there ends at the limit, whatever the recovery.
        log_values = log_m - np.log(recovery.mean)
        log_values = np.append(
            log_values[log_values < np.log(upper_limit)], np.log(upper_limit)
        )
        total = np.zeros_like(log_values)
        for share in stats.beta.ppf(at, recovery.a, recovery.b):
            total += np.interp(log_values + np.log(share), log_m, below)
        return log_values, total / total[-1]

    def quantiles(self, probabilities: Floats) -> Floats:
        return np.exp(np.interp(probabilities, self.below, self.log_values))

    def chance_above(self, threshold: float) -> float:
        return 1 - float(np.interp(np.log(threshold), self.log_values, self.below))


def _k_grid(k_prior: LogUniformK | LogNormalK, nodes: int) -> tuple[Floats, Floats]:
    if isinstance(k_prior, LogUniformK):
        ends = np.log([k_prior.low, k_prior.high])
        return np.linspace(ends[0], ends[1], nodes), np.zeros(nodes)
    middle, deviation = np.log(k_prior.median), k_prior.sd_log
    log_k = np.linspace(middle - 7 * deviation, middle + 7 * deviation, nodes)
    return log_k, stats.norm.logpdf(log_k, middle, deviation)


def _trapezoid(nodes: int) -> Floats:
    weights = np.zeros(nodes)
    weights[[0, -1]] = -np.log(2)
    return weights


def _share(log_m: Floats, part: Floats, rest: Floats) -> float:
    top = max(part.max(), rest.max())
    of_part = np.trapezoid(np.exp(part - top), log_m)
    return float(of_part / (of_part + np.trapezoid(np.exp(rest - top), log_m)))


def _log_lognormal(
    log_m: Floats,
    counts: list[int],
    exposures: list[float],
    prior: ExponentialSigma | LogNormalSigma,
) -> Floats:
    """Likelihood of the mean under lognormal leaves, averaged over sigma."""
    low, high = prior.log_range()
    log_sigma = np.linspace(low, high, 33)
    weights = prior.log_density(log_sigma) + _trapezoid(log_sigma.size)
    weights -= np.logaddexp.reduce(weights)
    coarse = log_m[np.linspace(0, log_m.size - 1, 251).astype(int)]
    rows = [
        weight + _log_likelihood(coarse, float(np.exp(at)), counts, exposures)
        for at, weight in zip(log_sigma, weights, strict=True)
    ]
    # Its logarithm is smooth, so a spline follows it between the nodes.
    return CubicSpline(coarse, np.logaddexp.reduce(rows))(log_m)


def _log_likelihood(
    log_m: Floats, sigma: float, counts: list[int], exposures: list[float]
) -> Floats:
    total = np.zeros_like(log_m)
    for exposure in set(exposures):
        here = [c for c, e in zip(counts, exposures, strict=True) if e == exposure]
        for count in set(here):
            middle = log_m + np.log(exposure) - sigma**2 / 2
            total += here.count(count) * _log_probability(count, middle, sigma)
    return total


def _log_probability(count: int, middle: Floats, sigma: float) -> Floats:
    """Integrate Poisson times normal where the Poisson is not negligible."""
    width = 14 / np.sqrt(count + 1)
    low = min(float(middle.min()) - 9 * sigma, -12) if count < 40 else -np.inf
    u = np.linspace(
        max(low, np.log(count + 0.5) - 4 * width) if count else low,
        np.log(count + 0.5) + min(width, 6),
        1501,
    )
    poisson: Floats = np.asarray(stats.poisson.logpmf(count, np.exp(u)))
    parts = poisson[:, None] + stats.norm.logpdf(u[:, None], middle, sigma)
    found: Floats = np.logaddexp.reduce(parts) + np.log(u[1] - u[0])
    return found
