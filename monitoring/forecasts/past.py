"""How earlier forecasts would have held, against crossings as later rounds saw them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import log
from typing import Literal, TypeAlias

from monitoring.estimation.forecast import FEWEST_ROUNDS, Outcome
from monitoring.forecasts.outlook import Outlook, growth_of, outlook_of, usual_growth
from monitoring.forecasts.series import Series, Subject, Visit
from monitoring.models import Organism, Round
from monitoring.thresholds import ThresholdInForce

# A page that makes more would keep its reader waiting.
MOST_FORECASTS = 300
Verdict: TypeAlias = Literal["held", "early", "late", "open", "treated", "no date"]


@dataclass(frozen=True, slots=True)
class PastForecast:
    """A forecast as it would have been told at a round, and what came.

    crossed_on: by straight lines between the logarithms of the rounds' densities; None
    where no later round of the season was above. `verdict` is "early" where the
    crossing came before the interval, "late" where after it or not at all, "open" where
    the season's rounds end too soon to tell, "treated" where a treatment came between.
    """

    subject: Subject
    organism: Organism
    level: float
    made_at: Round
    outcome: Outcome
    low: date | None
    day: date | None
    high: date | None
    crossed_on: date | None
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class PastSummary:
    """Past forecasts counted; `judged` are those with a date that can be judged."""

    forecasts: int
    judged: int
    held: int
    early: int
    late: int
    open: int
    treated: int
    outcomes: dict[str, int]


def past_forecasts(
    series: Mapping[Subject, Series],
    thresholds: Sequence[ThresholdInForce],
    organisms: Mapping[int, Organism],
) -> list[PastForecast]:
    """Forecast at every round before each season's crossing; newest first.

    Thresholds are those in force now, also for seasons before they were set. The
    newest seasons are taken first, and no other once there are MOST_FORECASTS.
    """
    seasons = [
        (season, series[subject], threshold)
        for threshold in thresholds
        if (subject := _subject_of(threshold)) is not None and subject in series
        for season in series[subject].seasons()
    ]
    seasons.sort(key=lambda one: one[0][-1].day, reverse=True)
    found: list[PastForecast] = []
    for season, of_subject, threshold in seasons:
        if len(found) >= MOST_FORECASTS:
            break
        organism = organisms[threshold.organism_id]
        found += _of_season(season, of_subject, organism, threshold.level)
    return sorted(found, key=lambda one: one.made_at.collected_on, reverse=True)


def _subject_of(threshold: ThresholdInForce) -> Subject | None:
    """Give what a density's threshold watches; None for a ratio's."""
    if threshold.prey_id is not None:
        return None
    return Subject(threshold.block_id, threshold.tissue, threshold.organism_id)


def summary_of(forecasts: Sequence[PastForecast]) -> PastSummary:
    """Count past forecasts by what became of them."""
    verdicts = [one.verdict for one in forecasts]
    outcomes: dict[str, int] = {}
    for one in forecasts:
        outcomes[one.outcome] = outcomes.get(one.outcome, 0) + 1
    judged = sum(verdicts.count(one) for one in ("held", "early", "late"))
    return PastSummary(
        forecasts=len(forecasts),
        judged=judged,
        held=verdicts.count("held"),
        early=verdicts.count("early"),
        late=verdicts.count("late"),
        open=verdicts.count("open"),
        treated=verdicts.count("treated"),
        outcomes=outcomes,
    )


def crossing_seen(season: Sequence[Visit], level: float) -> date | None:
    """Give the day on which the densities between two rounds first reach a level.

    None where no round is above after one below, and where the first is above.
    """
    known = [
        (visit.day, visit.density.median)
        for visit in season
        if visit.density is not None and visit.density.median
    ]
    for (before_on, before), (after_on, after) in pairwise(known):
        if before >= level:
            return None
        if after >= level:
            share = log(level / before) / log(after / before)
            days = (after_on - before_on).days
            return date.fromordinal(before_on.toordinal() + round(share * days))
    return None


def _of_season(
    season: Sequence[Visit], series: Series, organism: Organism, level: float
) -> Iterator[PastForecast]:
    if not season[0].density or (season[0].density.median or 0.0) >= level:
        return
    crossed_on = crossing_seen(season, level)
    last_on = season[-1].day
    for visit in season[FEWEST_ROUNDS - 1 : -1]:
        if crossed_on is not None and visit.day >= crossed_on:
            return
        growth = growth_of(season, series, until=visit.day)
        outlook = outlook_of(growth, level=level, usual=usual_growth(organism.code))
        if outlook is None:
            continue
        treated = series.latest_treatment(until=crossed_on or last_on, since=visit.day)
        yield PastForecast(
            subject=series.subject,
            organism=organism,
            level=level,
            made_at=visit.round,
            outcome=outlook.forecast.outcome,
            low=outlook.low,
            day=outlook.day,
            high=outlook.high,
            crossed_on=crossed_on,
            verdict=_verdict(outlook, crossed_on, last_on, treated=treated is not None),
        )


def _verdict(
    outlook: Outlook, crossed_on: date | None, last_on: date, *, treated: bool
) -> Verdict:
    low, high = outlook.low, outlook.high
    if low is None or high is None:
        return "no date"
    if treated:
        return "treated"
    if crossed_on is None:
        return "late" if high < last_on else "open"
    if low <= crossed_on <= high:
        return "held"
    return "early" if crossed_on < low else "late"
