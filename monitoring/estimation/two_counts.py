"""Two counts of the same dish, and the animals of a single bag."""

from dataclasses import dataclass
from math import exp, inf, log, sqrt

from scipy import stats

from monitoring.estimation.poisson import poisson_limits
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import (
    EstimationError,
    proportion,
    whole_counts,
)

# A spread beyond this on the log scale says nothing; its end is infinite.
WIDEST = log(1e12)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountComparison:
    """How far two counts of one dish are apart.

    relative_difference: second less first over their mean, as animals in the dish, -2
    to 2. z: the same in standard errors if both were Poisson. first, second: each
    count's own Poisson limits, as animals in the dish. overlap: whether those meet.
    """

    relative_difference: float
    z: float
    first: tuple[float, float]
    second: tuple[float, float]
    overlap: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BagAnimals:
    """Animals on what lay in a single bag before it was washed, with their interval."""

    animals: float
    low: float
    high: float


def compare_counts(
    first: int,
    second: int,
    *,
    first_share: float = 1.0,
    second_share: float = 1.0,
    confidence: float = 0.95,
) -> CountComparison:
    """Set two counts of the same dish side by side.

    first, second: animals counted, 0 or more. first_share, second_share: the share of
    the dish's animals that each is taken for, in (0, 1]. confidence: of the limits.

    Two counts of the whole dish are of the same animals and lie closer than Poisson
    counts would: there z and limits forgive more than chance explains.
    Raises EstimationError if a precondition fails.
    Source: exact limits, Garwood 1936, Biometrika 28:437-442; z of two Poisson rates,
    Przyborowski & Wilenski 1940, Biometrika 31:313-323 (both from memory).
    """
    whole_counts("first", [first])
    whole_counts("second", [second])
    proportion("first_share", first_share, may_be_one=True)
    proportion("second_share", second_share, may_be_one=True)
    proportion("confidence", confidence)
    one, other = first / first_share, second / second_share
    gap, middle = other - one, (one + other) / 2
    rate = (first + second) / (first_share + second_share)
    error = sqrt(rate * (1 / first_share + 1 / second_share))
    limits = [
        (low / share, high / share)
        for count, share in ((first, first_share), (second, second_share))
        for low, high in [poisson_limits(count, confidence=confidence)]
    ]
    return CountComparison(
        relative_difference=gap / middle if middle else 0.0,
        z=gap / error if error else 0.0,
        first=limits[0],
        second=limits[1],
        overlap=limits[0][0] <= limits[1][1] and limits[1][0] <= limits[0][1],
    )


def animals_of_bag(
    total: float,
    *,
    standard_error: float,
    seen: int,
    proportion_counted: float = 1.0,
    recovery: float | BetaRecovery = 1.0,
    confidence: float = 0.95,
) -> BagAnimals:
    """Estimate the animals on what lay in a single bag from those in its dish.

    total: animals in the dish, 0 or more. standard_error: of the total, from counting
    cells; 0 for a whole dish. seen: animals counted. proportion_counted: the share of
    the dish they are taken for, in (0, 1]. recovery: share that a wash brings off, a
    fixed value in (0, 1] or a beta. confidence: of the interval, in (0, 1).

    Three spreads add on the log scale: of the cells, of the recovery between runs, and
    of which animals of the leaf one wash happened to bring off (binomial). Without an
    animal seen the upper end is the limit of a Poisson count of none. The interval is
    of this bag, not of its block. Raises EstimationError if a precondition fails.
    Source: delta method, Cochran 1977, Sampling Techniques, sec. 6.5 (from memory).
    """
    whole_counts("seen", [seen])
    proportion("proportion_counted", proportion_counted, may_be_one=True)
    proportion("confidence", confidence)
    if not 0 <= standard_error < inf or not seen * (1 - 1e-9) <= total < inf:
        raise EstimationError("total", "must be finite and not below what was seen")
    mean, spread = _moments(recovery)
    tail = (1 - confidence) / 2
    animals = total / mean
    if total == 0:
        high = -log(tail) / (proportion_counted * mean)
        return BagAnimals(animals=0.0, low=0.0, high=high)
    variance = (standard_error / total) ** 2 + spread + (1 - mean) / total
    reach = float(stats.norm.isf(tail)) * sqrt(variance)
    return BagAnimals(
        animals=animals,
        low=max(animals * exp(-reach), float(seen)),
        high=animals * exp(reach) if reach < WIDEST else inf,
    )


def _moments(recovery: float | BetaRecovery) -> tuple[float, float]:
    """Give a recovery's mean and its squared coefficient of variation."""
    if not isinstance(recovery, BetaRecovery):
        return proportion("recovery", recovery, may_be_one=True), 0.0
    a, b = recovery.a, recovery.b
    return recovery.mean, b / (a * (a + b + 1))
