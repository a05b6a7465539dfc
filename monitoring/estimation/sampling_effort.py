"""How many units a precision takes, and when counted animals are enough for it."""

from math import inf

import numpy as np
from scipy import stats

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    positive,
    proportion,
)

# From this slope on counting more animals no longer makes a mean more precise.
STEEPEST = 2.0


def units_for_precision(
    mean: float,
    *,
    precision: float,
    k: float | None = None,
    power_law: tuple[float, float] | None = None,
    confidence: float | None = None,
) -> float:
    """Give how many units make a mean as precise as wanted; not rounded.

    mean: animals counted per unit, above 0; where only a share of the animals is
    counted (recovery, cells), the mean times that share. precision: standard error over
    mean, or half-width over mean where a confidence in (0, 1) is given. k: of the
    negative binomial, inf for animals that do not clump; power_law: a pair (a, b) of
    variance = a mean^b instead. With neither, the animals are taken not to clump.

    Raises EstimationError if a value is not above 0, or k and power_law are both given.
    Source: Karandinos 1976, Bull. Entomol. Soc. Am. 22:417-421 (from memory): n =
    variance / (precision mean)^2, times z^2 for a half-width; re-derived.
    """
    positive("mean", mean)
    wanted = _standard_error(precision, confidence)
    if power_law is None:
        return (1 / mean + 1 / _clumping(k)) / wanted**2
    if k is not None:
        raise EstimationError("k", "and power_law cannot both be given")
    a, b = power_law
    positive("power_law", a)
    return float(a * mean ** (b - 2) / wanted**2)


def _standard_error(precision: float, confidence: float | None) -> float:
    positive("precision", precision)
    if confidence is None:
        return precision
    proportion("confidence", confidence)
    return precision / float(stats.norm.ppf((1 + confidence) / 2))


def _clumping(k: float | None) -> float:
    if k is None or k == inf:
        return inf
    return positive("k", k)


def stop_line_power_law(
    a: float, b: float, *, precision: float, units: Numbers
) -> FloatArray:
    """Give the running totals at which the mean is precise enough, by the power law.

    a: above 0; b: below 2, from which on a denser sample is no more precise. precision:
    standard error over mean, above 0. units: shape (n,), numbers of units, 1 or more.
    Stop at the first number of units at which the animals so far are at or above.

    Raises EstimationError if a precondition fails.
    Source: Green 1970, Res. Popul. Ecol. 12:249-251 (from memory): ln T = [ln(D^2/a) +
    (b - 1) ln n]/(b - 2); re-derived from D^2 = a m^(b-2)/n and m = T/n.
    """
    positive("a", a)
    positive("precision", precision)
    if not np.isfinite(b) or b >= STEEPEST:
        raise EstimationError(
            "b", f"{b!r} must be below 2: else more animals make no mean more precise"
        )
    at = _numbers_of_units(units)
    log_totals = (np.log(precision**2 / a) + (b - 1) * np.log(at)) / (b - 2)
    totals: FloatArray = np.exp(log_totals)
    return totals


def stop_line_patchiness(
    alpha: float, beta: float, *, precision: float, units: Numbers
) -> FloatArray:
    """Give the running totals at which the mean is precise enough, by patchiness.

    alpha: above -1; beta: of mean crowding = alpha + beta mean; with alpha 0 and beta
    1 + 1/k this is the negative binomial's line. precision: standard error over mean.
    units: shape (n,), 1 or more. inf where so few units can never be precise enough.

    Raises EstimationError if a precondition fails.
    Source: Kuno 1969, Res. Popul. Ecol. 11:127-136 (from memory): T = (alpha + 1) /
    (D^2 - (beta - 1)/n), for n above (beta - 1)/D^2.
    """
    if not (np.isfinite(alpha) and alpha > -1):
        raise EstimationError("alpha", f"{alpha!r} is not a number above -1")
    if not np.isfinite(beta):
        raise EstimationError("beta", "must be a finite number")
    positive("precision", precision)
    room = precision**2 - (beta - 1) / _numbers_of_units(units)
    totals: FloatArray = np.full(room.shape, inf)
    totals[room > 0] = (alpha + 1) / room[room > 0]
    return totals


def _numbers_of_units(units: Numbers) -> FloatArray:
    at = numbers("units", units)
    if (at < 1).any():
        raise EstimationError("units", "must be 1 or more")
    return at
