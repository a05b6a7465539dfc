"""How clumped counts are: the negative binomial's k, and indices of dispersion."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, log, sqrt

import numpy as np
from scipy import optimize, stats
from scipy.special import digamma, gammaln, polygamma

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    proportion,
    whole_counts,
)

# k is sought between these; beyond them a fit says nothing about clumping.
LOWEST_K, HIGHEST_K = 1e-6, 1e7


def log_likelihood(counts: FloatArray, means: FloatArray | float, k: float) -> float:
    """Give the negative binomial log likelihood of counts.

    counts: shape (n,). means: expected counts, one or each, above 0. k: above 0, inf
    for Poisson.

    Raises nothing: arguments were checked.
    Source: negative binomial with variance m + m^2/k; Bliss & Fisher 1953, Biometrics
    9:176-200.
    """
    mean = np.broadcast_to(np.asarray(means, dtype=np.float64), counts.shape)
    if k == inf:
        return float((counts * np.log(mean) - mean - gammaln(counts + 1)).sum())
    terms = (
        gammaln(counts + k)
        - gammaln(k)
        - gammaln(counts + 1)
        + counts * np.log(mean / (mean + k))
        + k * np.log(k / (mean + k))
    )
    return float(terms.sum())


@dataclass(frozen=True, kw_only=True)
class NegativeBinomialFit:
    """Mean and k by maximum likelihood; k is inf where counts are not clumped."""

    mean: float
    k: float
    k_standard_error: float
    log_likelihood: float
    counts: FloatArray

    def expected(self, values: Numbers, size: int) -> FloatArray:
        """Give the expected frequency of each value among `size` counts."""
        at = whole_counts("values", values)
        if self.k == inf:
            frequencies: FloatArray = size * stats.poisson.pmf(at, self.mean)
            return frequencies
        share = self.k / (self.k + self.mean)
        clumped: FloatArray = size * stats.nbinom.pmf(at, self.k, share)
        return clumped

    def k_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Give the profile likelihood interval of k."""
        proportion("confidence", confidence)
        top = log_likelihood(self.counts, self.mean, self.k)
        cut = float(stats.chi2.ppf(confidence, 1)) / 2

        def drop(log_k: float) -> float:
            return top - log_likelihood(self.counts, self.mean, exp(log_k)) - cut

        peak = log(min(self.k, HIGHEST_K))
        ends = (log(LOWEST_K), log(HIGHEST_K))
        low = float(optimize.brentq(drop, ends[0], peak)) if drop(ends[0]) > 0 else -inf
        high = float(optimize.brentq(drop, peak, ends[1])) if drop(ends[1]) > 0 else inf
        return exp(low) if low > -inf else 0.0, exp(high) if high < inf else inf


def fit_negative_binomial(counts: Numbers) -> NegativeBinomialFit:
    """Fit mean and k by maximum likelihood.

    counts: shape (n,), whole, 0 or more, with an animal among them.

    Raises EstimationError if nothing was counted. k is inf, with infinite standard
    error, where the variance does not exceed the mean.
    Source: Bliss & Fisher 1953, Biometrics 9:176-200; score equation in k.
    """
    seen = whole_counts("counts", counts)
    mean = float(seen.mean())
    if mean == 0:
        raise EstimationError("counts", "hold no animal: k cannot be told from zeros")
    k, error = inf, inf
    if float(seen.var(ddof=0)) > mean:
        k = _solve_for_k([seen])
        error = _k_standard_error(seen, mean, k)
    return NegativeBinomialFit(
        mean=mean,
        k=k,
        k_standard_error=error,
        log_likelihood=log_likelihood(seen, mean, k),
        counts=seen,
    )


def _score(log_k: float, samples: Sequence[FloatArray]) -> float:
    k = exp(log_k)
    total = 0.0
    for seen in samples:
        mean = seen.mean()
        total += float(
            (digamma(seen + k) - digamma(k)).sum() - seen.size * np.log1p(mean / k)
        )
    return total


def _solve_for_k(samples: Sequence[FloatArray]) -> float:
    low, high = log(LOWEST_K), log(HIGHEST_K)
    if _score(high, samples) > 0:
        return inf
    return exp(float(optimize.brentq(_score, low, high, args=(samples,), xtol=1e-13)))


def _k_standard_error(seen: FloatArray, mean: float, k: float) -> float:
    if k == inf:
        return inf
    curvature = float((polygamma(1, k) - polygamma(1, seen + k)).sum())
    curvature -= seen.size * mean / (k * (k + mean))
    return sqrt(1 / curvature) if curvature > 0 else inf


def k_by_moments(counts: Numbers) -> float:
    """Estimate k from mean and variance.

    counts: shape (n,), n of 2 or more. Raises EstimationError for fewer. Gives inf
    where the variance does not exceed the mean.
    Source: Anscombe 1950, Biometrika 37:358-382 (method of moments).
    """
    seen = whole_counts("counts", counts)
    if seen.size < 2:
        raise EstimationError("counts", "needs two counts or more")
    mean, variance = float(seen.mean()), float(seen.var(ddof=1))
    return mean**2 / (variance - mean) if variance > mean else inf


def k_from_zeros(counts: Numbers) -> float:
    """Estimate k from the share of zeros: (1 + m/k)^-k = n0/n.

    counts: shape (n,), with zeros and animals. Raises EstimationError if there are no
    zeros or no animals. Gives inf where zeros are no more than Poisson's.
    Source: Anscombe 1950, Biometrika 37:358-382 (zero class).
    """
    seen = whole_counts("counts", counts)
    share = float((seen == 0).mean())
    mean = float(seen.mean())
    if share == 0 or mean == 0:
        raise EstimationError("counts", "needs zeros and animals")

    def excess(log_k: float) -> float:
        return exp(log_k) * float(np.log1p(mean / exp(log_k))) + log(share)

    low, high = log(LOWEST_K), log(HIGHEST_K)
    if excess(high) <= 0:
        return inf
    return exp(float(optimize.brentq(excess, low, high, xtol=1e-13)))


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonK:
    """One k for several samples, each with its own mean."""

    k: float
    means: tuple[float, ...]


def common_k(samples: Sequence[Numbers]) -> CommonK:
    """Fit one k to several samples by maximum likelihood.

    samples: count arrays, each with an animal. Raises EstimationError if one has none.
    Source: Bliss & Owen 1958, Biometrika 45:37-58, here by maximum likelihood.
    """
    seen = [whole_counts("samples", sample) for sample in samples]
    if not seen or any(sample.sum() == 0 for sample in seen):
        raise EstimationError("samples", "each needs an animal")
    return CommonK(
        k=_solve_for_k(seen), means=tuple(float(sample.mean()) for sample in seen)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class DispersionIndices:
    """Indices of dispersion of one sample."""

    variance_to_mean: float
    mean_crowding: float
    patchiness: float
    morisita: float
    green: float


def dispersion_indices(counts: Numbers) -> DispersionIndices:
    """Compute the usual indices of dispersion.

    counts: shape (n,), two or more, with two animals or more.

    Raises EstimationError for fewer.
    Source: Lloyd 1967, J. Anim. Ecol. 36:1-30; Morisita 1959; Green 1966, Res. Popul.
    Ecol. 8:1-7.
    """
    seen = whole_counts("counts", counts)
    total = float(seen.sum())
    if seen.size < 2 or total < 2:
        raise EstimationError("counts", "needs two counts and two animals or more")
    mean, variance = float(seen.mean()), float(seen.var(ddof=1))
    crowding = mean + variance / mean - 1
    squares = float((seen**2).sum())
    return DispersionIndices(
        variance_to_mean=variance / mean,
        mean_crowding=crowding,
        patchiness=crowding / mean,
        morisita=seen.size * (squares - total) / (total**2 - total),
        green=(variance / mean - 1) / (total - 1),
    )
