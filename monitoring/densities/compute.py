"""Say which figures a round has, and estimate those that are wanted; no storing."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from math import isfinite, isnan
from typing import Any, Generic, TypeVar

from scipy import stats

from monitoring.densities.inputs import (
    METHOD,
    RATIO_METHOD,
    RATIO_VERSION,
    Settings,
    digest_of,
    priors_of,
    ratio_digest,
    recovery_value,
    same_recovery,
    shares_of,
    used_for,
)
from monitoring.densities.samples import Sample
from monitoring.estimation import (
    METHOD_VERSIONS,
    PROBABILITIES,
    DensityEstimate,
    LeafPriors,
    LogNormalK,
    combine_strata,
    estimate_density,
    estimate_ratio,
    guard_history,
)
from monitoring.models import ClumpingPrior, Density, Organism, Ratio, Recovery

# Fewer pairs than this say nothing about a correlation.
FEWEST_PAIRS = 4
# A copula needs a correlation short of 1.
STRONGEST = 0.99
ALL_UNCOUNTABLE = "every bag looked at was uncountable"
NO_UPPER_LIMIT = "these bags give no upper limit"
Row = TypeVar("Row", Density, Ratio)


@dataclass(frozen=True, slots=True)
class Planned(Generic[Row]):
    """An unsaved row with the digest of its inputs, and what fills in its figures.

    Estimating is the dear part, and is left out where the digest has not changed.
    """

    row: Row
    fill: Callable[[], None]


@dataclass(frozen=True, slots=True)
class RoundFigures:
    """The rows that a round should have."""

    densities: list[Planned[Density]]
    ratios: list[Planned[Ratio]]


class _Whole:
    """A sample with what its density is made with; estimated when first asked."""

    def __init__(
        self,
        sample: Sample,
        recovery: Recovery | None,
        clumping: ClumpingPrior | None,
        shares: dict[str, float] | None = None,
    ) -> None:
        self.sample = sample
        self.recovery = recovery
        self.clumping = clumping
        self.shares = shares
        self.used = used_for(recovery, shares, clumping)
        self.digest = digest_of(sample, self.used)

    @cached_property
    def estimate(self) -> DensityEstimate:
        """The posterior: of the positions by their shares, or of all bags together."""
        if self.shares is not None:
            positions = [self.of_position(position) for position in self.shares]
            return combine_strata(
                [one.estimate for one in positions], list(self.shares.values())
            )
        default = self._held(LeafPriors())
        if self.clumping is None:
            return default
        return guard_history(self._held(priors_of(self.clumping)), default)

    def _held(self, priors: LeafPriors) -> DensityEstimate:
        """Estimate all bags together with what is held of their clumping."""
        bags = self.sample.counted
        return estimate_density(
            [bag.animals for bag in bags],
            proportions_counted=[bag.proportion_counted for bag in bags],
            units=[bag.units for bag in bags],
            recovery=recovery_value(self.recovery),
            k_prior=priors.k,
            sigma_prior=priors.sigma,
            lognormal_odds=priors.lognormal_odds,
            model=METHOD,
        )

    @property
    def history_used(self) -> bool:
        """Whether what earlier rounds told was used in the estimate, or in a part."""
        if self.shares is not None:
            return any(self.of_position(one).history_used for one in self.shares)
        k_prior = self.estimate.priors.k
        return self.clumping is not None and isinstance(k_prior, LogNormalK)

    @cached_property
    def _positions(self) -> dict[str, "_Whole"]:
        return {
            position: _Whole(
                self.sample.of_position(position), self.recovery, self.clumping
            )
            for position in self.sample.positions
        }

    def of_position(self, position: str) -> "_Whole":
        """Keep one canopy position; estimated once however often it is asked."""
        return self._positions[position]


def figures_of_round(
    day: date,
    samples: Iterable[Sample],
    settings: Settings,
    organisms: Mapping[int, Organism],
) -> RoundFigures:
    """Plan everything that a round's samples allow."""
    densities: list[Planned[Density]] = []
    wholes: list[_Whole] = []
    for sample in samples:
        if not sample.counted and not sample.uncountable:
            continue
        whole = _whole(day, sample, settings)
        densities.append(_planned_density(whole))
        if sample.counted:
            wholes.append(whole)
        if len(sample.positions) > 1:
            densities += [
                _planned_density(whole.of_position(position), stratum=position)
                for position in sample.positions
            ]
    shared = settings.recoveries_shared_on(day)
    return RoundFigures(densities, list(_ratios(wholes, organisms, shared=shared)))


def estimate_of(day: date, sample: Sample, settings: Settings) -> DensityEstimate:
    """Estimate a round's density as its stored figure was, posterior and all.

    The sample must have bags that were counted.
    """
    return _whole(day, sample, settings).estimate


def _whole(day: date, sample: Sample, settings: Settings) -> _Whole:
    recovery = settings.recovery_on(
        day, organism_id=sample.organism_id, tissue=sample.tissue
    )
    shares = shares_of(sample, settings.weights_on(day))
    return _Whole(sample, recovery, settings.clumping_on(day, sample), shares)


def _planned_density(whole: _Whole, *, stratum: str = "") -> Planned[Density]:
    sample = whole.sample
    row = Density(
        round_id=sample.round_id,
        tissue=sample.tissue,
        organism_id=sample.organism_id,
        stratum=stratum,
        bags_used=len(sample.counted),
        bags_missing=len(sample.missing),
        bags_uncountable=len(sample.uncountable),
        at_least=bool(sample.uncountable),
        method=METHOD,
        method_version=METHOD_VERSIONS[METHOD],
        used=whole.used,
        inputs_digest=whole.digest,
    )
    return Planned(row, lambda: _fill_density(row, whole))


def _fill_density(row: Density, whole: _Whole) -> None:
    if not whole.sample.counted:
        row.reason = ALL_UNCOUNTABLE
        return
    estimate = whole.estimate
    row.median, row.low = estimate.median, estimate.low
    row.high = finite_or_none(estimate.high)
    row.k_median, row.sample_mean = estimate.k_median, estimate.sample_mean
    row.quantiles = estimate.quantiles_at(PROBABILITIES).tolist()
    row.used = row.used | {"found": _found(whole)}
    if row.high is None:
        row.reason = NO_UPPER_LIMIT


def _found(whole: _Whole) -> dict[str, Any]:
    """Write down what the estimate found of the clumping, beside its inputs."""
    estimate = whole.estimate
    return {
        "sigma_median": finite_or_none(estimate.sigma_median),
        "lognormal_share": estimate.lognormal_share,
        "history_used": whole.history_used,
    }


def finite_or_none(value: float) -> float | None:
    """Give a number, or None where there is no end to it."""
    return value if isfinite(value) else None


def _ratios(
    wholes: list[_Whole], organisms: Mapping[int, Organism], *, shared: bool
) -> Iterator[Planned[Ratio]]:
    for predator in wholes:
        if organisms[predator.sample.organism_id].role != Organism.Role.PREDATOR:
            continue
        for prey in wholes:
            same = prey.sample.tissue == predator.sample.tissue
            if same and organisms[prey.sample.organism_id].role == Organism.Role.PEST:
                yield _planned_ratio(predator, prey, stated_shared=shared)


def _planned_ratio(
    predator: _Whole, prey: _Whole, *, stated_shared: bool
) -> Planned[Ratio]:
    """Set a predator against a prey.

    Their recoveries are taken as independent, even where the predator's was borrowed
    from the prey, unless the group has stated that one wash brings off the same share
    of both: by itself that is not known. Recoveries of unlike figures are not shared.
    """
    used = _used_by_ratio(predator, prey, stated_shared=stated_shared)
    row = Ratio(
        round_id=predator.sample.round_id,
        tissue=predator.sample.tissue,
        predator_id=predator.sample.organism_id,
        prey_id=prey.sample.organism_id,
        bags_used=min(len(predator.sample.counted), len(prey.sample.counted)),
        at_least=bool(predator.sample.uncountable or prey.sample.uncountable),
        method=RATIO_METHOD,
        method_version=RATIO_VERSION,
        used=used,
        inputs_digest=ratio_digest(predator.digest, prey.digest, shared=stated_shared),
    )
    return Planned(row, lambda: _fill_ratio(row, predator, prey))


def _used_by_ratio(
    predator: _Whole, prey: _Whole, *, stated_shared: bool
) -> dict[str, Any]:
    same = same_recovery(predator.used["recovery"], prey.used["recovery"])
    return {
        "predator": predator.used,
        "prey": prey.used,
        "rank_correlation": rank_correlation(predator.sample, prey.sample),
        "stated_shared": stated_shared,
        "shared_recovery": stated_shared and same,
    }


def _fill_ratio(row: Ratio, predator: _Whole, prey: _Whole) -> None:
    estimate = estimate_ratio(
        predator.estimate,
        prey.estimate,
        rank_correlation=row.used["rank_correlation"],
        shared_recovery=row.used["shared_recovery"],
    )
    row.reason = estimate.reason
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
