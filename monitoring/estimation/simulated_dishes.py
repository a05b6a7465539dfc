"""Simulated dishes with known totals: what stopping by a pilot does to the estimate."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from monitoring.estimation.dish import DishGrid
from monitoring.estimation.dish_sampling import (
    PILOT_CELLS,
    called_for,
    two_stage_total,
)
from monitoring.estimation.validation import EstimationError, FloatArray, positive

AT_ONCE = 4_000


@dataclass(frozen=True, slots=True, kw_only=True)
class DishRegime:
    """What a simulated dish is like, and the precision wanted of its total."""

    cell_k: float
    mean_per_cell: float
    cv: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StoppingBias:
    """What counting in two stages gave, as shares of the mean total.

    bias, standard_error: of the total with the pilot as it was; averaging over pilots
    changes no mean. bias_of_equal_weights: had all cells been weighted alike.
    error: root mean square, averaged over pilots. coverage: share of intervals of 95
    percent that held the total. cells: counted on average.
    """

    bias: float
    standard_error: float
    bias_of_equal_weights: float
    error: float
    coverage: float
    cells: float


def simulate_stopping(
    regime: DishRegime, *, grid: DishGrid, dishes: int, averaged: int, seed: int
) -> StoppingBias:
    """Count simulated dishes in two stages, and set the totals against the truth.

    regime: what the dishes are like. grid: their cells, negative binomial in
    proportion to area. dishes: for the bias, 2 or more. averaged: how many of them are
    averaged over pilots, for error and coverage. seed: of everything drawn.

    Raises EstimationError if a precondition fails.
    Source: direct simulation.
    """
    positive("cell_k", regime.cell_k)
    positive("mean_per_cell", regime.mean_per_cell)
    if not 2 <= averaged <= dishes:
        raise EstimationError("averaged", "must be 2 or more, and not above `dishes`")
    chance = np.random.default_rng(seed)
    off, alike, cells, truth = (
        np.concatenate(parts)
        for parts in zip(*_two_stages(regime, grid, dishes, chance), strict=True)
    )
    error, coverage = _averaged(regime, grid, averaged, chance)
    mean = truth.mean()
    return StoppingBias(
        bias=float(off.mean() / mean),
        standard_error=float(off.std() / mean / sqrt(dishes)),
        bias_of_equal_weights=float(alike.mean() / mean),
        error=float(error / mean),
        coverage=coverage,
        cells=float(cells.mean()),
    )


def _animals(
    regime: DishRegime, grid: DishGrid, areas: FloatArray, chance: np.random.Generator
) -> FloatArray:
    """Scatter animals over cells of given areas, in mm2."""
    uneven = chance.gamma(regime.cell_k, 1 / regime.cell_k, areas.shape)
    # Per cell of mean area, so that the dish holds the mean times its cells.
    mean = regime.mean_per_cell / grid.cell_areas_mm2.mean()
    animals: FloatArray = chance.poisson(mean * areas * uneven).astype(np.float64)
    return animals


def _two_stages(
    regime: DishRegime, grid: DishGrid, dishes: int, chance: np.random.Generator
) -> Iterator[tuple[FloatArray, FloatArray, NDArray[np.int64], FloatArray]]:
    """Count dishes by their pilots: errors, errors of equal weights, cells, totals."""
    for start in range(0, dishes, AT_ONCE):
        rows = min(AT_ONCE, dishes - start)
        areas = chance.permuted(np.tile(grid.cell_areas_mm2, (rows, 1)), axis=1)
        seen = _animals(regime, grid, areas, chance)
        pilot, mm2 = seen[:, :PILOT_CELLS], areas[:, :PILOT_CELLS]
        cells = called_for(pilot, mm2, areas.shape[1], regime.cv)
        at = np.arange(rows), cells - 1
        all_seen, all_mm2 = seen.cumsum(axis=1)[at], areas.cumsum(axis=1)[at]
        first, first_mm2 = pilot.sum(axis=1), mm2.sum(axis=1)
        per_mm2 = (all_seen - first) / (all_mm2 - first_mm2)
        truth = seen.sum(axis=1)
        total = first + (grid.area_mm2 - first_mm2) * per_mm2
        alike = grid.area_mm2 * all_seen / all_mm2
        yield total - truth, alike - truth, cells, truth


def _averaged(
    regime: DishRegime, grid: DishGrid, dishes: int, chance: np.random.Generator
) -> tuple[float, float]:
    """Give the root mean square error and the coverage of the totals as shown."""
    squares, held = 0.0, 0
    for _ in range(dishes):
        order = chance.permutation(grid.cell_areas_mm2.size)
        areas = grid.cell_areas_mm2[order]
        seen = _animals(regime, grid, areas, chance)
        pilot = slice(0, PILOT_CELLS)
        cells = called_for(seen[pilot], areas[pilot], areas.size, regime.cv)[0]
        found = two_stage_total(
            {grid.cell_names[at]: int(seen[i]) for i, at in enumerate(order[:cells])},
            grid=grid,
            pilot=PILOT_CELLS,
            cv=regime.cv,
        )
        squares += (found.total - seen.sum()) ** 2
        held += found.low <= seen.sum() <= found.high
    return sqrt(squares / dishes), held / dishes
