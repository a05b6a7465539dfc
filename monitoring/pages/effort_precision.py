"""The part on a fixed precision: stop line, its card, and what it did in trials."""

from dataclasses import dataclass
from math import ceil, isfinite
from statistics import mean, median, quantiles
from typing import Any

from monitoring.effort.asked import Plan, Wanted
from monitoring.effort.plans import Clumping, numbers_of_bags
from monitoring.effort.trials import PrecisionTrial
from monitoring.figures.plots import Axis, Curve, plot
from monitoring.figures.tones import Tone
from monitoring.words import in_hundred

LINE = Tone("plum", "square", "solid")
# A card has every number of bags up to here, then each fifth.
EVERY_BAG, THEN_EACH = 20, 5
FEWEST_FOR_QUARTERS = 4


@dataclass(frozen=True, slots=True)
class CardLine:
    """One line of a printed card: bags so far, and the total at which to stop."""

    bags: int
    total: int | None


@dataclass(frozen=True, slots=True)
class PrecisionPart:
    """The stop line, and what it gave on the group's own rounds."""

    figure: dict[str, Any] | None
    summary: str
    card: list[CardLine]
    unreachable: str
    tried: str
    trials: list[PrecisionTrial]


def numbers_on_card(fewest: int, most: int) -> list[int]:
    """Choose the numbers of bags that a printed card shows."""
    shown = [
        number
        for number in range(fewest, most + 1)
        if number <= EVERY_BAG or number % THEN_EACH == 0
    ]
    return shown if shown and shown[-1] == most else [*shown, most]


def precision_part(plan: Plan) -> PrecisionPart:
    """Work out the stop line of a precision."""
    wanted = plan.wanted
    bags = numbers_of_bags(wanted.most)
    line = plan.clumping.stop_line(wanted.standard_error, bags)
    reached = [float(total) for total in line]
    shown = [
        n for n in range(wanted.fewest, wanted.most + 1) if isfinite(reached[n - 1])
    ]
    card = [
        CardLine(number, ceil(reached[number - 1] - 1e-9))
        for number in numbers_on_card(wanted.fewest, wanted.most)
        if isfinite(reached[number - 1])
    ]
    figure = None
    if shown:
        figure = plot(
            Axis("bags so far"),
            Axis("animals counted so far", log=True),
            curves=[
                Curve("stop at or above", LINE, shown, [reached[n - 1] for n in shown])
            ],
        )
    tried = plan.trials.precision(line) if shown else []
    return PrecisionPart(
        figure=figure,
        summary=_summary(card),
        card=card,
        unreachable="" if shown else _unreachable(wanted, plan.clumping),
        tried=_tried(wanted, tried),
        trials=tried,
    )


def _summary(card: list[CardLine]) -> str:
    if not card:
        return ""
    first, last = card[0], card[-1]
    return (
        f"Stop line: {first.total:,} animals at {first.bags} bags, falling to"
        f" {last.total:,} at {last.bags}."
    )


def _unreachable(wanted: Wanted, clumping: Clumping) -> str:
    least = ""
    if clumping.k:
        bags = 1 / (clumping.k * wanted.standard_error**2)
        least = f", which takes more than {bags:.0f} however dense the block is"
    return (
        f"Up to {wanted.most} bags never reach this precision{least}. Ask for a coarser"
        " one, or for more bags at most."
    )


def _tried(wanted: Wanted, trials: list[PrecisionTrial]) -> str:
    if not trials:
        return ""
    got = [100 * one.runs.precision for one in trials if isfinite(one.runs.precision)]
    spread = ""
    if len(got) >= FEWEST_FOR_QUARTERS:
        low, _, high = quantiles(got, n=4)
        spread = f" ({low:.0f} to {high:.0f} in the middle half of the rounds)"
    unfinished = mean(one.runs.unfinished for one in trials)
    words = (
        f"On your own {len(trials)} round{'s' if len(trials) > 1 else ''}: the standard"
        f" error came out at {median(got):.0f} in 100 of the mean{spread}, where the"
        f" line promises {100 * wanted.standard_error:.0f}; it took"
        f" {mean(one.runs.average_units for one in trials):.1f} bags on average, and"
        f" the mean came out {_aside(mean(one.runs.bias for one in trials))}."
    )
    if unfinished > 0:
        words += (
            f" In {in_hundred(unfinished)} runs {wanted.most} bags were not enough"
            " to reach the line."
        )
    return words


def _aside(bias: float) -> str:
    hundredths = round(100 * bias, 1)
    if hundredths == 0:
        return "as it was"
    side = "too high" if bias > 0 else "too low"
    return f"{abs(hundredths):.1f} in 100 {side}"
