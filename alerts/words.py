"""Alerts in sentences that stand on their own."""

from datetime import date

from django.utils.dates import MONTHS

from alerts.models import ThresholdVersion, Transition
from blocks.models import Block
from monitoring.models import Density, Organism, Ratio
from monitoring.pages.sentences import density_words
from monitoring.words import (
    bags,
    day,
    in_hundred,
    prey_per_predator,
    sentence_case,
    several,
    stated,
)

Kind = Transition.Kind


def subject_words(organism: Organism, prey: Organism | None, tissue: str) -> str:
    """Name what is watched: “rust mites per leaf”."""
    if prey is None:
        return f"{organism.name} per {tissue}"
    return f"{organism.name} to {prey.name} on {several(tissue)}"


def level_words(version: ThresholdVersion, level: float) -> str:
    """Write a level: “150 per leaf”, or for a ratio “one to 200”."""
    if version.threshold.is_ratio:
        return f"one to {stated(1 / level)}" if level else "none at all"
    return f"{stated(level)} per {version.threshold.tissue}"


def season_words(version: ThresholdVersion) -> str:
    """Write a season: “30 August to 22 January”."""
    ends = (version.season_from, version.season_until)
    if ends == ("01-01", "12-31"):
        return "all year"
    # Any leap year will do: 29 February may be an end.
    return " to ".join(
        f"{on.day} {MONTHS[on.month]}"
        for on in (date.fromisoformat(f"2024-{end}") for end in ends)
    )


def figure_words(row: Density | Ratio) -> str:
    """Write a figure with its interval, bags and day."""
    when = f"round of {day(row.round.collected_on)}, {bags(row.bags_used)}"
    if isinstance(row, Density):
        return f"{row.organism.name} {density_words(row)}; {when}"
    if row.median is None:
        return f"no figure: {row.reason}; {when}"
    if row.reason:
        return f"no {row.predator.name} found against the {row.prey.name}; {when}"
    return (
        f"{row.predator.name} to {row.prey.name} one to"
        f" {prey_per_predator(row.median)} ({prey_per_predator(row.high)} to"
        f" {prey_per_predator(row.low)}); {when}"
    )


def raised_sentence(
    block: Block, row: Density | Ratio, version: ThresholdVersion, chance: float
) -> str:
    """Say why an alert is raised."""
    beyond = "below" if version.threshold.is_ratio else "above"
    return (
        f"{block.farm.name}, {block.name}: {figure_words(row)}."
        f" {sentence_case(in_hundred(chance))} that this is {beyond} the threshold of"
        f" {level_words(version, version.level)}."
    )


def ended_sentence(
    block: Block,
    row: Density | Ratio | None,
    version: ThresholdVersion,
    kind: Transition.Kind,
    *,
    stood: bool,
) -> str:
    """Say why an alert ends.

    stood: whether the rounds, as they are now, raised it; if not, a corrected count or
    a changed threshold is why it ends.
    """
    threshold = version.threshold
    what = subject_words(threshold.organism, threshold.prey, threshold.tissue)
    where = f"{block.farm.name}, {block.name}"
    if kind == Kind.SEASON_OVER:
        return f"{where}: the season in which the alert for {what} was raised is over."
    if kind == Kind.REMOVED:
        return f"{where}: no threshold for {what} holds here any more."
    newest = f" {sentence_case(figure_words(row))}." if row is not None else ""
    if not stood:
        return (
            f"{where}: judged again, {what} does not cross the threshold of"
            f" {level_words(version, version.level)}.{newest}"
        )
    side = "above" if threshold.is_ratio else "below"
    return (
        f"{where}: {what} is likely {side} the clear level of"
        f" {level_words(version, version.clear_level)} again.{newest}"
    )
