"""The list of calibration runs, and the page of one."""

from dataclasses import dataclass
from itertools import groupby

from blocks.models import FarmGroup
from monitoring.estimation import (
    PooledRecovery,
    WashRecovery,
    WashRun,
    pool_recoveries,
    recovery_from_washes,
)
from monitoring.models import CalibrationRun, Organism, Tally
from monitoring.pages.recovery_page import methods_of
from monitoring.queries import calibrations as queries
from monitoring.recoveries.runs import Run, as_run, entered, gathered, same_method


@dataclass(frozen=True, slots=True)
class Measured:
    """An organism, tissue and method with its runs."""

    organism: Organism
    tissue: str
    method: str
    runs: int
    from_sheets: int


@dataclass(frozen=True, slots=True)
class RunPage:
    """What one run says by itself."""

    alone: PooledRecovery
    washes: WashRecovery | None
    successor: CalibrationRun | None


def calibrations_page(farm_group: FarmGroup) -> list[Measured]:
    """List what the group has measured, runs out of sheets too; 2 queries."""
    runs: dict[tuple[int, str], list[Run]] = {}
    organisms: dict[int, Organism] = {}
    for row in queries.calibration_runs(farm_group):
        organisms[row.organism_id] = row.organism
        runs.setdefault((row.organism_id, row.tissue), []).extend(entered([row]))
    tallies = sorted(queries.tallies_of_repeat_washes(farm_group), key=_of)
    for key, rows in groupby(tallies, key=_of):
        of_key = list(rows)
        organisms[key[0]] = of_key[0].organism
        runs.setdefault(key, []).extend(gathered(of_key).runs)
    measured = [
        _measured(organisms[organism_id], tissue, method, found)
        for (organism_id, tissue), found in runs.items()
        for method in methods_of(found)
    ]
    return sorted(measured, key=lambda one: (one.organism.position, one.tissue))


def _of(tally: Tally) -> tuple[int, str]:
    return tally.organism_id, tally.wash.bag.tissue


def _measured(
    organism: Organism, tissue: str, method: str, runs: list[Run]
) -> Measured:
    mine = [run for run in runs if same_method(run.method, method)]
    out_of_sheets = sum(run.source == "sheets" for run in mine)
    return Measured(organism, tissue, method, len(mine), out_of_sheets)


def run_page(run: CalibrationRun) -> RunPage:
    """Work out a run by itself; at most 1 query."""
    core = as_run(run).of_core
    washes = None
    if isinstance(core, WashRun):
        washes = recovery_from_washes(core.catches)
    superseded = run.state == CalibrationRun.State.SUPERSEDED
    return RunPage(
        alone=pool_recoveries([core]),
        washes=washes,
        successor=queries.successor_of(run) if superseded else None,
    )
