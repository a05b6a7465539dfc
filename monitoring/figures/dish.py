"""Draw a gridded dish."""

import re
from dataclasses import dataclass
from math import floor, sqrt

import numpy as np

from monitoring.estimation import DishGrid

MM2_PER_CM2 = 100.0
MARGIN_MM = 4.0
# A cell that the rim leaves less of than this has no room for words at all.
LABEL_FROM_SHARE = 0.12
# Words are sized for a pitch of 10 mm, and smaller where the rim cuts a cell.
USUAL_PITCH_MM, SMALLEST_WORDS = 10.0, 0.55
# Points a side of a cut cell by which the middle of what is left of it is found.
FINENESS = 24


@dataclass(frozen=True, slots=True)
class CellLabel:
    """Where a cell's name and area stand, and how large."""

    x_mm: float
    y_mm: float
    scale: float


@dataclass(frozen=True, slots=True)
class DrawnCell:
    """One cell of the grid, with its square in millimetres from the centre."""

    name: str
    x_mm: float
    y_mm: float
    area_mm2: float
    whole: bool
    label: CellLabel | None

    @property
    def area_cm2(self) -> float:
        """Area inside the rim."""
        return self.area_mm2 / MM2_PER_CM2


@dataclass(frozen=True, slots=True)
class DishDrawing:
    """What the picture of a dish needs."""

    cells: list[DrawnCell]
    radius_mm: float
    pitch_mm: float
    view_box: str
    area_cm2: float
    whole_cells: int

    @property
    def unlabelled(self) -> int:
        """How many cells are too small for words."""
        return sum(cell.label is None for cell in self.cells)


def draw_dish(
    *, inner_diameter_mm: float, pitch_mm: float, offset_mm: tuple[float, float]
) -> DishDrawing:
    """Place every cell of a dish around its centre, x to the right, y down."""
    grid = DishGrid(
        inner_diameter_mm=inner_diameter_mm, pitch_mm=pitch_mm, offset_mm=offset_mm
    )
    radius = inner_diameter_mm / 2
    left, top = (
        offset + pitch_mm * floor((-radius - offset) / pitch_mm) for offset in offset_mm
    )
    whole_area = pitch_mm * pitch_mm
    cells = []
    for name, area in zip(grid.cell_names, grid.cell_areas_mm2, strict=True):
        column, row = _column_and_row(name)
        x, y = left + column * pitch_mm, top + row * pitch_mm
        share = float(area) / whole_area
        cells.append(
            DrawnCell(
                name=name,
                x_mm=x,
                y_mm=y,
                area_mm2=float(area),
                whole=share > 1 - 1e-9,
                label=_label((x, y), pitch_mm, radius, share),
            )
        )
    reach = radius + MARGIN_MM
    return DishDrawing(
        cells=cells,
        radius_mm=radius,
        pitch_mm=pitch_mm,
        view_box=f"{-reach:g} {-reach:g} {2 * reach:g} {2 * reach:g}",
        area_cm2=grid.area_mm2 / MM2_PER_CM2,
        whole_cells=grid.whole_cells,
    )


def _column_and_row(name: str) -> tuple[int, int]:
    """Read a cell's name, letters for columns and numbers for rows, from 0."""
    match = re.fullmatch(r"([A-Z]+)(\d+)", name)
    if match is None:
        raise ValueError(f"{name!r} is not the name of a cell.")
    column = 0
    for letter in match[1]:
        column = column * 26 + ord(letter) - ord("A") + 1
    return column - 1, int(match[2]) - 1


def _label(
    corner_mm: tuple[float, float], pitch_mm: float, radius_mm: float, share: float
) -> CellLabel | None:
    """Put the words into the middle of what the rim leaves of a cell."""
    if share < LABEL_FROM_SHARE:
        return None
    steps = (np.arange(FINENESS) + 0.5) / FINENESS * pitch_mm
    across, down = np.meshgrid(corner_mm[0] + steps, corner_mm[1] + steps)
    inside = np.hypot(across, down) <= radius_mm
    return CellLabel(
        x_mm=round(float(across[inside].mean()), 2),
        y_mm=round(float(down[inside].mean()), 2),
        scale=round(pitch_mm / USUAL_PITCH_MM * max(sqrt(share), SMALLEST_WORDS), 3),
    )
