"""The gridded dish: cell areas cut by the rim, and the step from cells to the dish."""

from dataclasses import dataclass
from functools import cached_property
from math import floor, inf, pi, sqrt

import numpy as np
from scipy import stats

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    numbers,
    positive,
    proportion,
    whole_counts,
)

# Grid lines that fall on the rim to within rounding belong to the rim.
SLACK = 1e-9


@dataclass(frozen=True, kw_only=True)
class DishGrid:
    """A square grid under a round dish.

    inner_diameter_mm: inside width of the dish, above 0.
    pitch_mm: width of a cell, above 0 and not above the diameter.
    offset_mm: where a crossing of grid lines lies from the centre, x to the right and
    y down; at (0, 0) a line passes through the centre both ways.

    Cells are named by column letters from the left (A, B, ... Z, AA) and row numbers
    from the top of the square of cells that encloses the dish.
    """

    inner_diameter_mm: float
    pitch_mm: float
    offset_mm: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        positive("inner_diameter_mm", self.inner_diameter_mm)
        positive("pitch_mm", self.pitch_mm)
        if self.pitch_mm > self.inner_diameter_mm:
            raise EstimationError("pitch_mm", "must not be above the dish's diameter")
        numbers("offset_mm", self.offset_mm)

    @property
    def area_mm2(self) -> float:
        """Area of the dish inside its rim."""
        return pi * (self.inner_diameter_mm / 2) ** 2

    @cached_property
    def _edges(self) -> tuple[FloatArray, FloatArray]:
        """Grid lines from left to right and from top to bottom, mm from the centre."""
        return self._lines(self.offset_mm[0]), self._lines(self.offset_mm[1])

    def _lines(self, offset: float) -> FloatArray:
        radius, pitch = self.inner_diameter_mm / 2, self.pitch_mm
        first = floor((-radius - offset) / pitch + SLACK)
        last = -floor((offset - radius) / pitch + SLACK)
        return offset + pitch * np.arange(first, last + 1, dtype=np.float64)

    @cached_property
    def _areas(self) -> FloatArray:
        """Areas by row and column, 0 for a cell outside the dish."""
        x, y = self._edges
        radius = self.inner_diameter_mm / 2
        total = np.zeros((y.size - 1, x.size - 1))
        for x_low, x_high in _halves(x):
            for y_low, y_high in _halves(y):
                total += _quadrant_areas(
                    radius, (x_low, x_high), (y_low[:, None], y_high[:, None])
                )
        return total

    @cached_property
    def cell_names(self) -> tuple[str, ...]:
        """Names of the cells that touch the dish, row by row."""
        rows, columns = np.nonzero(self._touching)
        return tuple(
            f"{column_letters(int(column))}{int(row) + 1}"
            for row, column in zip(rows, columns, strict=True)
        )

    @cached_property
    def cell_areas_mm2(self) -> FloatArray:
        """Areas inside the rim, aligned with `cell_names`."""
        return self._areas[self._touching]

    @property
    def _touching(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        return self._areas > SLACK * self.pitch_mm**2

    @property
    def whole_cells(self) -> int:
        """How many cells the rim leaves uncut."""
        whole = self.pitch_mm**2 * (1 - SLACK)
        return int((self.cell_areas_mm2 > whole).sum())


def column_letters(index: int) -> str:
    """Give the letters of a column, counted from 0: A, B, ... Z, AA.

    index: column from the left, 0 or more. Raises nothing.
    Source: the usual naming of columns in ruled tables (common practice).
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _halves(lines: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
    """Split intervals at 0, and mirror the negative parts."""
    low, high = lines[:-1], lines[1:]
    return [
        (np.maximum(low, 0.0), np.maximum(high, 0.0)),
        (np.maximum(-high, 0.0), np.maximum(-low, 0.0)),
    ]


def _quadrant_areas(
    radius: float, x: tuple[FloatArray, FloatArray], y: tuple[FloatArray, FloatArray]
) -> FloatArray:
    """Integrate (min(y1, sqrt(R^2 - x^2)) - y0)+ over x0..x1, for 0 <= x0, 0 <= y0."""
    (x0, x1), (y0, y1) = x, y
    full_until = np.sqrt(np.maximum(radius**2 - y1**2, 0.0))
    any_until = np.sqrt(np.maximum(radius**2 - y0**2, 0.0))
    start = np.clip(full_until, x0, x1)
    stop = np.maximum(np.clip(any_until, x0, x1), start)
    arc = _arc_integral(radius, stop) - _arc_integral(radius, start)
    area = (y1 - y0) * (start - x0) + arc - y0 * (stop - start)
    # Where the rectangle begins beyond the rim nothing of it is inside.
    return np.where(y0 >= radius, 0.0, np.maximum(area, 0.0))


def _arc_integral(radius: float, x: FloatArray) -> FloatArray:
    x = np.minimum(x, radius)
    root = np.sqrt(np.maximum(radius**2 - x**2, 0.0))
    integral: FloatArray = (x * root + radius**2 * np.arcsin(x / radius)) / 2
    return integral


@dataclass(frozen=True, slots=True, kw_only=True)
class DishTotal:
    """Animals in the whole dish, from some of its cells."""

    total: float
    standard_error: float
    low: float
    high: float
    proportion_counted: float


def expand_cells(
    counts: Numbers,
    cell_areas_mm2: Numbers,
    *,
    dish_area_mm2: float,
    cells_in_dish: int,
    confidence: float = 0.95,
) -> DishTotal:
    """Estimate the animals in a dish from random cells, by the ratio to area.

    counts: shape (n,), animals in each cell looked at, 0 or more.
    cell_areas_mm2: shape (n,), area of each cell inside the rim, above 0.
    dish_area_mm2: area of the dish. cells_in_dish: cells that touch the dish.
    confidence: of the t interval with n - 1 degrees of freedom, in (0, 1).

    Raises EstimationError if a precondition fails. One cell gives an infinite
    standard error. `low` is never below the animals seen.
    Source: Cochran 1977, Sampling Techniques, ch. 6 (ratio estimator with
    finite-population correction, sample mean area in the denominator).
    """
    seen = whole_counts("counts", counts)
    areas = numbers("cell_areas_mm2", cell_areas_mm2)
    _check_cells(seen, areas, dish_area_mm2, cells_in_dish)
    proportion("confidence", confidence)
    cells = seen.size
    per_mm2 = seen.sum() / areas.sum()
    total = float(per_mm2 * dish_area_mm2)
    error = inf
    if cells > 1:
        spread = float(((seen - per_mm2 * areas) ** 2).sum()) / (cells - 1)
        fraction = 1 - cells / cells_in_dish
        error = dish_area_mm2 / float(areas.mean()) * sqrt(fraction * spread / cells)
    reach = inf
    if cells > 1:
        reach = float(stats.t.ppf((1 + confidence) / 2, cells - 1)) * error
    return DishTotal(
        total=total,
        standard_error=error,
        low=max(total - reach, float(seen.sum())),
        high=total + reach,
        proportion_counted=min(float(areas.sum()) / dish_area_mm2, 1.0),
    )


def _check_cells(
    seen: FloatArray, areas: FloatArray, dish_area_mm2: float, cells_in_dish: int
) -> None:
    if areas.size != seen.size:
        raise EstimationError(
            "cell_areas_mm2", f"has {areas.size} entries where {seen.size} fit"
        )
    if (areas <= 0).any():
        raise EstimationError("cell_areas_mm2", "must be above 0")
    positive("dish_area_mm2", dish_area_mm2)
    if areas.sum() > dish_area_mm2 * (1 + SLACK):
        raise EstimationError("cell_areas_mm2", "add up to more than the dish")
    if cells_in_dish < seen.size:
        raise EstimationError(
            "cells_in_dish", f"is {cells_in_dish}, but {seen.size} were looked at"
        )


def cells_to_count(
    *, mean_per_cell: float, cell_k: float, cv: float, cells_in_dish: int
) -> float:
    """Say how many random cells give the dish's total a coefficient of variation.

    mean_per_cell: animals per cell, above 0. cell_k: negative binomial k of the cells
    (inf for Poisson). cv: wanted standard error over total, above 0.
    cells_in_dish: cells that touch the dish, 1 or more.

    Raises EstimationError if a precondition fails.
    Source: Cochran 1977, Sampling Techniques, ch. 4, with negative binomial cells.
    """
    positive("mean_per_cell", mean_per_cell)
    positive("cv", cv)
    if not cell_k > 0:
        raise EstimationError("cell_k", f"{cell_k!r} is not above 0")
    if cells_in_dish < 1:
        raise EstimationError("cells_in_dish", "must be 1 or more")
    unlimited = (1 / mean_per_cell + 1 / cell_k) / cv**2
    return unlimited / (1 + unlimited / cells_in_dish)
