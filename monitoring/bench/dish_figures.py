"""What one organism's count at the bench says of its dish, with an interval."""

from dataclasses import dataclass

from monitoring.bench.judging import Counted, Plan, two_stages
from monitoring.estimation import DishGrid, compare_counts, expand_cells

# Cells that are all alike, or a single one, say nothing of how unlike cells are.
FEWEST_CELLS = 2


@dataclass(frozen=True, slots=True)
class DishFigure:
    """Animals in a dish.

    standard_error: of the total, from counting cells; 0 for a whole dish. at_best:
    whether the interval holds only if cells are no more unlike than chance makes them.
    """

    total: float
    standard_error: float
    low: float
    high: float
    at_best: bool = False


def figure_of_dish(
    one: Counted, *, grid: DishGrid, plan: Plan, confidence: float = 0.95
) -> DishFigure | None:
    """Expand a count to its dish; None for one that was not countable.

    A dish counted in two stages by their total, other cells by the ratio to area; where
    cells cannot tell how unlike they are, by the exact limits of a Poisson count.
    """
    if one.count is None:
        return None
    if one.scope == "whole":
        whole = float(one.count)
        return DishFigure(whole, 0.0, whole, whole)
    cells = {name: count for name, count in one.cells if count is not None}
    if one.pilot is not None and len(cells) == len(one.cells):
        found = two_stages(cells, plan=plan, grid=grid)
        if found is not None and found.standard_error > 0:
            return DishFigure(found.total, found.standard_error, found.low, found.high)
    if len(cells) == len(one.cells) >= FEWEST_CELLS and one.count:
        areas = dict(zip(grid.cell_names, grid.cell_areas_mm2, strict=True))
        expanded = expand_cells(
            list(cells.values()),
            [float(areas[name]) for name in cells],
            dish_area_mm2=grid.area_mm2,
            cells_in_dish=len(areas),
            confidence=confidence,
        )
        if expanded.standard_error > 0:
            return DishFigure(
                expanded.total,
                expanded.standard_error,
                expanded.low,
                expanded.high,
            )
    return _by_chance_alone(one.count, one.proportion, confidence)


def _by_chance_alone(count: int, share: float, confidence: float) -> DishFigure:
    limits = compare_counts(
        count, count, first_share=share, confidence=confidence
    ).first
    total, unseen = count / share, 1 - share
    return DishFigure(
        total=total,
        standard_error=(count * unseen) ** 0.5 / share,
        low=count + limits[0] * unseen,
        high=count + limits[1] * unseen,
        at_best=share < 1,
    )
