"""Pool the runs of one organism, tissue and method; say which are in force."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from monitoring.estimation import PooledRecovery, pool_recoveries
from monitoring.models import CalibrationRun, Recovery
from monitoring.recoveries.runs import Run

Origin = Recovery.Origin
# In fewer runs nothing can be seen of how unlike runs are.
FEWEST_RUNS = 3
KINDS = {
    Origin.REPEAT_WASHES.value: ("repeat washes", {CalibrationRun.Kind.REPEAT_WASHES}),
    Origin.SPIKES.value: ("spiked samples", {CalibrationRun.Kind.SPIKES}),
    Origin.CALIBRATION.value: ("both together", set(CalibrationRun.Kind)),
}


@dataclass(frozen=True, slots=True)
class Pool:
    """Runs pooled: of one kind, or of both.

    origin: what the recovery would be marked as coming from. digest: of the runs, so
    that nobody puts others in force than were seen.
    """

    origin: str
    title: str
    runs: list[Run]
    pooled: PooledRecovery
    digest: str

    @property
    def new_run(self) -> tuple[float, float]:
        """The interval of 95 percent of a run to come."""
        return self.pooled.new_run.interval()

    @property
    def enough(self) -> bool:
        """Whether there are runs enough to put it in force."""
        return len(self.runs) >= FEWEST_RUNS

    @property
    def basis(self) -> dict[str, Any]:
        """What a recovery keeps of the runs behind it."""
        low, high = self.new_run
        return {
            "kinds": self.title,
            "method": self.runs[0].method,
            "digest": self.digest,
            "mean": self.pooled.mean,
            "mean_low": self.pooled.low,
            "mean_high": self.pooled.high,
            "between_runs": self.pooled.between_runs,
            "new_run_low": low,
            "new_run_high": high,
            "runs": [_described(run) for run in self.runs],
        }


def pools_of(runs: Sequence[Run]) -> list[Pool]:
    """Pool usable runs by kind and, where both kinds are there, together."""
    usable = [run for run in runs if not run.problem]
    pools = []
    for origin, (title, kinds) in KINDS.items():
        chosen = [run for run in usable if run.kind in kinds]
        if {run.kind for run in chosen} == kinds:
            pools.append(_pool(origin, title, chosen))
    return pools


def _pool(origin: str, title: str, runs: list[Run]) -> Pool:
    text = json.dumps([_described(run) for run in runs], sort_keys=True)
    return Pool(
        origin=origin,
        title=title,
        runs=runs,
        pooled=pool_recoveries([run.of_core for run in runs]),
        digest=hashlib.sha256(text.encode()).hexdigest(),
    )


def _described(run: Run) -> dict[str, Any]:
    """Write down a run as a recovery keeps it, whatever becomes of the run."""
    described: dict[str, Any] = {
        "kind": run.kind,
        "ran_on": run.ran_on.isoformat(),
        "source": run.source,
        "uuid": str(run.uuid),
        "counts": run.counts,
        "who": run.who,
    }
    if run.kind == CalibrationRun.Kind.SPIKES:
        return described | {"added": run.added, "recovered": run.recovered}
    return described | {"catches": list(run.catches), "bags": run.bags}
