"""Animals per leaf, shoot or bud, from counts of a few clumped bags."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

import numpy as np

from monitoring.estimation.averaged import averaged_posteriors
from monitoring.estimation.bags import Bags
from monitoring.estimation.grids import Grids, WashedOff
from monitoring.estimation.negative_binomial import washed_off_posteriors
from monitoring.estimation.posterior import (
    DensityEstimate,
    GridPosterior,
    divide_by_recovery,
    upper_ends,
)
from monitoring.estimation.priors import (
    DEFAULT_K_PRIOR,
    DEFAULT_SIGMA_PRIOR,
    KPrior,
    LeafPriors,
    SigmaPrior,
)
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    each_bag,
    one_after_another,
    positive,
    proportion,
)

Model: TypeAlias = str
Solver: TypeAlias = Callable[[Bags, Sequence[LeafPriors], FloatArray], WashedOff]
# With its version, part of every stored figure: a change of numbers changes it.
MODELS: dict[Model, tuple[Solver, str]] = {
    "negative_binomial": (washed_off_posteriors, "2"),
    "averaged": (averaged_posteriors, "1"),
}
METHOD_VERSIONS = {model: version for model, (_, version) in MODELS.items()}
DEFAULT_UPPER_LIMIT = 1e6

Value = TypeVar("Value")
ByRound: TypeAlias = list[Value] | Value


def estimate_density(  # noqa: PLR0913 - the published interface
    counts: Numbers,
    *,
    proportions_counted: Numbers | float = 1.0,
    units: Numbers | float = 1,
    recovery: float | BetaRecovery = 1.0,
    k_prior: KPrior = DEFAULT_K_PRIOR,
    sigma_prior: SigmaPrior = DEFAULT_SIGMA_PRIOR,
    lognormal_odds: float = 1.0,
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
    k_prior: of the negative binomial's clumping parameter.
    model: "negative_binomial", or "averaged" with Poisson counts of lognormal leaves,
    whose tails are heavier. sigma_prior: of the deviation of such leaves' logarithms;
    lognormal_odds: of that model to the other before the counts are seen, above 0; both
    are used by "averaged" only.
    upper_limit: largest mean per unit that can be, above 0.
    confidence: of the central interval, in (0, 1).

    Raises EstimationError if a precondition fails. One bag gives a wide interval;
    all zeros a low median and an upper bound. Heavier tails than a negative
    binomial's make that model's interval too narrow.
    Source: negative binomial with thinning; Jeffreys prior of the mean; beta recovery;
    Hoeting et al. 1999, Statistical Science 14:382-417, for averaging.
    """
    return estimate_densities(
        [counts],
        proportions_counted=[proportions_counted],
        units=[units],
        recovery=[recovery],
        k_prior=[k_prior],
        sigma_prior=[sigma_prior],
        lognormal_odds=lognormal_odds,
        model=model,
        upper_limit=upper_limit,
        confidence=confidence,
    )[0]


def estimate_densities(  # noqa: PLR0913 - the published interface
    rounds: Sequence[Numbers],
    *,
    proportions_counted: ByRound[Numbers | float] = 1.0,
    units: ByRound[Numbers | float] = 1,
    recovery: ByRound[float | BetaRecovery] = 1.0,
    k_prior: ByRound[KPrior] = DEFAULT_K_PRIOR,
    sigma_prior: ByRound[SigmaPrior] = DEFAULT_SIGMA_PRIOR,
    lognormal_odds: ByRound[float] = 1.0,
    model: ByRound[Model] = "negative_binomial",
    upper_limit: ByRound[float] = DEFAULT_UPPER_LIMIT,
    confidence: ByRound[float] = 0.95,
) -> list[DensityEstimate]:
    """Estimate many rounds; the same numbers as `estimate_density` one by one.

    rounds: count arrays, one a round. proportions_counted, units, recovery, k_prior,
    sigma_prior, lognormal_odds, model, upper_limit, confidence: one value for all, or a
    list with one entry a round (each as in `estimate_density`).

    Rounds are computed together in chunks, so that memory does not grow with them but
    for the answers, about 20 kB a round.
    Raises EstimationError if a precondition fails in any round.
    Source: as `estimate_density`.
    """
    size = len(rounds)
    if not size:
        return []
    asked = Asked(
        recoveries=by_round("recovery", recovery, size),
        priors=_priors(
            by_round("k_prior", k_prior, size),
            by_round("sigma_prior", sigma_prior, size),
            by_round("lognormal_odds", lognormal_odds, size),
        ),
        models=by_round("model", model, size),
        upper_limits=by_round("upper_limit", upper_limit, size),
        confidences=by_round("confidence", confidence, size),
    )
    _check(asked)
    bags = bags_of_rounds(
        rounds,
        by_round("proportions_counted", proportions_counted, size),
        by_round("units", units, size),
    )
    return _estimates(bags, asked)


@dataclass(frozen=True)
class Asked:
    """What was asked for, one entry a round in each list."""

    recoveries: list[float | BetaRecovery]
    priors: list[LeafPriors]
    models: list[Model]
    upper_limits: list[float]
    confidences: list[float]


def _priors(
    ks: list[KPrior], sigmas: list[SigmaPrior], odds: list[float]
) -> list[LeafPriors]:
    return [LeafPriors(*of_round) for of_round in zip(ks, sigmas, odds, strict=True)]


def _check(asked: Asked) -> None:
    for recovery in asked.recoveries:
        if not isinstance(recovery, BetaRecovery):
            proportion("recovery", recovery, may_be_one=True)
    for confidence in asked.confidences:
        proportion("confidence", confidence)
    for upper_limit in asked.upper_limits:
        positive("upper_limit", upper_limit)
    for model in asked.models:
        if model not in MODELS:
            raise EstimationError("model", f"{model!r} is not known")


def _estimates(bags: Bags, asked: Asked) -> list[DensityEstimate]:
    recoveries = np.array([mean_of(recovery) for recovery in asked.recoveries])
    limits = np.array(asked.upper_limits, dtype=np.float64)
    highest = np.array([_highest(recovery) for recovery in asked.recoveries])
    washed_off = _washed_off(bags, asked, limits * highest)
    grids = [
        GridPosterior(*of_round)
        for of_round in zip(
            washed_off.grids.log_values, washed_off.grids.cumulative, strict=True
        )
    ]
    posteriors = [
        divide_by_recovery(*of_round)
        for of_round in zip(grids, asked.recoveries, asked.upper_limits, strict=True)
    ]
    lows, medians, highs = _ends(posteriors, asked.confidences, limits)
    seen = bags.sums(bags.counts)
    sample_means = seen / (bags.sums(bags.exposures) * recoveries)
    return [
        DensityEstimate(
            median=medians[row],
            low=lows[row],
            high=highs[row],
            confidence=asked.confidences[row],
            sample_mean=float(sample_means[row]),
            bags=int(bags.sizes[row]),
            animals=float(seen[row]),
            k_median=float(washed_off.k_medians[row]),
            sigma_median=float(washed_off.sigma_medians[row]),
            lognormal_share=float(washed_off.lognormal_shares[row]),
            log_evidence=float(washed_off.log_evidences[row]),
            priors=asked.priors[row],
            posterior=posterior,
            washed_off=grids[row],
            recovery=asked.recoveries[row],
            upper_limit=asked.upper_limits[row],
        )
        for row, posterior in enumerate(posteriors)
    ]


def _washed_off(bags: Bags, asked: Asked, tops: FloatArray) -> WashedOff:
    """Find what is washed off, each round by its model."""
    by_model: dict[str, list[int]] = {}
    for row, model in enumerate(asked.models):
        by_model.setdefault(model, []).append(row)
    parts = []
    for name, members in by_model.items():
        priors = [asked.priors[row] for row in members]
        rows = np.array(members)
        solver, _ = MODELS[name]
        parts.append(solver(bags.take(rows), priors, tops[rows]))
    back = np.argsort(np.concatenate(list(by_model.values())))
    return WashedOff.together(parts, back)


def _ends(
    posteriors: list[GridPosterior], confidences: list[float], limits: FloatArray
) -> tuple[list[float], list[float], list[float]]:
    """Give lower ends, medians and upper ends."""
    grids = Grids(
        np.array([one.log_values for one in posteriors]),
        np.array([one.cumulative for one in posteriors]),
    )
    tails = (1 - np.array(confidences, dtype=np.float64)) / 2
    lows, medians, highs = (
        np.exp(grids.log_quantiles(at)) for at in (tails, 0.5, 1 - tails)
    )
    return lows.tolist(), medians.tolist(), upper_ends(grids, highs, limits).tolist()


def _highest(recovery: float | BetaRecovery) -> float:
    """Give the largest recovery that can be: what is washed off ends there."""
    return 1.0 if isinstance(recovery, BetaRecovery) else float(recovery)


def mean_of(recovery: float | BetaRecovery) -> float:
    """Give the mean of a recovery.

    recovery: a number or a beta. Raises nothing.
    Source: mean of the beta distribution, a/(a + b).
    """
    return recovery.mean if isinstance(recovery, BetaRecovery) else float(recovery)


def bags_of_rounds(
    rounds: Sequence[Numbers],
    proportions_counted: Sequence[Numbers | float],
    units: Sequence[Numbers | float],
) -> Bags:
    """Check the bags of rounds and put them in a row.

    rounds, proportions_counted, units: one entry a round, as in `estimate_density`.

    Raises EstimationError if a precondition fails in any round.
    Source: exposure of thinned counts: units times the proportion counted.
    """
    counts, sizes = one_after_another("counts", rounds)
    if (counts < 0).any() or (counts != np.floor(counts)).any():
        raise EstimationError("counts", "must hold whole numbers of animals, 0 or more")
    shares = each_bag("proportions_counted", proportions_counted, sizes)
    if (shares <= 0).any() or (shares > 1).any():
        raise EstimationError("proportions_counted", "must be above 0 and up to 1")
    in_bags = each_bag("units", units, sizes)
    if (in_bags < 1).any() or (in_bags != np.floor(in_bags)).any():
        raise EstimationError("units", "must hold whole numbers, 1 or more")
    return Bags(counts, shares * in_bags, sizes)


def by_round(argument: str, value: ByRound[Value], size: int) -> list[Value]:
    """Give one entry a round.

    argument: name for the error. value: one for all, or a list. size: rounds.

    Raises EstimationError if a list has not as many entries as there are rounds.
    Source: none needed.
    """
    if not isinstance(value, list):
        return [value] * size
    if len(value) != size:
        raise EstimationError(argument, f"has {len(value)} entries where {size} fit")
    return value
