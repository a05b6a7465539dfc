"""How the variance of samples goes with their mean, over many samples."""

from dataclasses import dataclass
from math import exp, nan, sqrt

import numpy as np

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
)

FEWEST_PAIRS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerLaw:
    """variance = a mean^b, fitted on the logarithms.

    Errors are of ln a and of b; `residual_sd` is of ln variance about the line.
    """

    a: float
    b: float
    log_a_standard_error: float
    b_standard_error: float
    residual_sd: float
    samples: int

    def variance(self, mean: float) -> float:
        """Give the variance at a mean above 0."""
        return float(self.a * mean**self.b)

    def k(self, mean: float) -> float:
        """Give the k that belongs to a mean above 0; inf where nothing is clumped."""
        extra = self.variance(mean) - mean
        return mean**2 / extra if extra > 0 else float("inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Patchiness:
    """mean crowding = alpha + beta mean, with crowding m + variance/m - 1."""

    alpha: float
    beta: float
    alpha_standard_error: float
    beta_standard_error: float
    samples: int

    def variance(self, mean: float) -> float:
        """Give the variance at a mean above 0."""
        return float((self.alpha + 1) * mean + (self.beta - 1) * mean**2)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    intercept: float
    slope: float
    intercept_error: float
    slope_error: float
    residual_sd: float


def fit_power_law(means: Numbers, variances: Numbers) -> PowerLaw:
    """Fit variance = a mean^b to samples' means and variances.

    means, variances: shape (samples,), 0 or more. Samples in which either is 0 have no
    logarithm and are left out; `samples` says how many were used, 3 or more of unlike
    means.

    Raises EstimationError if fewer are left, or a value is below 0.
    Source: Taylor 1961, Nature 189:732-735 (from memory), unweighted least squares on
    the logarithms.
    """
    m, s2 = _pairs(means, variances)
    kept = (m > 0) & (s2 > 0)
    line = _least_squares(np.log(m[kept]), np.log(s2[kept]))
    return PowerLaw(
        a=exp(line.intercept),
        b=line.slope,
        log_a_standard_error=line.intercept_error,
        b_standard_error=line.slope_error,
        residual_sd=line.residual_sd,
        samples=int(kept.sum()),
    )


def fit_patchiness(means: Numbers, variances: Numbers) -> Patchiness:
    """Fit mean crowding = alpha + beta mean to samples' means and variances.

    means, variances: shape (samples,), 0 or more; samples without an animal are left
    out, 3 or more of unlike means must remain.

    Raises EstimationError if fewer are left, or a value is below 0.
    Source: Iwao 1968, Res. Popul. Ecol. 10:1-20 (from memory), with the mean crowding
    of Lloyd 1967, J. Anim. Ecol. 36:1-30; unweighted least squares.
    """
    m, s2 = _pairs(means, variances)
    kept = m > 0
    crowding = m[kept] + s2[kept] / m[kept] - 1
    line = _least_squares(m[kept], crowding)
    return Patchiness(
        alpha=line.intercept,
        beta=line.slope,
        alpha_standard_error=line.intercept_error,
        beta_standard_error=line.slope_error,
        samples=int(kept.sum()),
    )


def _pairs(means: Numbers, variances: Numbers) -> tuple[FloatArray, FloatArray]:
    m, s2 = numbers("means", means), numbers("variances", variances)
    if m.size != s2.size:
        raise EstimationError("variances", f"has {s2.size} entries for {m.size} means")
    if (m < 0).any():
        raise EstimationError("means", "must be 0 or more")
    if (s2 < 0).any():
        raise EstimationError("variances", "must be 0 or more")
    return m, s2


def _least_squares(x: FloatArray, y: FloatArray) -> _Line:
    if x.size < FEWEST_PAIRS or np.ptp(x) == 0:
        raise EstimationError(
            "means",
            f"needs {FEWEST_PAIRS} samples or more with animals, of unlike means",
        )
    middle, spread = float(x.mean()), float(((x - x.mean()) ** 2).sum())
    slope = float(((x - middle) * (y - y.mean())).sum()) / spread
    intercept = float(y.mean()) - slope * middle
    left = float(((y - intercept - slope * x) ** 2).sum())
    residual = sqrt(left / (x.size - 2)) if x.size > 2 else nan
    return _Line(
        intercept=intercept,
        slope=slope,
        intercept_error=residual * sqrt(1 / x.size + middle**2 / spread),
        slope_error=residual / sqrt(spread),
        residual_sd=residual,
    )
