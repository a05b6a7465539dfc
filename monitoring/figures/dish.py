"""Draw a gridded dish."""

import re
from dataclasses import dataclass
from math import floor

from monitoring.estimation import DishGrid

MM2_PER_CM2 = 100.0
MARGIN_MM = 4.0
# A cell that the rim leaves less of than this has no room for its name.
LABEL_FROM_SHARE = 0.85


@dataclass(frozen=True, slots=True)
class DrawnCell:
    """One cell of the grid, with its square in millimetres from the centre."""

    name: str
    x_mm: float
    y_mm: float
    area_mm2: float
    whole: bool
    labelled: bool
    pitch_mm: float

    @property
    def label_x_mm(self) -> float:
        """Middle of the cell, where its name stands."""
        return self.x_mm + self.pitch_mm / 2

    @property
    def label_y_mm(self) -> float:
        """Foot of the cell's name."""
        return self.y_mm + self.pitch_mm * 0.52

    @property
    def size_y_mm(self) -> float:
        """Foot of the cell's area."""
        return self.y_mm + self.pitch_mm * 0.78

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
        cells.append(
            DrawnCell(
                name=name,
                x_mm=left + column * pitch_mm,
                y_mm=top + row * pitch_mm,
                area_mm2=float(area),
                whole=bool(area > whole_area * (1 - 1e-9)),
                labelled=bool(area > whole_area * LABEL_FROM_SHARE),
                pitch_mm=pitch_mm,
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
