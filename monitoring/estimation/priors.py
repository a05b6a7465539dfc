"""What is held of the leaves' clumping before the counts are seen."""

from dataclasses import dataclass
from math import log
from typing import TypeAlias

import numpy as np

from monitoring.estimation.validation import EstimationError, FloatArray, positive

# A lognormal prior is followed this many standard deviations both ways.
K_REACH = 4.5


def _check_bounds(low: float, high: float) -> None:
    positive("low", low)
    positive("high", high)
    if low >= high:
        raise EstimationError("high", f"{high!r} is not above {low!r}")


@dataclass(frozen=True, slots=True)
class LogUniformK:
    """k anywhere between two bounds, its logarithm evenly; 0 < low < high."""

    low: float
    high: float

    def __post_init__(self) -> None:
        _check_bounds(self.low, self.high)

    def log_range(self) -> tuple[float, float]:
        """Give the logarithms of k between which the prior is followed."""
        return log(self.low), log(self.high)

    def log_density(self, log_k: FloatArray) -> FloatArray:
        """Give the prior's log density in ln k, up to a constant."""
        return np.zeros_like(log_k)


@dataclass(frozen=True, slots=True)
class _LogNormal:
    """A positive quantity known from earlier rounds; both above 0."""

    median: float
    sd_log: float

    def __post_init__(self) -> None:
        positive("median", self.median)
        positive("sd_log", self.sd_log)

    def log_range(self) -> tuple[float, float]:
        """Give the logarithms between which the prior is followed."""
        reach = K_REACH * self.sd_log
        middle = log(self.median)
        return middle - reach, middle + reach

    def log_density(self, log_values: FloatArray) -> FloatArray:
        """Give the prior's log density in the logarithm, up to a constant."""
        away = (log_values - log(self.median)) / self.sd_log
        density: FloatArray = -0.5 * away**2
        return density


@dataclass(frozen=True, slots=True)
class LogNormalK(_LogNormal):
    """k known from earlier rounds: lognormal about a median; both above 0."""


KPrior: TypeAlias = LogUniformK | LogNormalK
DEFAULT_K_PRIOR = LogUniformK(0.02, 5.0)


@dataclass(frozen=True, slots=True)
class ExponentialSigma:
    """sigma of lognormal leaves between two bounds, less believed the larger it is.

    Its density falls as exp(-rate sigma); rate 0 or more; 0 < low < high.
    """

    rate: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.rate >= 0:
            raise EstimationError("rate", f"{self.rate!r} is not 0 or more")
        _check_bounds(self.low, self.high)

    def log_range(self) -> tuple[float, float]:
        """Give the logarithms of sigma between which the prior is followed."""
        return log(self.low), log(self.high)

    def log_density(self, log_sigma: FloatArray) -> FloatArray:
        """Give the prior's log density in ln sigma, up to a constant."""
        density: FloatArray = log_sigma - self.rate * np.exp(log_sigma)
        return density


@dataclass(frozen=True, slots=True)
class LogNormalSigma(_LogNormal):
    """sigma known from earlier rounds: lognormal about a median; both above 0."""


SigmaPrior: TypeAlias = ExponentialSigma | LogNormalSigma
# The bounds give the squared coefficients of variation that k of 5 and of 0.02 give.
DEFAULT_SIGMA_PRIOR = ExponentialSigma(2.0, 0.427, 1.983)


@dataclass(frozen=True, slots=True)
class LeafPriors:
    """What is held of how a round's leaves differ, before its counts are seen.

    lognormal_odds: of the lognormal model to the negative binomial, above 0.
    """

    k: KPrior = DEFAULT_K_PRIOR
    sigma: SigmaPrior = DEFAULT_SIGMA_PRIOR
    lognormal_odds: float = 1.0

    def __post_init__(self) -> None:
        if not isinstance(self.k, LogUniformK | LogNormalK):
            raise EstimationError("k_prior", f"{self.k!r} is not a prior of k")
        if not isinstance(self.sigma, ExponentialSigma | LogNormalSigma):
            raise EstimationError(
                "sigma_prior", f"{self.sigma!r} is not a prior of sigma"
            )
        positive("lognormal_odds", self.lognormal_odds)
