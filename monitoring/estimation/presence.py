"""From the share of empty units to the mean, and back."""

from dataclasses import dataclass
from math import exp, inf, log, log1p, sqrt

from monitoring.estimation.validation import EstimationError, positive


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanFromEmpty:
    """A mean per unit told from empty units alone, given k.

    The error is by the delta method, inf where every unit was empty.
    """

    mean: float
    standard_error: float


def proportion_empty(mean: float, k: float) -> float:
    """Give the share of units without an animal.

    mean: per unit, 0 or more. k: above 0, inf for animals that do not clump.

    Raises EstimationError if a precondition fails.
    Source: zero class of the negative binomial, (1 + m/k)^-k.
    """
    if not 0 <= mean < inf:
        raise EstimationError("mean", f"{mean!r} is not a number of 0 or more")
    if k == inf:
        return exp(-mean)
    return exp(-positive("k", k) * log1p(mean / k))


def mean_from_empty(*, empty: int, units: int, k: float) -> MeanFromEmpty:
    """Give the mean per unit from how many units were empty.

    empty: 1 up to units. units: 1 or more. k: above 0, inf for animals that do not
    clump; a wrong k makes a wrong mean.

    Raises EstimationError if no unit is empty, for then the mean has no upper end.
    Source: zero class of the negative binomial solved for m; error by the delta method,
    sqrt((1 - P) P^(-2/k - 1)/n).
    """
    if units < 1:
        raise EstimationError("units", f"{units!r} is not 1 or more")
    if not 0 < empty <= units:
        raise EstimationError(
            "empty",
            f"{empty!r} of {units} units: with none empty the share tells no mean",
        )
    share = empty / units
    if k == inf:
        mean, slope = -log(share), 1 / share
    else:
        positive("k", k)
        mean = k * (share ** (-1 / k) - 1)
        slope = share ** (-1 / k - 1)
    spread = sqrt(share * (1 - share) / units)
    return MeanFromEmpty(
        mean=mean, standard_error=slope * spread if empty < units else inf
    )
