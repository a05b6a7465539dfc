"""What a density needs besides its counts: recovery, weights, prior; and its digest."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from typing import Any, Literal

from monitoring.densities.samples import Sample
from monitoring.estimation import (
    DEFAULT_UPPER_LIMIT,
    METHOD_VERSIONS,
    BetaRecovery,
    KPrior,
    LeafPriors,
    LogNormalK,
    LogNormalSigma,
    SigmaPrior,
)
from monitoring.models import CanopyWeight, ClumpingPrior, RatioSetting, Recovery

METHOD: Literal["averaged"] = "averaged"
RATIO_METHOD = "joint_posterior"
RATIO_VERSION = "2"
UNCORRECTED = {"value": 1.0, "origin": "uncorrected"}


@dataclass(frozen=True, slots=True)
class Settings:
    """A farm group's recoveries, canopy weights and clumping, newest first.

    `ratios` say from when predators and prey are taken to come off a leaf alike.
    """

    recoveries: list[Recovery]
    weights: list[CanopyWeight]
    clumping: list[ClumpingPrior]
    ratios: list[RatioSetting] = field(default_factory=list)

    def recoveries_shared_on(self, day: date) -> bool:
        """Tell whether the group has stated it for a day; not shared by default."""
        return next(
            (row.recoveries_shared for row in self.ratios if row.valid_from <= day),
            False,
        )

    def recovery_on(
        self, day: date, *, organism_id: int, tissue: str
    ) -> Recovery | None:
        """Give the recovery in force on a day; None where none is known."""
        return next(
            (
                row
                for row in self.recoveries
                if row.organism_id == organism_id
                and row.tissue == tissue
                and row.valid_from <= day
            ),
            None,
        )

    def clumping_on(self, day: date, sample: Sample) -> ClumpingPrior | None:
        """Give what earlier rounds tell of a sample's clumping; None for nothing.

        It is told of bags that hold so many units, and goes for such bags only.
        """
        row = next(
            (
                one
                for one in self.clumping
                if one.organism_id == sample.organism_id
                and one.tissue == sample.tissue
                and one.valid_from <= day
            ),
            None,
        )
        if row is None or row.k_median is None:
            return None
        alike = all(bag.units == row.units for bag in sample.counted)
        return row if alike else None

    def weights_on(self, day: date) -> dict[str, float]:
        """Give the share of leaves by canopy position in force on a day."""
        in_force = [row for row in self.weights if row.valid_from <= day]
        return {
            row.position: row.share
            for row in in_force
            if row.valid_from == in_force[0].valid_from
        }


def settings_of(farm_group_id: int) -> Settings:
    """Read what densities need: recoveries, canopy weights, clumping; 3 queries."""
    return Settings(
        recoveries=list(
            Recovery.objects.for_group(farm_group_id).order_by("-valid_from", "-pk")
        ),
        weights=list(
            CanopyWeight.objects.for_group(farm_group_id).order_by("-valid_from", "pk")
        ),
        clumping=list(
            ClumpingPrior.objects.for_group(farm_group_id)
            .order_by("-valid_from", "-pk")
            .defer("basis")
        ),
    )


def settings_with_ratios(farm_group_id: int) -> Settings:
    """Read what densities and ratios need; 4 queries."""
    ratios = RatioSetting.objects.for_group(farm_group_id)
    return replace(
        settings_of(farm_group_id),
        ratios=list(ratios.order_by("-valid_from", "-pk")),
    )


def recovery_value(recovery: Recovery | None) -> float | BetaRecovery:
    """Give a stored recovery as the estimators take it; 1 where none is known."""
    if recovery is None:
        return 1.0
    if recovery.fixed_value is not None:
        return recovery.fixed_value
    return BetaRecovery(recovery.alpha or 0.0, recovery.beta or 0.0)


def describe_recovery(recovery: Recovery | None) -> dict[str, Any]:
    """Write down a recovery as a stored density shows it."""
    if recovery is None:
        return dict(UNCORRECTED)
    return {
        "recovery_id": recovery.pk,
        "alpha": recovery.alpha,
        "beta": recovery.beta,
        "value": recovery.fixed_value,
        "origin": recovery.origin,
        "note": recovery.note,
    }


def shares_of(sample: Sample, weights: Mapping[str, float]) -> dict[str, float] | None:
    """Give the positions' shares, scaled to those found; None to pool the bags.

    Only leaves of two positions or more are weighted, and only where the group has
    stated a share for every position found.
    """
    found = sample.positions
    if sample.tissue != "leaf" or len(found) < 2:
        return None
    if any(weights.get(position, 0) <= 0 for position in found):
        return None
    total = sum(weights[position] for position in found)
    return {position: weights[position] / total for position in found}


def priors_of(clumping: ClumpingPrior | None) -> LeafPriors:
    """Give what is held of a sample's clumping before its counts are seen."""
    if clumping is None:
        return LeafPriors()
    return LeafPriors(
        k=LogNormalK(clumping.k_median or 0.0, clumping.k_sd_log or 0.0),
        sigma=LogNormalSigma(
            clumping.sigma_median or 0.0, clumping.sigma_sd_log or 0.0
        ),
        lognormal_odds=clumping.lognormal_odds or 0.0,
    )


def used_for(
    recovery: Recovery | None,
    shares: Mapping[str, float] | None,
    clumping: ClumpingPrior | None,
) -> dict[str, Any]:
    """Write down everything but the counts that a density was made with."""
    without = LeafPriors()
    return {
        "recovery": describe_recovery(recovery),
        "clumping": {
            "k": _described(without.k),
            "sigma": _described(without.sigma),
            "lognormal_odds": without.lognormal_odds,
        },
        "history": describe_clumping(clumping),
        "weights": dict(shares) if shares else None,
        "upper_limit": DEFAULT_UPPER_LIMIT,
    }


def describe_clumping(clumping: ClumpingPrior | None) -> dict[str, Any] | None:
    """Write down what earlier rounds told, as a stored density shows it."""
    if clumping is None:
        return None
    priors = priors_of(clumping)
    return {
        "prior_id": clumping.pk,
        "k": _described(priors.k),
        "sigma": _described(priors.sigma),
        "lognormal_odds": priors.lognormal_odds,
        "rounds": clumping.rounds,
        "bags": clumping.bags,
    }


def _described(prior: KPrior | SigmaPrior) -> dict[str, Any]:
    return {"kind": type(prior).__name__} | asdict(prior)


def digest_of(sample: Sample, used: Mapping[str, Any]) -> str:
    """Give the digest of all inputs; it changes if and only if one of them does."""
    inputs = {
        "method": [METHOD, METHOD_VERSIONS[METHOD]],
        "used": used,
        "bags": [
            [bag.code, bag.position, bag.units, bag.animals, bag.proportion_counted]
            for bag in sorted(sample.counted)
        ],
        "missing": sorted(sample.missing),
        "uncountable": sorted(sample.uncountable),
    }
    return _sha256(inputs)


def same_recovery(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Tell whether two recoveries, as written down, have the same figures."""
    return all(one.get(key) == other.get(key) for key in ("alpha", "beta", "value"))


def ratio_digest(predator_digest: str, prey_digest: str, *, shared: bool) -> str:
    """Give the digest of a ratio's inputs: its two densities', and what is shared."""
    inputs = [RATIO_METHOD, RATIO_VERSION, predator_digest, prey_digest]
    return _sha256([*inputs, "shared recovery"] if shared else inputs)


def _sha256(inputs: object) -> str:
    # Floats are written in full, so the digest sees every bit of them.
    text = json.dumps(inputs, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()
