"""The page of one organism, tissue and method: its runs, and what they make."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from blocks.errors import ConflictError
from blocks.models import FarmGroup
from monitoring import words
from monitoring.estimation import RunRecovery
from monitoring.figures.recovery import MarkedRun, recovery_figure
from monitoring.figures.tones import tone_of
from monitoring.models import Organism, Recovery
from monitoring.queries import calibrations as queries
from monitoring.recoveries.pools import Pool, pools_of
from monitoring.recoveries.runs import (
    Run,
    entered,
    gathered,
    same_method,
)
from monitoring.recoveries.words import share

CHANGED = "Runs were entered or withdrawn since this page was shown. Look again."


@dataclass(frozen=True, slots=True)
class PoolPart:
    """One pool on the page: its sentence, table and figure."""

    pool: Pool
    sentence: str
    lines: list[tuple[Run, RunRecovery]]
    figure_id: str
    figure: dict[str, Any]
    in_force: bool


@dataclass(frozen=True, slots=True)
class RecoveryPage:
    """Everything on the page."""

    organism: Organism
    tissue: str
    method: str
    methods: list[str]
    parts: list[PoolPart]
    problems: list[Run]
    bags_left_out: int
    in_force: Recovery | None

    def pool_of(self, origin: str, digest: str) -> Pool:
        """Give the pool that was seen; ConflictError where it is another by now."""
        for part in self.parts:
            if part.pool.origin == origin and part.pool.digest == digest:
                return part.pool
        raise ConflictError(CHANGED)


def recovery_page(
    farm_group: FarmGroup, organism: Organism, tissue: str, *, method: str, on: date
) -> RecoveryPage:
    """Gather the page of a method; without one, of that with most runs; 3 queries."""
    found = gathered(
        queries.tallies_of_repeat_washes(farm_group, organism=organism, tissue=tissue)
    )
    by_hand = queries.runs_of(farm_group, organism=organism, tissue=tissue)
    runs = sorted([*entered(by_hand), *found.runs], key=lambda run: run.ran_on)
    methods = methods_of(runs)
    method = method or next(iter(methods), "")
    mine = [run for run in runs if same_method(run.method, method)]
    in_force = queries.recovery_in_force(
        farm_group, organism=organism, tissue=tissue, on=on
    )
    return RecoveryPage(
        organism=organism,
        tissue=tissue,
        method=method,
        methods=methods,
        parts=[_part(pool, organism, in_force) for pool in pools_of(mine)],
        problems=[run for run in mine if run.problem],
        bags_left_out=found.bags_left_out,
        in_force=in_force,
    )


def methods_of(runs: list[Run]) -> list[str]:
    """List the methods of runs, that with most runs first."""
    counted: dict[str, list[str]] = {}
    for run in runs:
        counted.setdefault(run.method.casefold(), []).append(run.method)
    alike = sorted(counted.values(), key=len, reverse=True)
    return [wordings[-1] for wordings in alike]


def _part(pool: Pool, organism: Organism, in_force: Recovery | None) -> PoolPart:
    lines = list(zip(pool.runs, pool.pooled.runs, strict=True))
    marked = [
        MarkedRun(one.median, one.low, one.high, _label(run, one)) for run, one in lines
    ]
    return PoolPart(
        pool=pool,
        sentence=_sentence(pool),
        lines=lines,
        figure_id=f"runs-{pool.origin}",
        figure=recovery_figure(marked, pool.pooled, tone_of(organism.position)),
        in_force=in_force is not None and in_force.basis.get("digest") == pool.digest,
    )


def _sentence(pool: Pool) -> str:
    pooled = pool.pooled
    low, high = pool.new_run
    runs = "1 run" if len(pool.runs) == 1 else f"{len(pool.runs)} runs"
    return (
        f"One wash brings off {share(pooled.mean)} of the animals on average"
        f" ({share(pooled.low)} to {share(pooled.high)}, from {runs}); a single run to"
        f" come lies between {share(low)} and {share(high)} 95 times in 100."
    )


def _label(run: Run, one: RunRecovery) -> str:
    return (
        f"{words.day(run.ran_on)}: {run.counts}<br>{share(one.median)}"
        f" ({share(one.low)} to {share(one.high)})"
    )
