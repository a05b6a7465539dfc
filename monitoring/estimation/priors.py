"""What is held of the clumping parameter k before the counts are seen."""

from dataclasses import dataclass
from math import log
from typing import TypeAlias

import numpy as np

from monitoring.estimation.validation import EstimationError, FloatArray, positive

# A lognormal prior is followed this many standard deviations both ways.
K_REACH = 4.5


@dataclass(frozen=True, slots=True)
class LogUniformK:
    """k anywhere between two bounds, its logarithm evenly; 0 < low < high."""

    low: float
    high: float

    def __post_init__(self) -> None:
        positive("low", self.low)
        positive("high", self.high)
        if self.low >= self.high:
            raise EstimationError("high", f"{self.high!r} is not above {self.low!r}")

    def log_range(self) -> tuple[float, float]:
        """Give the logarithms of k between which the prior is followed."""
        return log(self.low), log(self.high)

    def log_density(self, log_k: FloatArray) -> FloatArray:
        """Give the prior's log density in ln k, up to a constant."""
        return np.zeros_like(log_k)


@dataclass(frozen=True, slots=True)
class LogNormalK:
    """k known from earlier rounds: lognormal about a median; both above 0."""

    median: float
    sd_log: float

    def __post_init__(self) -> None:
        positive("median", self.median)
        positive("sd_log", self.sd_log)

    def log_range(self) -> tuple[float, float]:
        """Give the logarithms of k between which the prior is followed."""
        reach = K_REACH * self.sd_log
        middle = log(self.median)
        return middle - reach, middle + reach

    def log_density(self, log_k: FloatArray) -> FloatArray:
        """Give the prior's log density in ln k, up to a constant."""
        density: FloatArray = -0.5 * ((log_k - log(self.median)) / self.sd_log) ** 2
        return density


KPrior: TypeAlias = LogUniformK | LogNormalK
DEFAULT_K_PRIOR = LogUniformK(0.02, 5.0)
