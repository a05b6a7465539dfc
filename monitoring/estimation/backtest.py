"""How often forecasts of a crossing hold, on simulated seasons with a known truth."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import nan, sqrt
from typing import get_args

import numpy as np

from monitoring.estimation.forecast import (
    HORIZON_DAYS,
    RUST_MITE_GROWTH,
    CrossingForecast,
    Outcome,
    forecast_from_likelihoods,
)
from monitoring.estimation.round_likelihoods import bags_in_a_row, round_likelihoods
from monitoring.estimation.season_simulation import (
    RECOVERY,
    SHAPES,
    SimulatedSeason,
    simulate_season,
)
from monitoring.estimation.validation import EstimationError

OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)
# Chances of a crossing within HORIZON_DAYS are compared with what came, in these parts.
CHANCE_PARTS = ((0.0, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One forecast on a simulated season, made at a round before the true crossing.

    `low`, `day`, `high` and `true_day` count from that round; true_day may be inf.
    `chance_soon` is of being above the threshold HORIZON_DAYS later.
    """

    season: int
    shape: str
    leaves: str
    rounds: int
    outcome: Outcome
    low: float
    day: float
    high: float
    true_day: float
    chance_soon: float
    above_soon: bool
    rate_held: bool

    @property
    def held(self) -> bool:
        """Whether the interval held the true day."""
        return self.low <= self.true_day <= self.high


def backtest(*, seasons: int, seed: int) -> list[Trial]:
    """Forecast at every round before the crossing of simulated seasons.

    seasons: how many, 1 or more. seed: of the first random stream, 0 or more; each
    season has a stream of its own, so that the first so many are always the same.

    Forecasts are made from the third round on. Raises EstimationError if a precondition
    fails.
    Source: simulation, see `simulate_season`.
    """
    if seasons < 1:
        raise EstimationError("seasons", "must be 1 or more")
    if seed < 0:
        raise EstimationError("seed", "must be 0 or more")
    return [
        trial
        for number in range(seasons)
        for trial in _trials(
            number, simulate_season(np.random.default_rng([seed, number]))
        )
    ]


def _trials(number: int, season: SimulatedSeason) -> Iterator[Trial]:
    counts = [np.asarray(one.counts, dtype=np.float64) for one in season.rounds]
    exposures = [np.asarray(one.exposures, dtype=np.float64) for one in season.rounds]
    likelihoods = round_likelihoods(bags_in_a_row(counts, exposures))
    days = np.array([one.day for one in season.rounds])
    found = np.cumsum([one.sum() for one in counts])
    for rounds in range(3, days.size + 1):
        newest = float(days[rounds - 1])
        if newest >= season.crossing_day:
            return
        forecast = forecast_from_likelihoods(
            days[:rounds],
            likelihoods[:rounds] if found[rounds - 1] else None,
            threshold=season.threshold,
            recovery=RECOVERY,
            usual=RUST_MITE_GROWTH,
            confidence=0.8,
        )
        yield _trial(number, season, rounds, forecast)


def _trial(
    number: int, season: SimulatedSeason, rounds: int, forecast: CrossingForecast
) -> Trial:
    newest = forecast.newest_day
    soon = newest + HORIZON_DAYS
    ends = (forecast.low, forecast.day, forecast.high)
    low, day, high = (nan if one is None else one - newest for one in ends)
    looked = forecast.paths is not None
    true_rate = season.rate_on(newest)
    return Trial(
        season=number,
        shape=season.shape,
        leaves=season.leaves,
        rounds=rounds,
        outcome=forecast.outcome,
        low=low,
        day=day,
        high=high,
        true_day=season.crossing_day - newest,
        chance_soon=float(forecast.chance_above([soon])[0]) if looked else nan,
        above_soon=season.crossing_day <= soon,
        rate_held=(forecast.rate_low or 0.0)
        <= true_rate
        <= (forecast.rate_high or 0.0),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """How often the intervals of a kind of forecasts held, each a share.

    standard_error: of `held`, Monte Carlo, forecasts of a season taken as one.
    early: the true day was before the interval. late: after it, or never came.
    """

    label: str
    dates: int
    seasons: int
    held: float
    standard_error: float
    early: float
    late: float
    median_width_days: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Reliability:
    """Chances told of being above a fortnight later, and how often that came."""

    low: float
    high: float
    forecasts: int
    told: float
    came: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BacktestTable:
    """A backtest in figures; `coverage` begins with all forecasts together."""

    forecasts: int
    outcomes: dict[str, int]
    coverage: list[Coverage]
    reliability: list[Reliability]
    rates_held: float
    near: int
    near_with_date: int


PARTS: tuple[tuple[str, Callable[[Trial], bool]], ...] = (
    ("all forecasts with a date", lambda _: True),
    *(
        (f"{shape} growth", lambda one, shape=shape: one.shape == shape)
        for shape in SHAPES
    ),
    ("negative binomial leaves", lambda one: one.leaves == "negative binomial"),
    ("lognormal leaves", lambda one: one.leaves == "lognormal"),
    ("3 rounds", lambda one: one.rounds == 3),
    ("4 or 5 rounds", lambda one: one.rounds in {4, 5}),
    ("6 rounds or more", lambda one: one.rounds > 5),
    ("middle up to 7 days ahead", lambda one: one.day <= 7),
    ("middle 7 to 14 days ahead", lambda one: 7 < one.day <= 14),
    ("middle more than 14 days ahead", lambda one: one.day > 14),
)


def summarise(trials: Sequence[Trial]) -> BacktestTable:
    """Put trials into a table.

    trials: of `backtest`, at least one.

    Raises EstimationError without any.
    Source: Monte Carlo error of a ratio of sums over seasons (Cochran 1977, Sampling
    Techniques, ch. 6, from memory).
    """
    if not trials:
        raise EstimationError("trials", "needs one or more")
    dated = [one for one in trials if one.outcome == "date"]
    looked = [one for one in trials if one.chance_soon == one.chance_soon]
    near = [one for one in trials if one.above_soon]
    coverage = [
        _coverage(label, some)
        for label, belongs in PARTS
        if (some := [one for one in dated if belongs(one)])
    ]
    return BacktestTable(
        forecasts=len(trials),
        outcomes={
            name: sum(one.outcome == name for one in trials) for name in OUTCOMES
        },
        coverage=coverage,
        reliability=list(_reliability(looked)),
        rates_held=_mean([one.rate_held for one in looked]),
        near=len(near),
        near_with_date=sum(one.outcome == "date" for one in near),
    )


def _coverage(label: str, trials: Sequence[Trial]) -> Coverage:
    held = np.array([one.held for one in trials], dtype=np.float64)
    share = float(held.mean())
    seasons, place = np.unique([one.season for one in trials], return_inverse=True)
    off = np.bincount(place, weights=held - share).astype(np.float64)
    return Coverage(
        label=label,
        dates=len(trials),
        seasons=seasons.size,
        held=share,
        standard_error=sqrt(float((off**2).sum())) / len(trials),
        early=_mean([one.true_day < one.low for one in trials]),
        late=_mean([one.true_day > one.high for one in trials]),
        median_width_days=float(np.median([one.high - one.low for one in trials])),
    )


def _reliability(trials: Sequence[Trial]) -> Iterator[Reliability]:
    for low, high in CHANCE_PARTS:
        some = [
            one
            for one in trials
            if low <= one.chance_soon < high or one.chance_soon == high == 1
        ]
        if some:
            yield Reliability(
                low=low,
                high=high,
                forecasts=len(some),
                told=_mean([one.chance_soon for one in some]),
                came=_mean([one.above_soon for one in some]),
            )


def _mean(values: Sequence[float] | Sequence[bool]) -> float:
    return float(np.mean(values)) if values else nan
