"""What the page of a treatment's efficacy says, in words and rows."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import isfinite

from blocks.models import Block
from monitoring.densities.efficacy import Comparison, Effect, Line, Used
from monitoring.estimation import EfficacyEstimate
from monitoring.models import Organism, TreatedBlock
from monitoring.words import day, figure, in_hundred, sentence_case

# Percentages this far below 0 say no more than that nothing is known.
FAR_BELOW = -1000.0
MINUS = "\N{MINUS SIGN}"
NEARLY_ALL = 99.0
# By what the whole interval says.
VERDICTS = {
    "fewer": "",
    "open": "That nothing was gained is not ruled out.",
    "more": "Nothing was gained.",
}
PREDATOR_VERDICTS = {
    "fewer": "Fewer predators are left to hold the mites, which may come back sooner.",
    "open": "Whether it cost predators cannot be told from these leaves.",
    "more": "It did not cost predators.",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """One formula's figure in the table: percent, interval, or why there is none."""

    percent: str
    interval: str
    plain: str
    reason: str
    chance: str


@dataclass(frozen=True, slots=True)
class Row:
    """One round after the treatment."""

    after: Used
    days_after: int
    checks_before: list[Used]
    checks_after: list[Used]
    henderson_tilton: Cell
    schneider_orelli: Cell
    abbott: Cell
    change: Cell


@dataclass(frozen=True, slots=True)
class Part:
    """One organism on one tissue."""

    effect: Effect
    sentence: str
    verdict: str
    rows: list[Row]

    @property
    def title(self) -> str:
        """The heading of the part."""
        return sentence_case(self.effect.organism.name)


def parts_of(
    effects: Sequence[Effect], *, treated_on: date, above: float, has_check: bool
) -> list[Part]:
    """Put together what the page shows of each organism."""
    return [
        Part(
            effect=effect,
            sentence=_sentence(effect, treated_on, has_check=has_check),
            verdict=_verdict(effect),
            rows=[_row(one, treated_on, above) for one in effect.comparisons],
        )
        for effect in effects
    ]


def _row(one: Comparison, treated_on: date, above: float) -> Row:
    return Row(
        after=one.after,
        days_after=(one.after.day - treated_on).days,
        checks_before=one.checks_before,
        checks_after=one.checks_after,
        henderson_tilton=_cell(one.henderson_tilton, above),
        schneider_orelli=_cell(one.schneider_orelli, above),
        abbott=_cell(one.abbott, above),
        change=_cell(one.change, above),
    )


def _cell(line: Line, above: float) -> Cell:
    if line.estimate is None:
        return Cell("", "", "", line.reason, "")
    return Cell(
        percent=percent(line.estimate.percent),
        interval=f"{percent(line.estimate.low)} to {percent(line.estimate.high)}",
        plain="" if line.plain is None else percent(line.plain),
        reason=line.reason,
        chance=in_hundred(line.estimate.chance_above(above)),
    )


def percent(value: float) -> str:
    """Write a percentage; never 100 by rounding, and nothing precise far below 0."""
    if not isfinite(value):
        return "no limit"
    if value < FAR_BELOW:
        return f"under {MINUS}{-FAR_BELOW:,.0f}"
    if NEARLY_ALL < value < 100:
        return "over 99.9" if value > 99.9 else f"{value:.1f}"  # noqa: PLR2004
    whole = round(value)
    return f"{MINUS}{-whole:,}" if whole < 0 else f"{whole:,}"


def fewer(value: float) -> str:
    """Write an efficacy as what is left against what was to be expected."""
    if not isfinite(value) or value < FAR_BELOW:
        return "many times as many"
    if value < -100:
        return f"{figure(1 - value / 100)} times as many"
    return f"{percent(abs(value))} in 100 {'fewer' if value >= 0 else 'more'}"


def _between(estimate: EfficacyEstimate) -> str:
    if estimate.low >= 0:
        return f"{percent(estimate.low)} to {percent(estimate.high)}"
    return f"from {fewer(estimate.low)} to {fewer(estimate.high)}"


def _main(one: Comparison) -> tuple[Line, str]:
    """Give the best line there is, and what it is set against."""
    if one.henderson_tilton.estimate is not None:
        return one.henderson_tilton, "than the check would have led to expect"
    if one.abbott.estimate is not None:
        return one.abbott, "than on the check, taking both as alike before"
    return one.change, "than before"


def _sentence(effect: Effect, treated_on: date, *, has_check: bool) -> str:
    one = effect.comparisons[0]
    line, against = _main(one)
    name = sentence_case(effect.organism.name)
    days = (one.after.day - treated_on).days
    since = "1 day after" if days == 1 else f"{days} days after"
    if line.estimate is None:
        return f"{name}: no efficacy can be given, since {line.reason}."
    if not one.after.estimate.animals:
        least = (
            f"at least {percent(line.estimate.low)} in 100 fewer {against}"
            if line.estimate.low > 0
            else "too few leaves to say how many fewer"
        )
        told = f"{name}: none found {since}; {least}."
    else:
        told = (
            f"{name}: {fewer(line.estimate.percent)} ({_between(line.estimate)})"
            f" {against}, {since}."
        )
    if has_check and line is not one.change:
        return told
    return f"{told} This is the change, not the treatment's effect alone."


def _verdict(effect: Effect) -> str:
    """Say plainly what an interval leaves open, and what predators paid."""
    line, _ = _main(effect.comparisons[0])
    if line.estimate is None:
        return ""
    said = (
        PREDATOR_VERDICTS
        if effect.organism.role == Organism.Role.PREDATOR
        else VERDICTS
    )
    if line.estimate.low > 0:
        return said["fewer"]
    return said["more" if line.estimate.high < 0 else "open"]


def not_compared(
    organisms: Iterable[Organism], effects: Iterable[Effect]
) -> list[Organism]:
    """List predators of which no round after the treatment was counted."""
    told = {effect.organism.pk for effect in effects}
    return [
        one
        for one in organisms
        if one.role == Organism.Role.PREDATOR and one.pk not in told
    ]


def cautions(
    block: Block,
    checks: Sequence[Block],
    effects: Sequence[Effect],
    others: Iterable[TreatedBlock],
) -> list[str]:
    """Say what else was done to the blocks within the time compared.

    others: parts of other treatments in force, of the block and its checks.
    """
    span = _span(effects)
    if span is None:
        return []
    names = {check.pk: check.name for check in checks}
    told = []
    for row in others:
        on = row.treatment.treated_on
        if row.part != TreatedBlock.Part.TREATED or not span[0] <= on <= span[1]:
            continue
        what = f"{row.treatment.get_category_display()} on {day(on)}"
        if row.block_id == block.pk:
            told.append(
                f"{block.name} was also treated with {what}: the figures are of both."
            )
        elif row.block_id in names:
            told.append(
                f"The check {names[row.block_id]} was treated with {what}: it is no"
                " untreated check."
            )
    return told


def _span(effects: Iterable[Effect]) -> tuple[date, date] | None:
    days = [
        used.day
        for effect in effects
        for one in effect.comparisons
        for used in (effect.before, one.after, *one.checks_before, *one.checks_after)
        if used is not None
    ]
    return (min(days), max(days)) if days else None
