"""What a group's rounds tell of clumping, at the exposure of the bags to come."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, isfinite
from typing import TypeVar

from monitoring.densities.history import PastRound, PooledHistory
from monitoring.estimation import (
    Clumping,
    EstimationError,
    Patchiness,
    PowerLaw,
    fit_clumping,
    fit_patchiness,
    fit_power_law,
)

# Pages show rounds of so many bags; fewer make no variance worth looking at.
FEWEST_BAGS_SHOWN = 5
# Fewer rounds make no line through them.
FEWEST_ROUNDS_FOR_LAWS = 3
Law = TypeVar("Law", PowerLaw, Patchiness)


@dataclass(frozen=True, slots=True)
class AtExposure:
    """A round's mean and variance per bag, as bags of an exposure would show them."""

    round: PastRound
    mean: float
    variance: float


@dataclass(frozen=True, slots=True)
class Laws:
    """What rounds tell together; a law is None where they are too few or too alike."""

    rounds: list[AtExposure]
    common_k: float
    common_k_standard_error: float
    alike: float
    power_law: PowerLaw | None
    patchiness: Patchiness | None

    @property
    def has_k(self) -> bool:
        """Whether a common k can be told."""
        return isfinite(self.common_k)


def usual_units(history: PooledHistory) -> int:
    """Give the number of units that most rounds' bags hold; 1 without rounds."""
    if not history.rounds:
        return 1
    ((units, _),) = Counter(one.units for one in history.rounds).most_common(1)
    return units


def laws_of(
    rounds: Sequence[PastRound], *, exposure: float, together: Clumping | None = None
) -> Laws:
    """Fit the laws to rounds of one number of units.

    exposure: units in a bag times the share of its wash to be counted: with less
    counted, chance adds to the variance and k stays. together: the fit of just these
    rounds, where there is one already.
    """
    at = [_at(one, exposure) for one in rounds]
    means = [one.mean for one in at if one.variance > 0]
    variances = [one.variance for one in at if one.variance > 0]
    fit = together or _together(rounds)
    return Laws(
        rounds=at,
        common_k=fit.common_k if fit else inf,
        common_k_standard_error=fit.common_k_standard_error if fit else inf,
        alike=fit.alike if fit else 1.0,
        power_law=_fitted(fit_power_law, means, variances),
        patchiness=_fitted(fit_patchiness, means, variances),
    )


def _at(past: PastRound, exposure: float) -> AtExposure:
    """Thin a round's variance: what is not chance goes with the square."""
    extra = past.fit.variance - past.fit.mean
    mean = past.fit.mean * exposure
    return AtExposure(past, mean, mean + extra * exposure**2)


def _together(rounds: Sequence[PastRound]) -> Clumping | None:
    if not rounds:
        return None
    return fit_clumping(
        [[bag.animals for bag in one.bags] for one in rounds],
        exposures=[one.exposures for one in rounds],
    )


def _fitted(
    fit: Callable[[list[float], list[float]], Law],
    means: list[float],
    variances: list[float],
) -> Law | None:
    try:
        return fit(means, variances) if means else None
    except EstimationError:
        return None
