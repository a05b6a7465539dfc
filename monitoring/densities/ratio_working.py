"""The working behind a predator ratio: classic intervals of the same bags beside it."""

from dataclasses import dataclass
from typing import Any

from monitoring.densities.samples import BagCount, Sample, samples_of_rounds
from monitoring.estimation import (
    BetaRecovery,
    EstimationError,
    FiellerInterval,
    LogDeltaInterval,
    fieller_interval,
    log_delta_interval,
)
from monitoring.models import Ratio

# Above this Fieller's interval leans on a mean of prey that is hardly known (handbooks
# of bioassay warn there; common practice).
WEAK_G = 0.2


@dataclass(frozen=True, slots=True)
class RatioWorking:
    """Intervals from the plain means of bags with both counts; None with a reason."""

    pairs: int
    fieller: FiellerInterval | None
    fieller_reason: str
    log_delta: LogDeltaInterval | None
    log_delta_reason: str

    @property
    def leans_on_few_prey(self) -> bool:
        """Whether Fieller's interval is to be taken with care."""
        return self.fieller is not None and self.fieller.g > WEAK_G


def ratio_working(ratio: Ratio) -> RatioWorking:
    """Set the two classic intervals beside a stored ratio; 1 query.

    Bags enter with their animals over share counted, units and mean recovery. The
    means are plain: every bag weighs alike, positions are not weighted.
    """
    samples = {
        sample.organism_id: sample
        for sample in samples_of_rounds(ratio.farm_group_id, [ratio.round_id])
        if sample.tissue == ratio.tissue
    }
    predators, prey = _pairs(
        samples.get(ratio.predator_id), samples.get(ratio.prey_id), ratio.used
    )
    fieller, fieller_reason = _fieller(predators, prey)
    log_delta, log_delta_reason = _log_delta(predators, prey)
    return RatioWorking(len(prey), fieller, fieller_reason, log_delta, log_delta_reason)


def _pairs(
    predators: Sample | None, prey: Sample | None, used: dict[str, Any]
) -> tuple[list[float], list[float]]:
    if predators is None or prey is None:
        return [], []
    prey_of = {bag.bag_id: bag for bag in prey.counted}
    above, below = _mean_recovery(used["predator"]), _mean_recovery(used["prey"])
    both = [
        (_per_unit(bag, above), _per_unit(prey_of[bag.bag_id], below))
        for bag in predators.counted
        if bag.bag_id in prey_of
    ]
    return [one for one, _ in both], [other for _, other in both]


def _per_unit(bag: BagCount, recovery: float) -> float:
    return bag.animals / (bag.proportion_counted * bag.units * recovery)


def _mean_recovery(used: dict[str, Any]) -> float:
    recovery = used["recovery"]
    if recovery.get("alpha") and recovery.get("beta"):
        return BetaRecovery(recovery["alpha"], recovery["beta"]).mean
    return float(recovery.get("value") or 1.0)


def _fieller(
    predators: list[float], prey: list[float]
) -> tuple[FiellerInterval | None, str]:
    if not any(predators):
        return None, "says nothing where no predators were found"
    try:
        found = fieller_interval(predators, prey)
    except EstimationError:
        return None, "needs two bags with both counts, and prey on one of them"
    if not found.bounded:
        return None, "has no ends: the mean of the prey is not surely above 0"
    return found, ""


def _log_delta(
    predators: list[float], prey: list[float]
) -> tuple[LogDeltaInterval | None, str]:
    try:
        return log_delta_interval(predators, prey), ""
    except EstimationError:
        return None, "needs two bags with both counts, predators and prey among them"
