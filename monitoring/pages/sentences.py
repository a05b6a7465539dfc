"""The sentences that open a block's page, made from its figures."""

from collections.abc import Iterable, Sequence

from monitoring.estimation import StoredPosterior, fold_change
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
# Rounds further apart belong to two seasons.
SAME_SEASON_DAYS = 120


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
    *,
    before: Sequence[Density] = (),
) -> str:
    """Say over the phone what the newest round of a tissue means.

    before: the densities of the round before it, for how many times as many there are.
    """
    parts = []
    for density in sorted(densities, key=lambda row: row.organism.position):
        if density.organism.role == Organism.Role.OTHER:
            continue
        parts.append(f"{density.organism.name.capitalize()} {density_words(density)}.")
        parts += _against_threshold(density, thresholds)
    parts += [_ratio_words(ratio) for ratio in ratios]
    parts += _changes(densities, before)
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


def _changes(densities: Iterable[Density], before: Iterable[Density]) -> list[str]:
    """Say how many times as many pests there are as in the round before."""
    earlier = {row.organism_id: row for row in before}
    return [
        _change_words(row, earlier[row.organism_id])
        for row in densities
        if row.organism.role == Organism.Role.PEST
        and row.organism_id in earlier
        and _can_be_set_against(row, earlier[row.organism_id])
    ]


def _can_be_set_against(later: Density, earlier: Density) -> bool:
    """Tell whether both rounds found animals, gave limits, and are of one season."""
    days = (later.round.collected_on - earlier.round.collected_on).days
    return days <= SAME_SEASON_DAYS and all(
        row.quantiles and row.sample_mean and row.high is not None and not row.at_least
        for row in (later, earlier)
    )


def _change_words(later: Density, earlier: Density) -> str:
    found = fold_change(
        StoredPosterior(tuple(later.quantiles)),
        StoredPosterior(tuple(earlier.quantiles)),
    )
    name, ends = sentence_case(later.organism.name), interval(found.low, found.high)
    on = f"{earlier.round.collected_on.day} {earlier.round.collected_on:%B}"
    if found.median < 1:
        return f"{name} down to {figure(found.median)} of those on {on} ({ends})."
    return f"{name} {figure(found.median)}-fold since {on} ({ends})."


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
