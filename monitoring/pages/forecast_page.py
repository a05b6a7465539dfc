"""What the page of a block's forecast shows: sentence, chart, rounds, working."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from typing import Any

import numpy as np

from blocks.models import Block
from monitoring.estimation.forecast import FORECAST_VERSION, HORIZON_DAYS
from monitoring.figures.forecast import CrossingBar, Fan, forecast_figure
from monitoring.figures.season import Panel, Point
from monitoring.figures.tones import tone_of
from monitoring.forecasts.outlook import (
    CONFIDENCE,
    FRESH_FOR_DAYS,
    RUST_MITES,
    Growth,
    Outlook,
    growth_of,
    outlook_of,
    plain_fit,
    usual_growth,
)
from monitoring.forecasts.past import past_forecasts
from monitoring.forecasts.series import Series, Subject, Visit
from monitoring.models import Organism
from monitoring.pages.backtest_page import PastLine, line_of
from monitoring.pages.forecast_words import (
    crossing_words,
    growth_words,
    plain_words,
    plausible_words,
    soon_words,
)
from monitoring.pages.sentences import density_words
from monitoring.thresholds import ThresholdInForce
from monitoring.words import bags, day, figure, in_hundred, interval, several, stated

# The table of what is to come has a line for each of these days ahead.
AHEAD_DAYS = (0, 7, 14, 21, 28)
TAIL = (1 - CONFIDENCE) / 2


@dataclass(frozen=True, slots=True)
class Choice:
    """One tissue and organism with a threshold, as the page offers it."""

    organism: Organism
    threshold: ThresholdInForce

    @property
    def key(self) -> str:
        """What stands in the address."""
        return f"{self.threshold.tissue}-{self.organism.code}"


@dataclass(frozen=True, slots=True)
class AheadLine:
    """What is expected on one day."""

    day: date
    density: str
    chance: str


@dataclass(frozen=True, slots=True)
class UsedLine:
    """One round in the working; `why` where it was left out."""

    visit: Visit
    mean: str
    why: str


@dataclass(frozen=True, slots=True)
class ForecastPage:
    """Everything on the page for one choice."""

    choice: Choice
    sentence: str
    growth: str
    soon: str
    plausible: str
    notes: list[str]
    figure: dict[str, Any] | None
    summary: str
    ahead: list[AheadLine]
    rounds: list[UsedLine]
    plain: str
    prior: str
    version: str
    past: list[PastLine]


def choices_of(
    thresholds: Sequence[ThresholdInForce], organisms: Mapping[int, Organism]
) -> list[Choice]:
    """List the densities with a threshold, leaves first and in the group's order."""
    found = [
        Choice(organisms[one.organism_id], one)
        for one in thresholds
        if one.prey_id is None and one.organism_id in organisms
    ]
    tissues = ("leaf", "shoot", "bud")
    return sorted(
        found,
        key=lambda one: (
            not one.threshold.in_season,
            tissues.index(one.threshold.tissue),
            one.organism.position,
        ),
    )


def forecast_page(
    block: Block, choice: Choice, series: Mapping[Subject, Series], *, today: date
) -> ForecastPage:
    """Put together the page of one tissue and organism of a block."""
    threshold = choice.threshold
    subject = Subject(threshold.block_id, threshold.tissue, threshold.organism_id)
    of_subject = series.get(subject)
    growth = Growth([], [], None)
    if of_subject:
        growth = growth_of(of_subject.seasons()[-1], of_subject, until=today)
    outlook = outlook_of(
        growth, level=threshold.level, usual=usual_growth(choice.organism.code)
    )
    organisms = {choice.organism.pk: choice.organism}
    past = [
        line_of(one, block)
        for one in past_forecasts(series, [threshold], organisms)
        if one.outcome == "date"
    ]
    if outlook is None:
        return _without_rounds(choice, growth, past)
    forecast = outlook.forecast
    followed = forecast.paths is not None
    return ForecastPage(
        choice=choice,
        sentence=crossing_words(
            outlook, choice.organism, threshold.tissue, today=today
        ),
        growth=growth_words(forecast),
        soon=soon_words(outlook, threshold.tissue),
        plausible=plausible_words(
            forecast, is_rust_mites=choice.organism.code == RUST_MITES
        ),
        notes=_notes(choice, growth, today=today),
        figure=_figure(choice, outlook) if followed else None,
        summary=_summary(choice, outlook),
        ahead=_ahead(outlook) if followed else [],
        rounds=_rounds(growth),
        plain=plain_words(plain_fit(growth.used), threshold.level, outlook.newest_on),
        prior=_prior(choice.organism),
        version=FORECAST_VERSION,
        past=past,
    )


def _without_rounds(
    choice: Choice, growth: Growth, past: list[PastLine]
) -> ForecastPage:
    name = choice.organism.name
    if growth.treated_on is not None:
        why = f"no round was counted since the treatment of {day(growth.treated_on)}"
    else:
        on = several(choice.threshold.tissue)
        why = f"{name} were not counted on this block's {on} yet"
    return ForecastPage(
        choice=choice,
        sentence=f"No date for {name}: {why}.",
        growth="",
        soon="",
        plausible="",
        notes=[],
        figure=None,
        summary="",
        ahead=[],
        rounds=_rounds(growth),
        plain="",
        prior=_prior(choice.organism),
        version=FORECAST_VERSION,
        past=past,
    )


def _notes(choice: Choice, growth: Growth, *, today: date) -> list[str]:
    notes = []
    if growth.treated_on is not None:
        notes.append(
            f"Rounds up to the treatment of {day(growth.treated_on)} are left out:"
            " what grew before it says nothing of what grows after."
        )
    if not choice.threshold.in_season:
        notes.append("The threshold is out of its season today.")
    if any(visit.sample.uncountable for visit in growth.used):
        notes.append(
            "Uncountable bags are left out: there were more animals than these counts"
            " say, and a crossing may come earlier."
        )
    waiting = sum(len(visit.sample.missing) for visit in growth.used)
    if waiting:
        verb = "waits" if waiting == 1 else "wait"
        notes.append(f"{bags(waiting)} of these rounds {verb} to be counted.")
    newest = growth.used[-1].day
    if newest + timedelta(days=FRESH_FOR_DAYS) >= today > newest:
        notes.append(f"The newest round is {(today - newest).days} days old.")
    return notes


def _figure(choice: Choice, outlook: Outlook) -> dict[str, Any]:
    threshold, growth = choice.threshold, outlook.growth
    points = [
        Point(
            day=visit.day,
            median=visit.density.median,
            low=visit.density.low,
            high=visit.density.high,
            label=f"{day(visit.day)}: {density_words(visit.density)}",
        )
        for visit in growth.used
        if visit.density is not None and visit.density.median is not None
    ]
    panel = Panel(
        title=choice.organism.name,
        unit=f"per {threshold.tissue}",
        tone=tone_of(choice.organism.position),
        points=points,
        thresholds=[(threshold.level, f"threshold {stated(threshold.level)}")],
    )
    crossing = None
    if outlook.day and outlook.low and outlook.high:
        crossing = CrossingBar(
            low=outlook.low,
            day=outlook.day,
            high=outlook.high,
            level=threshold.level,
            words="crossing, 80 in 100",
        )
    return forecast_figure(panel, _fan(outlook), crossing)


def _fan(outlook: Outlook) -> Fan:
    forecast = outlook.forecast
    first = outlook.growth.used[0].day
    ahead = HORIZON_DAYS
    if forecast.high is not None:
        ahead = max(ahead, forecast.high - forecast.newest_day)
    days = (outlook.newest_on - first).days + ceil(ahead)
    shown = [first + timedelta(days=one) for one in range(days + 1)]
    at = np.array([float(one.toordinal()) for one in shown])
    low, median, high = (
        forecast.densities(at, chance).tolist() for chance in (TAIL, 0.5, 1 - TAIL)
    )
    return Fan(shown, low, median, high, "path of the mean, 80 in 100")


def _summary(choice: Choice, outlook: Outlook) -> str:
    count = len(outlook.growth.used)
    rounds = "1 round" if count == 1 else f"{count} rounds"
    return (
        f"{choice.organism.name.capitalize()} in {rounds} up to"
        f" {day(outlook.newest_on)}, with the path of the mean and what may follow,"
        f" against the threshold of {stated(choice.threshold.level)}."
    )


def _ahead(outlook: Outlook) -> list[AheadLine]:
    forecast = outlook.forecast
    at = forecast.newest_day + np.array(AHEAD_DAYS, dtype=np.float64)
    chances = forecast.chance_above(at)
    ends = [forecast.densities(at, chance) for chance in (TAIL, 0.5, 1 - TAIL)]
    return [
        AheadLine(
            day=outlook.newest_on + timedelta(days=ahead),
            density=f"{figure(float(middle))} ({interval(float(low), float(high))})",
            chance=in_hundred(float(chance)),
        )
        for ahead, low, middle, high, chance in zip(
            AHEAD_DAYS, *ends, chances, strict=True
        )
    ]


def _rounds(growth: Growth) -> list[UsedLine]:
    lines = [
        UsedLine(visit, figure(visit.mean_of_bags), "up to the last treatment")
        for visit in growth.left_out
    ]
    lines += [UsedLine(visit, figure(visit.mean_of_bags), "") for visit in growth.used]
    return lines[::-1]


def _prior(organism: Organism) -> str:
    usual = usual_growth(organism.code)
    known = "about what is published of rust mites"
    if organism.code != RUST_MITES:
        known = "little is known of it"
    return (
        f"{usual.mean:g} a day, standard deviation {usual.sd:g}, wandering over about"
        f" {usual.keeps_for_days:.0f} days ({known})"
    )
