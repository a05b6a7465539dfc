"""The chain behind a stored density, down to bags, cells and counts."""

from dataclasses import dataclass
from math import isfinite

from monitoring.densities.compute import finite_or_none
from monitoring.densities.samples import BagCount, samples_of_rounds
from monitoring.estimation import (
    BetaRecovery,
    EstimationError,
    NegativeBinomialFit,
    fit_negative_binomial,
    k_by_moments,
)
from monitoring.models import Density, Recovery, Tally

WHOLE = 1 - 1e-12


@dataclass(frozen=True, slots=True)
class BagLine:
    """One bag in the working, with the tallies that make its count."""

    bag: BagCount
    tallies: list[Tally]

    @property
    def washed_off_per_unit(self) -> float:
        """Animals per unit after correcting for the cells counted."""
        return self.bag.animals / (self.bag.proportion_counted * self.bag.units)

    @property
    def whole(self) -> bool:
        """Whether the whole wash was looked at."""
        return self.bag.proportion_counted >= WHOLE


@dataclass(frozen=True, slots=True)
class Working:
    """Everything that the page of a density shows beside its figure."""

    lines: list[BagLine]
    missing: list[str]
    uncountable: list[str]
    recovery_mean: float
    recovery_low: float | None
    recovery_high: float | None
    recovery_origin: str
    k: float | None
    k_standard_error: float | None
    k_by_moments: float | None
    mean_of_bags: float | None
    same_exposure: bool
    stale: bool


def working_of(density: Density) -> Working:
    """Gather the working of a density from its round's tallies; 4 queries."""
    samples = samples_of_rounds(density.farm_group_id, [density.round_id])
    sample = next(
        (
            one
            for one in samples
            if one.tissue == density.tissue and one.organism_id == density.organism_id
        ),
        None,
    )
    if sample and density.stratum:
        sample = sample.of_position(density.stratum)
    counted = sample.counted if sample else []
    recovery = density.used["recovery"]
    value = recovery_of(recovery)
    interval = value.interval() if isinstance(value, BetaRecovery) else (None, None)
    fit = _fit(counted)
    tallies = _tallies(density, [bag.bag_id for bag in counted])
    return Working(
        lines=[BagLine(bag, tallies.get(bag.bag_id, [])) for bag in counted],
        missing=[bag.code for bag in sample.missing] if sample else [],
        uncountable=[bag.code for bag in sample.uncountable] if sample else [],
        recovery_mean=value.mean if isinstance(value, BetaRecovery) else value,
        recovery_low=interval[0],
        recovery_high=interval[1],
        recovery_origin=_origin(recovery),
        k=finite_or_none(fit.k) if fit else None,
        k_standard_error=finite_or_none(fit.k_standard_error) if fit else None,
        k_by_moments=_moments(counted),
        mean_of_bags=_mean_of_bags(counted, value),
        same_exposure=len({(bag.proportion_counted, bag.units) for bag in counted})
        == 1,
        stale=not density.is_current,
    )


def _mean_of_bags(
    counted: list[BagCount], recovery: float | BetaRecovery
) -> float | None:
    """Give every bag the same weight, however much of its dish was counted."""
    if not counted:
        return None
    washed_off = [bag.animals / (bag.proportion_counted * bag.units) for bag in counted]
    share = recovery.mean if isinstance(recovery, BetaRecovery) else recovery
    return sum(washed_off) / len(washed_off) / share


def recovery_of(used: dict[str, float | None]) -> float | BetaRecovery:
    """Give the recovery that a density's `used` writes down; 1 where it has none."""
    if used.get("alpha") and used.get("beta"):
        return BetaRecovery(used["alpha"] or 0.0, used["beta"] or 0.0)
    return used.get("value") or 1.0


def _origin(used: dict[str, str]) -> str:
    if used["origin"] == "uncorrected":
        return "none is known: what was washed off, uncorrected"
    label = Recovery.Origin(used["origin"]).label
    return f"{label}: {used['note']}" if used.get("note") else label


def _fit(counted: list[BagCount]) -> NegativeBinomialFit | None:
    """Fit the counts as they are; only meaningful when all bags were counted alike."""
    try:
        return fit_negative_binomial([bag.animals for bag in counted])
    except EstimationError:
        return None


def _moments(counted: list[BagCount]) -> float | None:
    try:
        k = k_by_moments([bag.animals for bag in counted])
    except EstimationError:
        return None
    return k if isfinite(k) else None


def _tallies(density: Density, bag_ids: list[int]) -> dict[int, list[Tally]]:
    found: dict[int, list[Tally]] = {}
    rows = (
        Tally.objects.for_group(density.farm_group_id)
        .filter(
            wash__bag__in=bag_ids,
            wash__number=1,
            organism=density.organism_id,
            state=Tally.State.PUBLISHED,
            chosen=True,
        )
        .select_related("wash", "dish", "source_sheet", "source_reading", "analyst")
        .prefetch_related("cell_counts")
        .order_by("dish_number")
    )
    for tally in rows:
        found.setdefault(tally.wash.bag_id, []).append(tally)
    return found
