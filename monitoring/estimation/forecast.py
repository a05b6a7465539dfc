"""When a block's density will cross a threshold, as far as its rounds can tell."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log
from typing import Literal, TypeAlias

import numpy as np
from scipy.special import digamma, polygamma

from monitoring.estimation.growth_paths import (
    GrowthPaths,
    Outlook,
    UsualGrowth,
    follow_growth,
)
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.round_likelihoods import bags_in_a_row, round_likelihoods
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    each_bag,
    numbers,
    positive,
    proportion,
    whole_counts,
)

Outcome: TypeAlias = Literal[
    "date", "too_few_rounds", "none_found", "above", "beyond", "unsure"
]
# Part of every figure made; a change of numbers changes the version.
FORECAST_VERSION = "1"
# Rust mites on vines: r_m .035 a day at 17 C and .141 at 25 C in the laboratory; in the
# field predators, weather and rain take from it, so the middle is held lower.
RUST_MITE_GROWTH = UsualGrowth(mean=0.05, sd=0.05, keeps_for_days=150.0)
PUBLISHED_RATES = (0.035, 0.141)
FEWEST_ROUNDS = 3
# No date is told further ahead than this, or half the time looked back on if longer.
HORIZON_DAYS = 14.0
# An interval that ends later than this is no use to a grower, and is not believed.
LATEST_END_DAYS = 60.0
LOOKED_AHEAD: FloatArray = np.arange(0.0, LATEST_END_DAYS + 0.25, 0.5)
# Of the rate: its middle, and the ends of an interval that holds 95 times in 100.
RATE_PROBABILITIES: FloatArray = np.array([0.5, 0.025, 0.975])
EVEN_ODDS = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedRound:
    """The bags of one round.

    day: in days since a date common to all rounds. counts: shape (bags,), animals seen.
    exposures: shape (bags,) or one for all: units in the bag times the proportion
    counted times the mean recovery, above 0.
    """

    day: float
    counts: Numbers
    exposures: Numbers | float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossingForecast:
    """When the density is forecast to cross a threshold, or why that cannot be told.

    `outcome` is "date" exactly when `day`, `low` and `high` are given, in days like the
    rounds'; `low` is the newest round's day where it may be above already. `reason` is
    in words. The rate is the growth at the newest round, per day, with 95 % interval.
    """

    outcome: Outcome
    reason: str
    day: float | None
    low: float | None
    high: float | None
    confidence: float
    threshold: float
    newest_day: float
    horizon_days: float
    rate: float | None
    rate_low: float | None
    rate_high: float | None
    paths: GrowthPaths | None
    recovery: float | BetaRecovery

    def chance_above(self, days: Numbers) -> FloatArray:
        """Give the chance that the density is above the threshold on days."""
        seen = self._outlook(numbers("days", days))
        return seen.chance_above(log(self.threshold))

    def densities(self, days: Numbers, probability: float) -> FloatArray:
        """Give the densities not exceeded with a probability in (0, 1) on days."""
        proportion("probability", probability)
        seen = self._outlook(numbers("days", days))
        found: FloatArray = np.exp(seen.quantiles(np.array([probability]))[0])
        return found

    def _outlook(self, days: FloatArray) -> Outlook:
        if self.paths is None:
            raise EstimationError("rounds", "gave no growth to follow")
        return _with_recovery(
            self.paths.log_means(days - self.newest_day), self.recovery
        )


def forecast_crossing(
    rounds: Sequence[CountedRound],
    *,
    threshold: float,
    recovery: float | BetaRecovery = 1.0,
    usual: UsualGrowth = RUST_MITE_GROWTH,
    confidence: float = 0.8,
) -> CrossingForecast:
    """Forecast when the density crosses a threshold, from a season's rounds.

    rounds: of one season without a treatment between, in order of their days.
    threshold: per unit, above 0. recovery: what the newest round's mean recovery is
    known as; its uncertainty is common to all rounds. usual: what is held of the growth
    rate beforehand. confidence: of the interval of the date, in (0, 1).

    Raises EstimationError if a precondition fails. Growth may wander, but neither a
    treatment to come nor the end of a season is foreseen.
    Source: chance that a Gaussian process of ln density lies above the threshold (see
    `follow_growth`); coverage by simulation, `backtest`.
    """
    positive("threshold", threshold)
    proportion("confidence", confidence)
    days, counts, exposures = _checked(rounds)
    likelihoods = round_likelihoods(bags_in_a_row(counts, exposures))
    seen = sum(float(one.sum()) for one in counts)
    return forecast_from_likelihoods(
        days,
        likelihoods if seen else None,
        threshold=threshold,
        recovery=recovery,
        usual=usual,
        confidence=confidence,
    )


def forecast_from_likelihoods(
    days: FloatArray,
    likelihoods: FloatArray | None,
    *,
    threshold: float,
    recovery: float | BetaRecovery,
    usual: UsualGrowth,
    confidence: float,
) -> CrossingForecast:
    """Forecast from what the rounds' counts say of each mean.

    days: shape (rounds,), rising. likelihoods: shape (rounds, nodes), as
    `round_likelihoods` gives them; None where no animal was found in any round.
    threshold, recovery, usual, confidence: as in `forecast_crossing`.

    Raises nothing: arguments were checked.
    Source: as `forecast_crossing`.
    """
    span = float(days[-1] - days[0])
    horizon = max(HORIZON_DAYS, span / 2)
    paths = None
    rates: list[float | None] = [None, None, None]
    outcome, reason, dates = _before_looking(days, likelihoods)
    if likelihoods is not None and not outcome:
        paths = follow_growth(days, likelihoods, usual)
        ahead = _with_recovery(paths.log_means(LOOKED_AHEAD), recovery)
        chances = np.maximum.accumulate(ahead.chance_above(log(threshold)))
        dates = _dates(chances, confidence)
        outcome, reason = _judge(chances, dates, horizon)
        rates = list(paths.rate_now().quantiles(RATE_PROBABILITIES)[:, 0].tolist())
    told = outcome == "date"
    day, low, high = (
        float(days[-1]) + date if told and date is not None else None for date in dates
    )
    return CrossingForecast(
        outcome=outcome or "unsure",
        reason=reason,
        day=day,
        low=low,
        high=high,
        confidence=confidence,
        threshold=threshold,
        newest_day=float(days[-1]),
        horizon_days=horizon,
        rate=rates[0],
        rate_low=rates[1],
        rate_high=rates[2],
        paths=paths,
        recovery=recovery,
    )


Dates: TypeAlias = tuple[float | None, float | None, float | None]


def _before_looking(
    days: FloatArray, likelihoods: FloatArray | None
) -> tuple[Outcome | None, str, Dates]:
    nothing: Dates = (None, None, None)
    if days.size < FEWEST_ROUNDS:
        rounds = "one round is" if days.size == 1 else f"{days.size} rounds are"
        return (
            "too_few_rounds",
            f"{rounds} too few: a date needs {FEWEST_ROUNDS}",
            nothing,
        )
    if likelihoods is None:
        return "none_found", "no animal was found in any of the rounds", nothing
    return None, "", nothing


def _dates(chances: FloatArray, confidence: float) -> Dates:
    """Find on which day the chance of being above reaches middle and both ends."""
    tail = (1 - confidence) / 2
    middle, low, high = (
        _first_reached(chances, at) for at in (EVEN_ODDS, tail, 1 - tail)
    )
    return middle, low, high


def _first_reached(chances: FloatArray, wanted: float) -> float | None:
    if chances[-1] < wanted:
        return None
    if chances[0] >= wanted:
        return 0.0
    after = int(np.searchsorted(chances, wanted))
    before = chances[after - 1]
    share = (wanted - before) / (chances[after] - before)
    return float(LOOKED_AHEAD[after - 1] + share * 0.5)


def _judge(chances: FloatArray, dates: Dates, horizon: float) -> tuple[Outcome, str]:
    middle, _, high = dates
    if chances[0] >= EVEN_ODDS:
        return "above", "the newest round is more likely above the threshold than not"
    if middle is None or middle > horizon:
        return (
            "beyond",
            f"a crossing is more than {horizon:.0f} days ahead, further than these"
            " rounds can see",
        )
    if high is None:
        return "unsure", "how fast numbers grow is too unsure for a date"
    return "date", ""


def _with_recovery(outlook: Outlook, recovery: float | BetaRecovery) -> Outlook:
    """Add what is not known of the recovery that the rounds have in common."""
    if not isinstance(recovery, BetaRecovery):
        return outlook
    total = recovery.a + recovery.b
    middle = float(digamma(recovery.a) - digamma(total)) - log(recovery.mean)
    variance = float(polygamma(1, recovery.a) - polygamma(1, total))
    return Outlook(
        outlook.weights,
        outlook.means - middle,
        np.sqrt(outlook.deviations**2 + variance),
    )


def _checked(
    rounds: Sequence[CountedRound],
) -> tuple[FloatArray, list[FloatArray], list[FloatArray]]:
    if not rounds:
        raise EstimationError("rounds", "needs one round or more")
    days = numbers("day", [one.day for one in rounds])
    if (np.diff(days) <= 0).any():
        raise EstimationError("rounds", "must be on different days, the oldest first")
    counts = [whole_counts("counts", one.counts) for one in rounds]
    exposures = [
        each_bag("exposures", [one.exposures], np.array([seen.size]))
        for one, seen in zip(rounds, counts, strict=True)
    ]
    if any((one <= 0).any() for one in exposures):
        raise EstimationError("exposures", "must be above 0")
    return days, counts, exposures
