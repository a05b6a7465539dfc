"""What blank washes tell of animals carried over from the wash before."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from monitoring.estimation.poisson import poisson_limits
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    proportion,
    whole_counts,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareInterval:
    """A share of cases with its exact interval, 0 to 1."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CarryOver:
    """Animals carried over, per wash or per animal washed before.

    low, high: two-sided interval. upper_limit: one-sided, of the same confidence.
    chance_as_uneven: of counts at least as unlike each other if each animal were
    carried over by chance alone; None for one wash or no animal.
    """

    rate: float
    low: float
    high: float
    upper_limit: float
    animals: int
    washes: int
    chance_as_uneven: float | None


def positive_share(
    positive: int, washes: int, *, confidence: float = 0.95
) -> ShareInterval:
    """Give the share of washes in which something was found, with exact interval.

    positive: washes with an animal, 0 to washes. washes: 1 or more.
    confidence: of the interval, in (0, 1).

    Raises EstimationError if a precondition fails.
    Source: Clopper & Pearson 1934, Biometrika 26:404-413.
    """
    proportion("confidence", confidence)
    if washes < 1:
        raise EstimationError("washes", "must be 1 or more")
    if not 0 <= positive <= washes:
        raise EstimationError("positive", f"{positive} is not within 0 to {washes}")
    tail = (1 - confidence) / 2
    missing = washes - positive
    low = stats.beta.ppf(tail, positive, missing + 1) if positive else 0.0
    high = stats.beta.isf(tail, positive + 1, missing) if missing else 1.0
    return ShareInterval(share=positive / washes, low=float(low), high=float(high))


def carry_over_per_wash(
    counts: Numbers,
    *,
    proportions_counted: Numbers | float = 1.0,
    confidence: float = 0.95,
) -> CarryOver:
    """Give how many animals a blank wash brings, with exact Poisson limits.

    counts: shape (blanks,), whole numbers found. proportions_counted: share of each
    dish that was looked at, in (0, 1], one value or one a blank. confidence: of the
    limits, in (0, 1).

    Raises EstimationError if a precondition fails.
    Source: Garwood 1936, Biometrika 28:437-442; unevenness by the index of dispersion,
    Fisher, Thornton & Mackenzie 1922, Ann. Appl. Biol. 9:325-359.
    """
    found = whole_counts("counts", counts)
    shares = _each(proportions_counted, found.size)
    return _carried(found, shares, confidence)


def carry_over_share(
    counts: Numbers,
    before: Numbers,
    *,
    proportions_counted: Numbers | float = 1.0,
    confidence: float = 0.95,
) -> CarryOver:
    """Give the share of a wash's animals that turns up in the blank after it.

    counts: shape (blanks,), whole numbers found. before: animals of the wash before
    each blank, 0 or more, taken as known. proportions_counted, confidence: as for
    `carry_over_per_wash`.

    Raises EstimationError if no wash before held an animal, or lengths differ.
    Source: as `carry_over_per_wash`, with the animals before as exposure.
    """
    found = whole_counts("counts", counts)
    animals = numbers("before", before)
    if animals.size != found.size:
        raise EstimationError(
            "before", f"has {animals.size} entries where counts has {found.size}"
        )
    if (animals < 0).any():
        raise EstimationError("before", "must hold numbers of animals, 0 or more")
    exposure = animals * _each(proportions_counted, found.size)
    if exposure.sum() <= 0:
        raise EstimationError("before", "no wash before a blank held an animal")
    return _carried(found, exposure, confidence)


def _each(proportions_counted: Numbers | float, size: int) -> FloatArray:
    shares = numbers("proportions_counted", proportions_counted)
    if shares.size not in {1, size}:
        raise EstimationError(
            "proportions_counted", f"has {shares.size} entries where {size} fit"
        )
    if (shares <= 0).any() or (shares > 1).any():
        raise EstimationError("proportions_counted", "must be above 0, and 1 at most")
    return np.broadcast_to(shares, (size,)).astype(np.float64)


def _carried(found: FloatArray, exposure: FloatArray, confidence: float) -> CarryOver:
    total, whole = float(found.sum()), float(exposure.sum())
    low, high = poisson_limits(total, confidence=confidence)
    return CarryOver(
        rate=total / whole,
        low=low / whole,
        high=high / whole,
        upper_limit=float(stats.gamma.isf(1 - confidence, total + 1)) / whole,
        animals=int(total),
        washes=found.size,
        chance_as_uneven=_chance_as_uneven(found, exposure),
    )


def _chance_as_uneven(found: FloatArray, exposure: FloatArray) -> float | None:
    """Give the chance of an index of dispersion at least as large."""
    seen = exposure > 0
    found, exposure = found[seen], exposure[seen]
    if found.size < 2 or found.sum() == 0:
        return None
    expected = exposure * found.sum() / exposure.sum()
    index = float(((found - expected) ** 2 / expected).sum())
    return float(stats.chi2.sf(index, found.size - 1))
