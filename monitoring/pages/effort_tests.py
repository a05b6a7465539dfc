"""The parts on telling two densities apart: by animals, and by occupied bags."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from math import ceil, exp, floor, inf, log, sqrt
from statistics import mean
from typing import Any

from monitoring.effort.asked import Plan, Wanted
from monitoring.effort.plans import Scale, numbers_of_bags
from monitoring.effort.trials import TestTrial
from monitoring.estimation import EstimationError, presence_test, sequential_test
from monitoring.estimation.sequential import Lines, PresenceTest
from monitoring.figures.plots import Axis, Curve, Points, plot
from monitoring.figures.tones import Tone, tone_of
from monitoring.pages.effort_precision import numbers_on_card
from monitoring.words import day, figure, in_hundred, stated

LOWER, UPPER = Tone("teal", "diamond", "longdash"), Tone("plum", "square", "solid")
FORMULA = Tone("plum", "square", "solid")
# Curves reach so many times beyond the two densities, at so many densities.
BEYOND, CURVE_POINTS = 8.0, 60
CHANCE, BAGS = "chance of “lower”", "bags on average"
# Numbers of animals from which a bag might be held to be occupied.
STEPS = (1, 2, 3, 5, 10, 20, 30, 50, 75, 100, 150, 200, 300, 500, 1000)
NONE_LEFT = "every run came to a decision"
# Another number is taken, unasked, or named where it takes so much less.
WORTH_TAKING = 0.5


@dataclass(frozen=True, slots=True)
class TestLine:
    """One line of a printed card: totals at which a side is taken; None for never."""

    bags: int
    lower: int | None
    upper: int | None


@dataclass(frozen=True, slots=True)
class TestPart:
    """A sequential test, its curves, and what it gave on the group's own rounds."""

    refused: str = ""
    test: Lines | None = None
    figures: list[tuple[str, str, dict[str, Any]]] = field(default_factory=list)
    card: list[TestLine] = field(default_factory=list)
    promised: str = ""
    tried: list[str] = field(default_factory=list)
    trials: list[tuple[TestTrial, float]] = field(default_factory=list)
    hint: str = ""

    @property
    def occupied(self) -> str:
        """What makes a bag an occupied one."""
        if not isinstance(self.test, PresenceTest):
            return "enough animals"
        if self.test.animals == 1:
            return "any animal at all"
        return f"{self.test.animals} animals or more"


def test_part(plan: Plan) -> TestPart | None:
    """Work out the test on counts; None where no two densities are known."""
    given = _given(plan)
    if given is None:
        return None
    try:
        test = sequential_test(**given)
    except EstimationError as error:
        return TestPart(refused=error.sentence)
    return _part(plan, test, hint="")


def presence_part(plan: Plan) -> TestPart | None:
    """Work out the test on occupied bags; None where no two densities are known."""
    given, asked = _given(plan), plan.wanted.animals
    if given is None:
        return None
    takes = _takes(given, sorted({*STEPS, asked or 1}))
    best = min(takes, key=lambda one: takes[one], default=1)
    usual = takes.get(asked or 1, inf)
    better = takes.get(best, inf) < WORTH_TAKING * usual
    animals = asked or (best if better else 1)
    try:
        test = presence_test(**given, animals=animals)
    except EstimationError as error:
        return TestPart(refused=error.sentence, hint=_named(best, takes))
    if not better:
        return _part(plan, test, hint="")
    if asked:
        return _part(plan, test, hint=_named(best, takes))
    long = (
        "a number of bags without end" if usual == inf else f"about {usual:,.0f} bags"
    )
    return _part(
        plan,
        test,
        hint=f"Any animal at all would take {long} where it takes longest, since nearly"
        f" every bag holds some; so a bag is held to be occupied from {animals} on.",
    )


def _takes(given: dict[str, float], numbers: Sequence[int]) -> dict[int, float]:
    """Give the longest average of bags by the number of animals that occupies one."""
    takes = {}
    for number in numbers:
        try:
            takes[number] = _longest(presence_test(**given, animals=number))
        except EstimationError:
            continue
    return takes


def _named(best: int, takes: dict[int, float]) -> str:
    if best not in takes:
        return ""
    return (
        f"Held to be occupied from {best} animals on, bags would tell with about"
        f" {takes[best]:.0f} where it takes longest."
    )


def _given(plan: Plan) -> dict[str, float] | None:
    """Bring the two densities to the animals counted, with one k for both.

    It is the k at the mean between them, on the scale on which densities move.
    """
    if plan.wanted.two_densities is None:
        return None
    lower, upper = (plan.scale.counted(one) for one in plan.wanted.two_densities)
    return {
        "lower_mean": lower,
        "upper_mean": upper,
        "k": plan.clumping.k_at(sqrt(lower * upper)),
        "alpha": plan.wanted.alpha,
        "beta": plan.wanted.beta,
    }


def _part(plan: Plan, test: Lines, *, hint: str) -> TestPart:
    own, at_lower, at_upper = plan.trials.tests(test)
    return TestPart(
        test=test,
        figures=_figures(plan, test, own),
        card=_card(test, plan.wanted),
        promised=_promised(plan.wanted, test),
        tried=[
            _tried(plan, at_lower, "upper"),
            _tried(plan, at_upper, "lower"),
        ],
        trials=[(one, test.acceptance_probability(one.mean)) for one in own],
        hint=hint,
    )


def _longest(test: Lines) -> float:
    """Give the average number of bags where it takes longest, between the means."""
    middle = sqrt(test.lower_mean * test.upper_mean)
    return max(
        test.average_sample_number(at)
        for at in (test.lower_mean, middle, test.upper_mean)
    )


def _card(test: Lines, wanted: Wanted) -> list[TestLine]:
    bags = numbers_of_bags(wanted.most)
    lower, upper = test.lines_at(bags)
    by_presence = isinstance(test, PresenceTest)
    lines = []
    for number in numbers_on_card(1, wanted.most):
        low, high = floor(lower[number - 1] + 1e-9), ceil(upper[number - 1] - 1e-9)
        never = by_presence and high > number
        lines.append(
            TestLine(number, low if low >= 0 else None, None if never else max(high, 0))
        )
    return lines


def _promised(wanted: Wanted, test: Lines) -> str:
    lower, upper = wanted.two_densities or (0.0, 0.0)
    return (
        f"By the formulas: called upper {100 * wanted.alpha:.3g} times in 100 at"
        f" {stated(lower)}, called lower {100 * wanted.beta:.3g} times in 100 at"
        f" {stated(upper)}; {test.average_sample_number(test.lower_mean):.0f} bags on"
        f" average at the lower density,"
        f" {test.average_sample_number(test.upper_mean):.0f} at the upper,"
        f" {_longest(test):.0f} where it takes longest. The formulas leave out by"
        " how much the last bag overshoots a line, so their numbers of bags are too"
        " low: for clumped counts mostly by a sixth to a third."
    )


def _tried(plan: Plan, trials: Sequence[TestTrial], wrong: str) -> str:
    """Say how often rounds brought to one density were called the other."""
    lower, upper = plan.wanted.two_densities or (0.0, 0.0)
    density = stated(lower if wrong == "upper" else upper)
    if not trials:
        return (
            f"No round of your own is as dense as {density}, so the test could not be"
            " tried there."
        )
    called = mean(
        one.runs.upper if wrong == "upper" else one.runs.lower for one in trials
    )
    undecided = mean(one.runs.unfinished for one in trials)
    number = len(trials)
    last = f"{plan.wanted.most} bags undecided and went to the nearer line"
    end = f"{in_hundred(undecided)} runs came to {last}" if undecided else NONE_LEFT
    return (
        f"On your own {number} round{'s' if number > 1 else ''} at least so dense,"
        f" thinned to {density}: called {wrong} {in_hundred(called)} times,"
        f" {mean(one.runs.average_units for one in trials):.0f} bags on average; {end}."
    )


def _figures(
    plan: Plan, test: Lines, own: Sequence[TestTrial]
) -> list[tuple[str, str, dict[str, Any]]]:
    kind = "presence" if isinstance(test, PresenceTest) else "test"
    called = [one.runs.lower for one in own]
    takes = [one.runs.average_units for one in own]
    chance = _curve_figure(
        plan, own, test.acceptance_probability, tried=called, title=CHANCE
    )
    bags = _curve_figure(plan, own, test.average_sample_number, tried=takes, title=BAGS)
    beside = "by the formula, with own rounds as points"
    return [
        (
            f"plot-{kind}-lines",
            "The two lines between which counting goes on.",
            _lines_figure(test, plan.wanted.most),
        ),
        (f"plot-{kind}-chance", f"Chance of calling it the lower, {beside}.", chance),
        (f"plot-{kind}-bags", f"Average number of bags, {beside}.", bags),
    ]


def _curve_figure(
    plan: Plan,
    own: Sequence[TestTrial],
    of: Callable[[float], float],
    *,
    tried: list[float],
    title: str,
) -> dict[str, Any]:
    """Draw what the formula says over densities, with own rounds as points."""
    subject, scale = plan.subject, plan.scale
    tone = tone_of(subject.organism.position)
    densities = _densities(plan.wanted)
    heights = [of(scale.counted(one)) for one in densities]
    lower, upper = plan.wanted.two_densities or (1.0, 1.0)
    return plot(
        Axis(f"{subject.organism.name} per {subject.tissue}", log=True),
        Axis(title),
        points=[_points(own, scale, tone, tried)] if own else [],
        curves=[Curve("by the formula", FORMULA, densities, heights)],
        marks=[(lower, "lower"), (upper, "upper")],
    )


def _densities(wanted: Wanted) -> list[float]:
    lower, upper = wanted.two_densities or (1.0, 1.0)
    low, high = log(lower / BEYOND), log(upper * BEYOND)
    step = (high - low) / (CURVE_POINTS - 1)
    return [exp(low + step * number) for number in range(CURVE_POINTS)]


def _points(
    own: Sequence[TestTrial], scale: Scale, tone: Tone, heights: list[float]
) -> Points:
    return Points(
        name="own rounds, drawn again",
        tone=tone,
        x=[scale.density(one.mean) for one in own],
        y=heights,
        labels=[
            f"{one.round.block_name}, {day(one.round.collected_on)}:"
            f" {figure(scale.density(one.mean))}; {figure(height)}"
            for one, height in zip(own, heights, strict=True)
        ],
    )


def _lines_figure(test: Lines, most: int) -> dict[str, Any]:
    bags = numbers_of_bags(most)
    lower, upper = test.lines_at(bags)
    by_presence = isinstance(test, PresenceTest)
    title = "occupied bags so far" if by_presence else "animals counted so far"
    return plot(
        Axis("bags so far"),
        Axis(title),
        curves=[
            Curve("upper at or above", UPPER, bags.tolist(), upper.tolist()),
            Curve(
                "lower at or below",
                LOWER,
                bags.tolist(),
                [value if value >= 0 else None for value in lower.tolist()],
            ),
        ],
    )
