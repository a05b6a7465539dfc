"""Estimate a round's densities and ratios from its samples; nothing is stored."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from math import isfinite, isnan
from typing import Any

from scipy import stats

from monitoring.densities.inputs import (
    METHOD,
    RATIO_METHOD,
    RATIO_VERSION,
    Settings,
    digest_of,
    ratio_digest,
    recovery_value,
    shares_of,
    used_for,
)
from monitoring.densities.samples import BagCount, Sample
from monitoring.estimation import (
    METHOD_VERSIONS,
    PROBABILITIES,
    DensityEstimate,
    RatioEstimate,
    combine_strata,
    estimate_density,
    estimate_ratio,
)
from monitoring.models import Density, Organism, Ratio

# Fewer pairs than this say nothing about a correlation.
FEWEST_PAIRS = 4
# A copula needs a correlation short of 1.
STRONGEST = 0.99


@dataclass(frozen=True, slots=True)
class RoundFigures:
    """Unsaved rows of one round."""

    densities: list[Density]
    ratios: list[Ratio]


@dataclass(frozen=True, slots=True)
class _Whole:
    """A round's density as a whole, with what it came from."""

    sample: Sample
    estimate: DensityEstimate
    digest: str
    used: dict[str, Any]


def figures_of_round(
    day: date,
    samples: Iterable[Sample],
    settings: Settings,
    organisms: Mapping[int, Organism],
) -> RoundFigures:
    """Estimate everything that a round's samples allow."""
    densities: list[Density] = []
    wholes: list[_Whole] = []
    for sample in samples:
        if not sample.counted:
            densities += _without_figure(sample, settings, day)
            continue
        whole, rows = _estimate(sample, settings, day)
        wholes.append(whole)
        densities += rows
    return RoundFigures(densities, list(_ratios(wholes, organisms)))


def _without_figure(sample: Sample, settings: Settings, day: date) -> Iterator[Density]:
    """Say in a row that every bag looked at was uncountable."""
    if not sample.uncountable:
        return
    recovery = settings.recovery_on(
        day, organism_id=sample.organism_id, tissue=sample.tissue
    )
    used = used_for(recovery, None)
    row = _row(sample, None, used, digest_of(sample, used))
    row.reason = "every bag looked at was uncountable"
    yield row


def _estimate(
    sample: Sample, settings: Settings, day: date
) -> tuple[_Whole, list[Density]]:
    recovery = settings.recovery_on(
        day, organism_id=sample.organism_id, tissue=sample.tissue
    )
    value = recovery_value(recovery)
    shares = shares_of(sample, settings.weights_on(day))
    strata = {
        position: _estimate_bags(
            [bag for bag in sample.counted if bag.position == position], value
        )
        for position in (sample.positions if len(sample.positions) > 1 else [])
    }
    if shares is None:
        estimate = _estimate_bags(sample.counted, value)
    else:
        estimate = combine_strata(
            [strata[position] for position in shares], list(shares.values())
        )
    used = used_for(recovery, shares)
    digest = digest_of(sample, used)
    rows = [_row(sample, estimate, used, digest)]
    plain = used_for(recovery, None)
    for position, of_position in strata.items():
        row = _row(
            sample, of_position, plain, digest_of(sample, plain, stratum=position)
        )
        row.stratum = position
        rows.append(row)
    return _Whole(sample, estimate, digest, used), rows


def _estimate_bags(bags: list[BagCount], recovery: Any) -> DensityEstimate:
    return estimate_density(
        [bag.animals for bag in bags],
        proportions_counted=[bag.proportion_counted for bag in bags],
        units=[bag.units for bag in bags],
        recovery=recovery,
    )


def _row(
    sample: Sample, estimate: DensityEstimate | None, used: dict[str, Any], digest: str
) -> Density:
    row = Density(
        round_id=sample.round_id,
        tissue=sample.tissue,
        organism_id=sample.organism_id,
        bags_used=estimate.bags if estimate else 0,
        bags_missing=len(sample.missing),
        bags_uncountable=len(sample.uncountable),
        at_least=bool(sample.uncountable),
        method=METHOD,
        method_version=METHOD_VERSIONS[METHOD],
        used=used,
        inputs_digest=digest,
    )
    if estimate is not None:
        row.median, row.low = estimate.median, estimate.low
        row.high = finite_or_none(estimate.high)
        row.k_median, row.sample_mean = estimate.k_median, estimate.sample_mean
        row.quantiles = estimate.quantiles_at(PROBABILITIES).tolist()
        if row.high is None:
            row.reason = "these bags give no upper limit"
    return row


def finite_or_none(value: float) -> float | None:
    """Give a number, or None where there is no end to it."""
    return value if isfinite(value) else None


def _ratios(wholes: list[_Whole], organisms: Mapping[int, Organism]) -> Iterator[Ratio]:
    for predator in wholes:
        if organisms[predator.sample.organism_id].role != Organism.Role.PREDATOR:
            continue
        for prey in wholes:
            same = prey.sample.tissue == predator.sample.tissue
            if same and organisms[prey.sample.organism_id].role == Organism.Role.PEST:
                yield _ratio(predator, prey)


def _ratio(predator: _Whole, prey: _Whole) -> Ratio:
    """Set a predator against a prey.

    Their recoveries are taken as independent even where the predator's was borrowed
    from the prey: that one wash brings off the same share of both is not known.
    """
    correlation = rank_correlation(predator.sample, prey.sample)
    estimate = estimate_ratio(
        predator.estimate, prey.estimate, rank_correlation=correlation
    )
    row = Ratio(
        round_id=predator.sample.round_id,
        tissue=predator.sample.tissue,
        predator_id=predator.sample.organism_id,
        prey_id=prey.sample.organism_id,
        bags_used=min(predator.estimate.bags, prey.estimate.bags),
        at_least=bool(predator.sample.uncountable or prey.sample.uncountable),
        method=RATIO_METHOD,
        method_version=RATIO_VERSION,
        used={
            "predator": predator.used,
            "prey": prey.used,
            "rank_correlation": correlation,
            "shared_recovery": False,
        },
        inputs_digest=ratio_digest(predator.digest, prey.digest),
        reason=estimate.reason,
    )
    _fill_ratio(row, estimate)
    return row


def _fill_ratio(row: Ratio, estimate: RatioEstimate) -> None:
    if isnan(estimate.ratio):
        return
    row.median, row.low = estimate.ratio, estimate.low
    row.high = finite_or_none(estimate.high)
    row.quantiles = estimate.quantiles_at(PROBABILITIES).tolist()


def rank_correlation(predator: Sample, prey: Sample) -> float:
    """Give Spearman's correlation between the bags' counts; 0 for too few pairs."""
    prey_of = {bag.bag_id: bag for bag in prey.counted}
    pairs = [
        (bag.animals / bag.proportion_counted, prey_of[bag.bag_id])
        for bag in predator.counted
        if bag.bag_id in prey_of
    ]
    first = [value for value, _ in pairs]
    second = [bag.animals / bag.proportion_counted for _, bag in pairs]
    if len(pairs) < FEWEST_PAIRS or len(set(first)) < 2 or len(set(second)) < 2:
        return 0.0
    found = float(stats.spearmanr(first, second).statistic)
    return max(-STRONGEST, min(STRONGEST, found))
