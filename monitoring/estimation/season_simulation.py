"""Seasons made up with a known truth, for forecasts to be tried on.

Nothing here was measured: the ranges are wide on purpose, and were fixed before the
forecasts were looked at.
"""

from dataclasses import dataclass
from math import inf, log
from typing import Literal, TypeAlias

import numpy as np

from monitoring.estimation.forecast import CountedRound
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import FloatArray

Shape: TypeAlias = Literal["exponential", "logistic", "changing"]
Leaves: TypeAlias = Literal["negative binomial", "lognormal"]
SEASON_DAYS, STEP_DAYS = 140.0, 0.05
DAYS: FloatArray = np.arange(0.0, SEASON_DAYS + STEP_DAYS, STEP_DAYS)
SHAPES: dict[Shape, float] = {"exponential": 0.4, "logistic": 0.4, "changing": 0.2}
NEGATIVE_BINOMIAL_SHARE = 0.7
# Within what the two published rates span, .035 to .141 a day.
RATES = (0.03, 0.14)
THRESHOLDS, SPARSEST = (5.0, 600.0), 0.02
STARTS_BELOW_LOG = (1.5, 6.0)
# Where growth stops, in thresholds: some seasons never reach it.
CROWDED_AT = (0.7, 30.0)
DAY_NOISES = (0.05, 0.40)
BAGS, DAYS_BETWEEN_ROUNDS = (10, 20), (7, 14)
K_RANGE, SIGMA_RANGE = (0.4, 3.0), (0.8, 1.3)
# 80 to 90 percent (common practice); each season's own is drawn, and not known.
RECOVERY = BetaRecovery(162.15, 27.83)
# A wash with more animals is counted in 20 of a dish's 208 cells.
COUNTED_WHOLE_UP_TO, PART_COUNTED = 150, 20 / 208


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedSeason:
    """A season's rounds, and the truth behind them.

    crossing_day: when the block's true mean first reaches the threshold; inf where it
    does not by the season's end. log_means: shape of DAYS, the true curve.
    """

    threshold: float
    shape: Shape
    leaves: Leaves
    crossing_day: float
    log_means: FloatArray
    rounds: list[CountedRound]

    def rate_on(self, day: float) -> float:
        """Give the true rate of growth on a day, per day."""
        return float(np.interp(day, DAYS, np.gradient(self.log_means, STEP_DAYS)))


def simulate_season(rng: np.random.Generator) -> SimulatedSeason:
    """Make up one season.

    rng: where all its randomness comes from.

    Growth is exponential (0.4), logistic with growth stopping at 0.7 to 30 thresholds
    (0.4), or with a rate that rises and falls through the season (0.2). Rounds are 7 to
    14 days apart, of 10 to 20 bags; leaves vary as a negative binomial's (0.7) or as
    lognormal means with Poisson counts; each round's day has noise of its own; the
    recovery is drawn once a season; full washes are counted in part.
    Raises nothing.
    Source: own invention; rates about those published for Calepitrimerus vitis.
    """
    threshold = _log_uniform(rng, THRESHOLDS)
    shape: Shape = list(SHAPES)[int(rng.choice(len(SHAPES), p=list(SHAPES.values())))]
    below = rng.uniform(*STARTS_BELOW_LOG)
    start = max(log(threshold) - below, log(SPARSEST))
    curve = _curve(shape, start, log(threshold), rng)
    above = np.flatnonzero(curve >= log(threshold))
    clumped = rng.random() < NEGATIVE_BINOMIAL_SHARE
    leaves: Leaves = "negative binomial" if clumped else "lognormal"
    return SimulatedSeason(
        threshold=threshold,
        shape=shape,
        leaves=leaves,
        crossing_day=float(DAYS[above[0]]) if above.size else inf,
        log_means=curve,
        rounds=_rounds(curve, leaves, rng),
    )


def _log_uniform(rng: np.random.Generator, ends: tuple[float, float]) -> float:
    return float(np.exp(rng.uniform(log(ends[0]), log(ends[1]))))


def _curve(
    shape: Shape, start: float, log_threshold: float, rng: np.random.Generator
) -> FloatArray:
    rate = rng.uniform(*RATES)
    if shape == "changing":
        middle, width = rng.uniform(30, 110), rng.uniform(25, 50)
        rates = rate * (0.3 + 0.9 * np.exp(-(((DAYS - middle) / width) ** 2) / 2))
        grown = np.cumsum(rates) * STEP_DAYS
        changing: FloatArray = start + grown - grown[0]
        return changing
    straight: FloatArray = start + rate * DAYS
    if shape == "exponential":
        return straight
    crowded = log_threshold + log(_log_uniform(rng, CROWDED_AT))
    return straight - np.log1p(np.exp(straight - crowded))


def _rounds(
    curve: FloatArray, leaves: Leaves, rng: np.random.Generator
) -> list[CountedRound]:
    shortest, longest = DAYS_BETWEEN_ROUNDS
    usual = int(rng.integers(shortest, longest + 1))
    gaps = usual + rng.integers(-1, 2, size=30)
    days = np.cumsum(np.concatenate([[rng.integers(0, shortest)], gaps]))
    noise = rng.uniform(*DAY_NOISES)
    bags = int(rng.integers(BAGS[0], BAGS[1] + 1))
    recovered = rng.beta(RECOVERY.a, RECOVERY.b)
    clumping = _log_uniform(rng, K_RANGE)
    if leaves == "lognormal":
        clumping = rng.uniform(*SIGMA_RANGE)
    rounds = []
    for day in days[days < SEASON_DAYS]:
        mean = np.exp(np.interp(day, DAYS, curve) + noise * rng.normal())
        washed_off = rng.poisson(
            recovered * mean * _factors(leaves, clumping, bags, rng)
        )
        shares = np.where(washed_off > COUNTED_WHOLE_UP_TO, PART_COUNTED, 1.0)
        rounds.append(
            CountedRound(
                day=float(day),
                counts=rng.binomial(washed_off, shares).astype(np.float64),
                exposures=shares * RECOVERY.mean,
            )
        )
    return rounds


def _factors(
    leaves: Leaves, clumping: float, bags: int, rng: np.random.Generator
) -> FloatArray:
    """Draw leaves' means over the block's."""
    if leaves == "negative binomial":
        return rng.gamma(clumping, 1 / clumping, size=bags)
    return np.exp(clumping * rng.normal(size=bags) - clumping**2 / 2)
