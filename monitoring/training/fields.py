"""The way through a dish: cell by cell, and field of view by field of view."""

import re
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, hypot, sqrt

from monitoring.estimation import DishGrid
from monitoring.estimation.dish import SLACK, column_letters
from monitoring.training.scene import Piece

# Eyepieces of field number 22 show 22 mm at 1 times of the objective; with their own
# 10 times that is 220 mm over the magnification (common practice).
FIELD_MM_TIMES = 220.0
# Parts are taken a little smaller than fits, so that edges are seen twice.
OVERLAP = 1.04
LOWEST_MAGNIFICATION, HIGHEST_MAGNIFICATION = 6, 100


@dataclass(frozen=True, slots=True)
class Field:
    """One look: the part of a cell that is to be counted, in the middle of the view."""

    cell: str
    part: int
    parts: int
    x_mm: float
    y_mm: float
    side_mm: float


def view_mm(magnification: float) -> float:
    """Give the diameter of the field of view at a magnification."""
    return FIELD_MM_TIMES / magnification


def parts_a_side(pitch_mm: float, magnification: float) -> int:
    """Say in how many parts each way a cell must be looked at."""
    return ceil(pitch_mm * sqrt(2) * OVERLAP / view_mm(magnification) - SLACK)


def cell_of(grid: DishGrid, x_mm: float, y_mm: float) -> str:
    """Name the cell that holds a point inside the dish."""
    left, top = corner(grid)
    column = floor((x_mm - left) / grid.pitch_mm)
    row = floor((y_mm - top) / grid.pitch_mm)
    return f"{column_letters(column)}{row + 1}"


def corner(grid: DishGrid) -> tuple[float, float]:
    """Give the upper left corner of the square of cells that encloses a dish."""
    radius, pitch = grid.inner_diameter_mm / 2, grid.pitch_mm
    left, top = (
        offset + pitch * floor((-radius - offset) / pitch + SLACK)
        for offset in grid.offset_mm
    )
    return left, top


def serpentine(grid: DishGrid, cells: Collection[str] = ()) -> tuple[str, ...]:
    """Order cells row by row, every other row backwards; all if none are named."""
    wanted = set(cells) or set(grid.cell_names)
    placed = sorted((_row_and_column(name), name) for name in wanted)
    return tuple(
        name
        for _, name in sorted(
            placed, key=lambda one: (one[0][0], one[0][1] * (-1) ** one[0][0])
        )
    )


def _row_and_column(name: str) -> tuple[int, int]:
    letters, digits = re.fullmatch(r"([A-Z]+)(\d+)", name).groups()  # type: ignore[union-attr]  # names come from the grid
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - ord("A") + 1
    return int(digits) - 1, column - 1


def fields_of_cell(grid: DishGrid, cell: str, magnification: float) -> list[Field]:
    """List the looks that a cell takes, leaving out parts that lie outside the rim."""
    row, column = _row_and_column(cell)
    left, top = corner(grid)
    sides = parts_a_side(grid.pitch_mm, magnification)
    side = grid.pitch_mm / sides
    radius = grid.inner_diameter_mm / 2
    middles = []
    for down in range(sides):
        across = range(sides) if down % 2 == 0 else range(sides - 1, -1, -1)
        for right in across:
            x = left + column * grid.pitch_mm + (right + 0.5) * side
            y = top + row * grid.pitch_mm + (down + 0.5) * side
            nearest = hypot(max(abs(x) - side / 2, 0), max(abs(y) - side / 2, 0))
            if nearest < radius:
                middles.append((x, y))
    return [
        Field(cell, part, len(middles), x, y, side)
        for part, (x, y) in enumerate(middles, start=1)
    ]


@lru_cache(maxsize=16)
def fields_of(
    grid: DishGrid, cells: tuple[str, ...], magnification: float
) -> tuple[Field, ...]:
    """List all looks, cell by cell in their order."""
    return tuple(
        field for cell in cells for field in fields_of_cell(grid, cell, magnification)
    )


def animals_in(
    animals: Collection[Piece], grid: DishGrid, cells: Collection[str]
) -> dict[str, int]:
    """Count the animals of each look whose middle lies in the cells named."""
    wanted, found = set(cells), dict[str, int]()
    for one in animals:
        if cell_of(grid, one.x_mm, one.y_mm) in wanted:
            found[one.look] = found.get(one.look, 0) + 1
    return found
