"""How often intervals hold the truth, and how wide they are, in a regime."""

from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from math import sqrt

import numpy as np
from scipy import stats

from monitoring.coverage.regimes import (
    HELD_RECOVERY,
    RECOVERY,
    Counted,
    Regime,
    count_sets,
)
from monitoring.estimation import (
    DensityEstimate,
    EstimationError,
    LeafPriors,
    estimate_densities,
    guard_history,
    learn_clumping,
)
from monitoring.estimation.validation import FloatArray

# Sets that share one history; rounds and leaves of a history; how its means vary.
SETS_OF_HISTORY, HISTORY_ROUNDS, HISTORY_LEAVES, MEANS_SD_LOG = 200, 12, 15, 0.7
CONFIDENCE = 0.95
Ends = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One method in one regime.

    coverage: share of sets whose interval held the truth. low, high: its own 95 percent
    limits by Wilson's formula. width: median over sets of (high - low)/truth; inf where
    most sets gave no upper limit.
    """

    method: str
    coverage: float
    low: float
    high: float
    width: float


def measure(
    regime: Regime, *, sets: int, seed: int, methods: dict[str, "Method"]
) -> list[Measured]:
    """Try methods on the same sets of a regime.

    sets: how many. seed: together with the regime's name. methods: by name.

    Raises nothing.
    Source: Wilson 1927, JASA 22:209-212, for the limits of a share.
    """
    chance = _chance(regime, seed)
    counted = count_sets(regime, sets, chance)
    return [
        _measured(name, method(regime, counted, chance), regime.mean)
        for name, method in methods.items()
    ]


Method = Callable[[Regime, Counted, np.random.Generator], Ends]


def textbook_t(regime: Regime, counted: Counted, _: np.random.Generator) -> Ends:
    """Take the mean plus and minus t standard errors, recovery at its mean."""
    density = counted.counts / counted.proportions / RECOVERY
    size = regime.leaves
    error = density.std(axis=1, ddof=1) / sqrt(size)
    reach = float(stats.t.ppf((1 + CONFIDENCE) / 2, size - 1)) * error
    return density.mean(axis=1) - reach, density.mean(axis=1) + reach


def negative_binomial(regime: Regime, counted: Counted, _: np.random.Generator) -> Ends:
    """Estimate by the negative binomial posterior without a history."""
    return _ends(_estimates(regime, counted, "negative_binomial"))


def averaged(regime: Regime, counted: Counted, _: np.random.Generator) -> Ends:
    """Estimate by the averaged posterior without a history."""
    return _ends(_estimates(regime, counted, "averaged"))


def with_history(regime: Regime, counted: Counted, chance: np.random.Generator) -> Ends:
    """Estimate by the averaged posterior with priors learned from earlier rounds."""
    default = _estimates(regime, counted, "averaged")
    chosen: list[DensityEstimate] = []
    for first in range(0, len(default), SETS_OF_HISTORY):
        some = slice(first, first + SETS_OF_HISTORY)
        part = Counted(counted.counts[some], counted.proportions[some])
        learned = _estimates(regime, part, "averaged", _learned(regime, chance))
        pairs = zip(learned, default[some], strict=True)
        chosen += [guard_history(*pair) for pair in pairs]
    return _ends(chosen)


METHODS: dict[str, Method] = {
    "t": textbook_t,
    "negative_binomial": negative_binomial,
    "averaged": averaged,
    "history": with_history,
}


def _learned(regime: Regime, chance: np.random.Generator) -> LeafPriors:
    """Learn from earlier rounds of the regime, at means of their own."""
    earlier = Regime(
        family=regime.family,
        shape=regime.shape,
        clumping=regime.clumping,
        leaves=HISTORY_LEAVES,
        mean=regime.mean,
        counting=regime.counting,
        recovery=regime.recovery,
    )
    kept: list[tuple[FloatArray, FloatArray]] = []
    while len(kept) < HISTORY_ROUNDS:
        means = regime.mean * np.exp(
            chance.normal(0.0, MEANS_SD_LOG, 2 * HISTORY_ROUNDS)
        )
        rounds = count_sets(earlier, means.size, chance, means=means)
        full = rounds.counts.sum(axis=1) > 0
        kept += zip(rounds.counts[full], rounds.proportions[full], strict=True)
    used = kept[:HISTORY_ROUNDS]
    try:
        return learn_clumping(
            [counts for counts, _ in used],
            exposures=[proportions for _, proportions in used],
        ).priors
    except EstimationError:
        # Too few animals to learn from: the site then holds nothing beforehand.
        return LeafPriors()


def _estimates(
    regime: Regime, counted: Counted, model: str, priors: LeafPriors | None = None
) -> list[DensityEstimate]:
    held = priors or LeafPriors()
    return estimate_densities(
        list(counted.counts),
        proportions_counted=list(counted.proportions),
        recovery=HELD_RECOVERY if regime.recovery == "held" else RECOVERY,
        k_prior=held.k,
        sigma_prior=held.sigma,
        lognormal_odds=held.lognormal_odds,
        model=model,
        confidence=CONFIDENCE,
    )


def _ends(estimates: list[DensityEstimate]) -> Ends:
    low = np.array([one.low for one in estimates])
    return low, np.array([one.high for one in estimates])


def _measured(name: str, ends: Ends, truth: float) -> Measured:
    low, high = ends
    held = int(((low <= truth) & (truth <= high)).sum())
    limits = stats.binomtest(held, low.size).proportion_ci(method="wilson")
    return Measured(
        method=name,
        coverage=held / low.size,
        low=float(limits.low),
        high=float(limits.high),
        width=float(np.median((high - low) / truth)),
    )


def _chance(regime: Regime, seed: int) -> np.random.Generator:
    """Make a regime's own chance, the same whatever else is measured."""
    digest = sha256(regime.name.encode()).digest()
    return np.random.default_rng([seed, int.from_bytes(digest[:8], "big")])
