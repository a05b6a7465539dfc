"""The sentences that open a block's page, made from its figures."""

from collections.abc import Iterable, Sequence

from monitoring.estimation import StoredPosterior
from monitoring.models import Density, Organism, Ratio
from monitoring.thresholds import ThresholdInForce
from monitoring.words import (
    bags,
    day,
    figure,
    in_hundred,
    interval,
    prey_per_predator,
    sentence_case,
    stated,
)

# An upper end this many times the median is called weak.
WEAK = 10


def chance_above(density: Density, level: float) -> float | None:
    """Give the chance that a stored density is above a level; None without figure."""
    if not density.quantiles:
        return None
    return StoredPosterior(tuple(density.quantiles)).chance_above(level)


def chance_below(ratio: Ratio, level: float) -> float | None:
    """Give the chance that a stored ratio is below a level; None without figure."""
    if not ratio.quantiles:
        return None
    return StoredPosterior(tuple(ratio.quantiles)).chance_below(level)


def density_words(density: Density) -> str:
    """Write a density: “about 210 per leaf (130 to 340)”."""
    if density.median is None:
        return f"no figure: {density.reason}"
    if not density.sample_mean and density.high is not None:
        return f"none found; up to {figure(density.high)} per {density.tissue}"
    least = "at least " if density.at_least else "about "
    return (
        f"{least}{figure(density.median)} per {density.tissue}"
        f" ({interval(density.low, density.high)})"
    )


def sentence_of(
    densities: Sequence[Density],
    ratios: Iterable[Ratio],
    thresholds: Sequence[ThresholdInForce],
) -> str:
    """Say over the phone what the newest round of a tissue means."""
    parts = []
    for density in sorted(densities, key=lambda row: row.organism.position):
        if density.organism.role == Organism.Role.OTHER:
            continue
        parts.append(f"{density.organism.name.capitalize()} {density_words(density)}.")
        parts += _against_threshold(density, thresholds)
    parts += [_ratio_words(ratio) for ratio in ratios]
    parts += _weak_limits(densities)
    parts += _waiting(densities)
    return " ".join(part for part in parts if part)


def threshold_for(
    density: Density, thresholds: Sequence[ThresholdInForce]
) -> ThresholdInForce | None:
    """Find the threshold for a density's tissue and organism."""
    return next(
        (
            one
            for one in thresholds
            if one.prey_id is None
            and one.tissue == density.tissue
            and one.organism_id == density.organism_id
        ),
        None,
    )


def _against_threshold(
    density: Density, thresholds: Sequence[ThresholdInForce]
) -> list[str]:
    threshold = threshold_for(density, thresholds)
    if threshold is None:
        return []
    chance = chance_above(density, threshold.level)
    if chance is None:
        return []
    return [
        f"{sentence_case(in_hundred(chance))} that this is above your"
        f" {stated(threshold.level)}."
    ]


def _ratio_words(ratio: Ratio) -> str:
    if ratio.median is None:
        return f"{ratio.reason[:1].upper()}{ratio.reason[1:]}." if ratio.reason else ""
    predators, prey = ratio.predator.name, ratio.prey.name
    if ratio.reason:
        return f"No {predators} were found against the {prey}."
    # Which way the bags left out would move a ratio is not known.
    left_out = ", of the bags that could be counted" if ratio.at_least else ""
    return (
        f"{sentence_case(predators)} to {prey}: one to"
        f" {prey_per_predator(ratio.median)} ({prey_per_predator(ratio.high)} to"
        f" {prey_per_predator(ratio.low)}){left_out}."
    )


def _weak_limits(densities: Iterable[Density]) -> list[str]:
    weak = any(
        row.median is not None and (row.high is None or row.high > WEAK * row.median)
        for row in densities
        if row.sample_mean
    )
    return ["Few bags: the upper limit is weak."] if weak else []


def _waiting(densities: Sequence[Density]) -> list[str]:
    missing = max((row.bags_missing for row in densities), default=0)
    if not missing:
        return []
    # A bag may wait for one organism and be counted for another.
    in_round = max(
        row.bags_used + row.bags_uncountable + row.bags_missing for row in densities
    )
    return [f"{in_round - missing} of {bags(in_round)} counted."]


def alone(density: Density) -> str:
    """Say one density with its organism and day, for lists and labels."""
    return (
        f"{density.organism.name.capitalize()} {density_words(density)} on"
        f" {day(density.round.collected_on)}"
    )
