"""Which cells of a dish to look at next, how many, and what they buy."""

from dataclasses import dataclass

from monitoring.estimation import (
    CellPlan,
    DishGrid,
    DishTotal,
    TwoStageTotal,
    cell_order,
    expand_cells,
    plan_cells,
    two_stage_total,
)
from monitoring.figures.dish_cells import MarkedDish, mark_cells
from monitoring.models import Dish
from monitoring.words import figure, interval

# A dish of fewer cells is quicker counted whole than planned.
FEWEST_CELLS = 25
COUNT_WHOLE = "This dish has so few cells that it is quicker counted whole."


@dataclass(frozen=True, slots=True, kw_only=True)
class CellsAsked:
    """What was asked for: the order's seed, the precision, and counts so far.

    cv: wanted standard error over total, as a share. counts: of the pilot's cells.
    """

    seed: int
    cv: float
    pilot: int
    counts: tuple[int, ...] = ()
    further: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CellsPage:
    """The cells in their order, and what the counts so far allow to say."""

    sentence: str
    drawing: MarkedDish
    pilot: tuple[str, ...] = ()
    further: tuple[str, ...] = ()
    plan: CellPlan | None = None
    pilot_alone: DishTotal | None = None
    total: TwoStageTotal | None = None


def grid_of(dish: Dish) -> DishGrid:
    """Give the core's grid of a dish."""
    return DishGrid(
        inner_diameter_mm=dish.inner_diameter_mm,
        pitch_mm=dish.pitch_mm,
        offset_mm=(dish.offset_x_mm, dish.offset_y_mm),
    )


def cells_page(dish: Dish, asked: CellsAsked) -> CellsPage:
    """Work out as much as the counts given allow."""
    grid = grid_of(dish)
    order = cell_order(grid.cell_names, seed=asked.seed)
    if len(order) < FEWEST_CELLS:
        return CellsPage(sentence=COUNT_WHOLE, drawing=mark_cells(grid))
    pilot = order[: asked.pilot]
    if not asked.counts:
        return CellsPage(
            sentence=f"Look at these {asked.pilot} cells first, in this order.",
            drawing=mark_cells(grid, pilot),
            pilot=pilot,
        )
    counts = dict(zip(pilot, asked.counts, strict=True))
    plan = plan_cells(counts, grid=grid, cv=asked.cv)
    cells = asked.pilot + len(asked.further) if asked.further else plan.cells
    total = None
    if asked.further:
        seen = counts | dict(zip(order[asked.pilot :], asked.further, strict=False))
        total = two_stage_total(seen, grid=grid, pilot=asked.pilot, cv=asked.cv)
    further = order[asked.pilot : cells]
    return CellsPage(
        sentence=_told(plan, total, grid),
        # All cells at once need no order, nor numbers on the drawing.
        drawing=mark_cells(grid, pilot, () if cells == len(order) else further),
        pilot=pilot,
        further=further,
        plan=plan,
        pilot_alone=_pilot_alone(counts, grid),
        total=total,
    )


def _pilot_alone(counts: dict[str, int], grid: DishGrid) -> DishTotal:
    areas = dict(zip(grid.cell_names, grid.cell_areas_mm2, strict=True))
    return expand_cells(
        list(counts.values()),
        [areas[name] for name in counts],
        dish_area_mm2=grid.area_mm2,
        cells_in_dish=len(areas),
    )


def _told(plan: CellPlan, total: TwoStageTotal | None, grid: DishGrid) -> str:
    if total is not None:
        return (
            f"About {figure(total.total)} animals in the dish"
            f" ({interval(total.low, total.high)}; the interval holds 95 times in 100)."
        )
    in_dish = len(grid.cell_names)
    seen = f"About {figure(plan.mean_per_cell)} animals a cell:"
    if plan.whole_dish:
        return (
            f"{seen} count the whole dish. So many of its {in_dish} cells would be"
            " needed that all of them are hardly more work, and leave no doubt."
        )
    return (
        f"{seen} count {plan.further_cells} further cells, {plan.cells} of"
        f" {in_dish} in all. The total is then known with a standard error of about"
        f" {100 * plan.expected_cv:.0f} % of it."
    )
