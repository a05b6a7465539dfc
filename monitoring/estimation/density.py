"""Animals per leaf, shoot or bud, from counts of a few clumped bags."""

from collections.abc import Callable, Sequence
from typing import Literal, TypeAlias, TypeVar

import numpy as np

from monitoring.estimation.negative_binomial import WashedOff, washed_off_posterior
from monitoring.estimation.posterior import (
    DensityEstimate,
    divide_by_recovery,
    upper_end,
)
from monitoring.estimation.priors import DEFAULT_K_PRIOR, KPrior
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    one_or_each,
    positive,
    proportion,
    whole_counts,
)

Model: TypeAlias = Literal["negative_binomial"]
Solver: TypeAlias = Callable[[FloatArray, FloatArray, KPrior, float], WashedOff]
MODELS: dict[str, Solver] = {"negative_binomial": washed_off_posterior}
# Part of every stored figure; a change of numbers changes the version.
METHOD_VERSIONS = {"negative_binomial": "1"}
DEFAULT_UPPER_LIMIT = 1e6


def estimate_density(  # noqa: PLR0913 - the published interface
    counts: Numbers,
    *,
    proportions_counted: Numbers | float = 1.0,
    units: Numbers | float = 1,
    recovery: float | BetaRecovery = 1.0,
    k_prior: KPrior = DEFAULT_K_PRIOR,
    model: Model = "negative_binomial",
    upper_limit: float = DEFAULT_UPPER_LIMIT,
    confidence: float = 0.95,
) -> DensityEstimate:
    """Estimate the mean per unit of a round by its posterior.

    counts: shape (bags,), animals seen in each bag, whole, 0 or more.
    proportions_counted: of each bag's wash, in (0, 1]; one value or one a bag.
    units: leaves, shoots or buds in each bag, whole, 1 or more; one or one a bag.
    recovery: share that a wash brings off, in (0, 1], or a BetaRecovery; its
    uncertainty is common to the bags and integrated once.
    k_prior: of the clumping parameter. model: "negative_binomial".
    upper_limit: largest mean per unit that can be, above 0.
    confidence: of the central interval, in (0, 1).

    Raises EstimationError if a precondition fails. One bag gives a wide interval;
    all zeros a low median and an upper bound. Heavier tails than a negative
    binomial's make the interval too narrow.
    Source: negative binomial with thinning; Jeffreys prior of the mean; beta recovery.
    """
    seen = whole_counts("counts", counts)
    shares = one_or_each("proportions_counted", proportions_counted, seen.size)
    if (shares <= 0).any() or (shares > 1).any():
        raise EstimationError("proportions_counted", "must be above 0 and up to 1")
    in_bag = one_or_each("units", units, seen.size)
    if (in_bag < 1).any() or (in_bag != np.floor(in_bag)).any():
        raise EstimationError("units", "must hold whole numbers, 1 or more")
    if not isinstance(recovery, BetaRecovery):
        proportion("recovery", recovery, may_be_one=True)
    proportion("confidence", confidence)
    positive("upper_limit", upper_limit)
    if model not in MODELS:
        raise EstimationError("model", f"{model!r} is not known")
    exposures = shares * in_bag
    mean_recovery = mean_of(recovery)
    found = MODELS[model](seen, exposures, k_prior, upper_limit * mean_recovery)
    posterior = divide_by_recovery(found.posterior, recovery)
    tail = (1 - confidence) / 2
    low, median, high = posterior.quantiles(np.array([tail, 0.5, 1 - tail]))
    return DensityEstimate(
        median=float(median),
        low=float(low),
        high=upper_end(posterior, float(high), upper_limit),
        confidence=confidence,
        sample_mean=float(seen.sum() / (exposures.sum() * mean_recovery)),
        bags=int(seen.size),
        animals=float(seen.sum()),
        k_median=found.k_median,
        posterior=posterior,
        washed_off=found.posterior,
        recovery=recovery,
        upper_limit=upper_limit,
    )


def mean_of(recovery: float | BetaRecovery) -> float:
    """Give the mean of a recovery.

    recovery: a number or a beta. Raises nothing.
    Source: mean of the beta distribution, a/(a + b).
    """
    return recovery.mean if isinstance(recovery, BetaRecovery) else float(recovery)


def estimate_densities(  # noqa: PLR0913 - the published interface
    rounds: Sequence[Numbers],
    *,
    proportions_counted: list[Numbers | float] | float = 1.0,
    units: list[Numbers | float] | float = 1,
    recovery: list[float | BetaRecovery] | float | BetaRecovery = 1.0,
    k_prior: list[KPrior] | KPrior = DEFAULT_K_PRIOR,
    model: Model = "negative_binomial",
    upper_limit: float = DEFAULT_UPPER_LIMIT,
    confidence: float = 0.95,
) -> list[DensityEstimate]:
    """Estimate many rounds; the same numbers as `estimate_density` one by one.

    rounds: count arrays, one a round. proportions_counted, units, recovery, k_prior:
    one value for all, or a list with one entry a round (each as in
    `estimate_density`). model, upper_limit, confidence: for all.

    Raises EstimationError if a precondition fails in any round.
    Source: as `estimate_density`.
    """
    size = len(rounds)
    shares: list[Numbers | float] = _by_round(
        "proportions_counted", proportions_counted, size
    )
    in_bags: list[Numbers | float] = _by_round("units", units, size)
    recoveries: list[float | BetaRecovery] = _by_round("recovery", recovery, size)
    priors: list[KPrior] = _by_round("k_prior", k_prior, size)
    return [
        estimate_density(
            counts,
            proportions_counted=share,
            units=in_bag,
            recovery=one_recovery,
            k_prior=prior,
            model=model,
            upper_limit=upper_limit,
            confidence=confidence,
        )
        for counts, share, in_bag, one_recovery, prior in zip(
            rounds, shares, in_bags, recoveries, priors, strict=True
        )
    ]


Value = TypeVar("Value")


def _by_round(argument: str, value: list[Value] | Value, size: int) -> list[Value]:
    """Give one entry a round; a list must have as many as there are rounds."""
    if not isinstance(value, list):
        return [value] * size
    if len(value) != size:
        raise EstimationError(argument, f"has {len(value)} entries where {size} fit")
    return value
