"""How much of a density's interval its recovery alone would make."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitoring.estimation import BetaRecovery
from monitoring.models import Density, Recovery


@dataclass(frozen=True, slots=True)
class RecoveryAlone:
    """The interval that would be left if everything but the recovery were known."""

    low: float
    high: float
    less: float
    more: float


def recovery_alone(density: Density) -> RecoveryAlone | None:
    """Give it; None for a density without figure or with a recovery held fixed."""
    used: Mapping[str, float | None] = density.used["recovery"]
    alpha, beta = used.get("alpha"), used.get("beta")
    if density.median is None or not alpha or not beta:
        return None
    recovery = BetaRecovery(alpha, beta)
    worst, best = recovery.interval()
    low, high = recovery.mean / best, recovery.mean / max(worst, 1e-6)
    return RecoveryAlone(
        low=density.median * low,
        high=density.median * high,
        less=1 - low,
        more=high - 1,
    )


def runs_behind(recovery: Recovery | None) -> list[dict[str, str]]:
    """List the calibration runs that a recovery was pooled from, as they stood then."""
    return list(recovery.basis.get("runs", [])) if recovery is not None else []
