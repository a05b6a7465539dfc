"""From the cells of a tally to the animals in its dish."""

from dataclasses import dataclass
from math import sqrt

from monitoring.bench.judging import Plan, two_stages
from monitoring.estimation import (
    DishGrid,
    DishTotal,
    TwoStageTotal,
    expand_cells,
    poisson_limits,
)
from monitoring.models import Tally
from monitoring.pages.dish_cells_page import grid_of
from monitoring.words import figure, interval

CONFIDENCE = 0.95
MM2_PER_CM2 = 100.0


@dataclass(frozen=True, slots=True)
class CellLine:
    """One cell looked at."""

    name: str
    area_cm2: float
    count: int | None

    @property
    def per_cm2(self) -> float | None:
        """Animals per area."""
        return None if self.count is None else self.count / self.area_cm2


@dataclass(frozen=True, slots=True)
class TwoStages:
    """How the total of a dish follows from a first stage and the cells it called for.

    alone: the total by the first stage as it was, before averaging over `averaged`
    choices of it that would have called for as many cells.
    """

    first_cells: int
    first_animals: int
    further_cells: int
    further_animals: int
    further_cm2: float
    rest_cm2: float
    alone: float
    averaged: int


@dataclass(frozen=True, slots=True)
class TallyPage:
    """The working of one tally.

    total: by the ratio to area; None where the cells' own counts were not written
    down, and then at_best is the interval if cells were no more unlike than chance.
    fpc: what is left of the standard error because so much of the dish was seen.
    """

    sentence: str
    lines: list[CellLine]
    cells_in_dish: int
    cells_counted: int
    dish_cm2: float
    seen_cm2: float
    estimate: float
    fpc: float
    total: DishTotal | TwoStageTotal | None
    at_best: tuple[float, float] | None
    two_stages: TwoStages | None = None


def tally_page(tally: Tally) -> TallyPage:
    """Work out the dish's total from a counted tally; 1 query."""
    grid = grid_of(tally.dish)
    areas = dict(zip(grid.cell_names, grid.cell_areas_mm2, strict=True))
    lines = [
        CellLine(row.cell, areas[row.cell] / MM2_PER_CM2, row.count)
        for row in tally.cell_counts.all()
        if row.cell in areas
    ]
    count = tally.count or 0
    cells = tally.cells_counted or len(areas)
    estimate = count / tally.share_of_animals
    counted = [line.count for line in lines if line.count is not None]
    total: DishTotal | TwoStageTotal | None = None
    stages = None
    if lines and len(counted) == len(lines) and sum(counted) == count:
        staged = _in_two_stages(tally, lines, grid)
        stages = _stages(tally, lines, staged, grid) if staged else None
        total = staged or expand_cells(
            counted,
            [areas[line.name] for line in lines],
            dish_area_mm2=grid.area_mm2,
            cells_in_dish=len(areas),
            confidence=CONFIDENCE,
        )
    at_best = None if total and total.standard_error > 0 else _at_best(tally)
    return TallyPage(
        sentence=_told(tally, estimate, total, at_best),
        lines=lines,
        cells_in_dish=len(areas),
        cells_counted=cells,
        dish_cm2=grid.area_mm2 / MM2_PER_CM2,
        seen_cm2=tally.proportion_counted * grid.area_mm2 / MM2_PER_CM2,
        estimate=estimate,
        fpc=sqrt(max(1 - cells / len(areas), 0.0)),
        total=total,
        at_best=at_best,
        two_stages=stages,
    )


def _in_two_stages(
    tally: Tally, lines: list[CellLine], grid: DishGrid
) -> TwoStageTotal | None:
    """Give the total by both stages; None for a dish that was not counted so."""
    reading = tally.source_reading
    if tally.pilot_cells is None or reading is None:
        return None
    cells = {line.name: line.count or 0 for line in lines}
    return two_stages(cells, plan=Plan(**reading.told.get("plan", {})), grid=grid)


def _stages(
    tally: Tally, lines: list[CellLine], total: TwoStageTotal, grid: DishGrid
) -> TwoStages:
    pilot = tally.pilot_cells or 0
    first, further = lines[:pilot], lines[pilot:]
    first_animals = sum(line.count or 0 for line in first)
    further_animals = sum(line.count or 0 for line in further)
    further_cm2 = sum(line.area_cm2 for line in further)
    rest_cm2 = grid.area_mm2 / MM2_PER_CM2 - sum(line.area_cm2 for line in first)
    return TwoStages(
        first_cells=len(first),
        first_animals=first_animals,
        further_cells=len(further),
        further_animals=further_animals,
        further_cm2=further_cm2,
        rest_cm2=rest_cm2,
        alone=first_animals + rest_cm2 * further_animals / further_cm2,
        averaged=total.pilots_averaged,
    )


def _at_best(tally: Tally) -> tuple[float, float]:
    """Give the interval of a Poisson count, exact, expanded to the unseen part."""
    count, share = tally.count or 0, tally.proportion_counted
    low, high = poisson_limits(count, confidence=CONFIDENCE)
    unseen = (1 - share) / share
    return count + low * unseen, count + high * unseen


def _told(
    tally: Tally,
    estimate: float,
    total: DishTotal | TwoStageTotal | None,
    at_best: tuple[float, float] | None,
) -> str:
    organism = tally.organism.name
    if tally.count is None:
        return f"The analyst found the dish not countable for {organism}."
    if tally.scope == Tally.Scope.WHOLE:
        return f"{tally.count:,} {organism} in the whole dish: nothing is expanded."
    about = f"About {figure(estimate)} {organism} in the dish"
    if total is not None and at_best is None:
        return (
            f"{about} ({interval(total.low, total.high)}; the interval holds 95 times"
            " in 100)."
        )
    low, high = at_best or (estimate, estimate)
    return (
        f"{about}, and at the very best {interval(low, high)}: that would be so if"
        " cells were no more unlike than chance makes them."
    )
