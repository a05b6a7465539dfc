"""Put a plan together from what is known of a block and what is asked."""

from typing import Any

from monitoring.effort.asked import Plan, Subject, wanted_of
from monitoring.effort.plans import clumping_for, own_rounds, scale_of
from monitoring.effort.trials import TrialSetting, trials_of
from monitoring.queries.effort import Known


def plan_for(known: Known, cleaned: dict[str, Any]) -> Plan:
    """Choose scale and clumping, and draw the trial runs."""
    wanted = wanted_of(cleaned)
    own = own_rounds(known.history, known.block.pk)
    scale = scale_of(
        known.recovery,
        units=own.units,
        share_counted=cleaned["counted_percent"] / 100,
    )
    clumping = clumping_for(
        own,
        exposure=scale.exposure,
        rounds=cleaned["rounds"],
        law=cleaned["law"],
        k=cleaned["k"],
    )
    setting = TrialSetting(
        exposure=scale.exposure,
        fewest=wanted.fewest,
        most=wanted.most,
        seed=wanted.seed,
    )
    means = wanted.two_densities
    counted = (scale.counted(means[0]), scale.counted(means[1])) if means else None
    return Plan(
        subject=Subject(known.organism, known.tissue, known.block.name),
        wanted=wanted,
        scale=scale,
        clumping=clumping,
        trials=trials_of(own, setting, means=counted),
    )
