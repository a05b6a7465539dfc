"""Draw which cells of a dish to look at, numbered in their order."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from monitoring.estimation import DishGrid
from monitoring.figures.dish import DishDrawing, DrawnCell, draw_dish

# Of the radius: numbers of cells cut by the rim are drawn in from it.
INSIDE = 0.93
USUAL_PITCH_MM, LARGER = 10.0, 1.6
# Of a cell's width: how far below its middle a number stands.
FOOT = 0.16


@dataclass(frozen=True, slots=True)
class MarkedCell:
    """A cell to look at: its turn, and where its number stands."""

    cell: DrawnCell
    stage: str
    turn: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True)
class MarkedDish:
    """A dish with the cells to look at."""

    drawing: DishDrawing
    marks: list[MarkedCell]

    @property
    def text_scale(self) -> float:
        """How much larger than a cell's name in a 10 mm grid its number is written."""
        return self.drawing.pitch_mm / USUAL_PITCH_MM * LARGER


def mark_cells(
    grid: DishGrid, pilot: Sequence[str] = (), further: Sequence[str] = ()
) -> MarkedDish:
    """Give each of the pilot's cells, and then the further ones, its number."""
    drawing = draw_dish(
        inner_diameter_mm=grid.inner_diameter_mm,
        pitch_mm=grid.pitch_mm,
        offset_mm=grid.offset_mm,
    )
    cells = {cell.name: cell for cell in drawing.cells}
    marks = [
        _mark(cells[name], "pilot" if turn <= len(pilot) else "further", turn, drawing)
        for turn, name in enumerate([*pilot, *further], start=1)
    ]
    return MarkedDish(drawing, marks)


def _mark(cell: DrawnCell, stage: str, turn: int, drawing: DishDrawing) -> MarkedCell:
    half = drawing.pitch_mm / 2
    x, y = cell.x_mm + half, cell.y_mm + half
    away = hypot(x, y)
    most = INSIDE * drawing.radius_mm
    inwards = min(most / away, 1.0) if away else 1.0
    return MarkedCell(
        cell, stage, turn, x * inwards, y * inwards + FOOT * drawing.pitch_mm
    )
