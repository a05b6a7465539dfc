"""The gridded dish: areas, expansion and effort.

Areas: closed form, a Shapely polygon of 8e5 corners and R integrate() agreed within
1e-6 mm2. Expansion: Cochran 1977, Sampling Techniques, ch. 6 (from memory); computed
with R survey::svyratio and with samplics 0.6.1, which runs here too.
"""

import math
import warnings

import numpy as np
import pytest
from scipy import stats

from monitoring.estimation import DishGrid, cells_to_count, expand_cells

AREAS_CM2 = [1, 1, 0.18061630959, 0.62520280895, 1, 1, 0.34255789122, 1, 1]
AREAS_CM2 += [0.98101944359]
COUNTS = [14, 9, 2, 6, 12, 10, 3, 8, 11, 5]
DISH_CM2 = 176.7145867644


def cell_at(column: int, row: int) -> str:
    """Name a cell by its lower left corner, in cells from the centre, y upwards.

    A dish of 150 mm at 10 mm has the centre between columns H and I, rows 8 and 9.
    """
    return f"{chr(ord('A') + column + 8)}{8 - row}"


def test_t03_01_areas_of_a_150_mm_dish_at_10_mm() -> None:
    grid = DishGrid(inner_diameter_mm=150, pitch_mm=10)
    areas = dict(zip(grid.cell_names, grid.cell_areas_mm2, strict=True))
    published = {
        (0, 0): 100.0,
        (7, 0): 47.77181389842511,
        (7, 1): 34.25578912307034,
        (7, 2): 8.341113548883186,
        (6, 3): 62.5202808946722,
        (6, 4): 8.855926656565885,
        (5, 5): 18.061630959223862,
        (6, 2): 98.1019443594956,
        (4, 6): 8.855926656566226,
        (2, 7): 8.341113548883527,
    }
    for (column, row), area in published.items():
        assert areas[cell_at(column, row)] == pytest.approx(area, abs=1e-4)
    assert len(areas) == 208
    assert grid.whole_cells == 148
    assert math.fsum(areas.values()) == pytest.approx(17671.458676442588, rel=1e-9)
    assert grid.area_mm2 == pytest.approx(17671.458676442588, rel=1e-12)


def test_t03_03_total_of_the_dish_from_ten_cells() -> None:
    found = expand_cells(
        COUNTS,
        [area * 100 for area in AREAS_CM2],
        dish_area_mm2=DISH_CM2 * 100,
        cells_in_dish=208,
    )
    assert found.total == pytest.approx(1739.0180220954, rel=1e-4)
    assert found.standard_error == pytest.approx(156.9638335606, rel=1e-4)
    assert found.total / DISH_CM2 == pytest.approx(9.8408289544, rel=1e-4)
    reach = stats.t.ppf(0.975, 9) * 156.9638335606
    assert found.low == pytest.approx(1739.0180220954 - reach, rel=1e-4)
    assert found.high == pytest.approx(1739.0180220954 + reach, rel=1e-4)
    assert found.proportion_counted == pytest.approx(sum(AREAS_CM2) / DISH_CM2)


@pytest.mark.parametrize("seed", range(6))
def test_expansion_agrees_with_an_independent_survey_library(seed: int) -> None:
    """samplics: Taylor linearisation of a ratio, finite-population correction."""
    with warnings.catch_warnings():
        # It warns on import that its successor has another name.
        warnings.simplefilter("ignore")
        from samplics.estimation import TaylorEstimator  # noqa: PLC0415
        from samplics.utils.types import PopParam  # noqa: PLC0415
    chance = np.random.default_rng(seed)
    grid = DishGrid(inner_diameter_mm=150, pitch_mm=10)
    looked_at = chance.choice(len(grid.cell_names), size=8 + 5 * seed, replace=False)
    areas = grid.cell_areas_mm2[looked_at]
    counts = chance.poisson(chance.gamma(2, 0.03, size=areas.size) * areas)
    found = expand_cells(
        counts,
        areas,
        dish_area_mm2=grid.area_mm2,
        cells_in_dish=len(grid.cell_names),
    )
    theirs = TaylorEstimator(PopParam.ratio)
    share = areas.size / len(grid.cell_names)
    theirs.estimate(
        y=counts.astype(float),
        x=areas,
        samp_weight=np.full(areas.size, 1 / share),
        fpc=1 - share,
    )
    assert found.total == pytest.approx(theirs.point_est * grid.area_mm2, rel=1e-9)
    assert found.standard_error == pytest.approx(
        theirs.stderror * grid.area_mm2, rel=1e-9
    )
    # Where the lower limit is not raised to the animals seen.
    if theirs.lower_ci * grid.area_mm2 > counts.sum():
        assert found.low == pytest.approx(theirs.lower_ci * grid.area_mm2, rel=1e-9)
    assert found.high == pytest.approx(theirs.upper_ci * grid.area_mm2, rel=1e-9)


def test_t03_05_cells_for_a_wanted_precision() -> None:
    found = cells_to_count(mean_per_cell=10, cell_k=2, cv=0.15, cells_in_dish=208)
    assert found == pytest.approx(23.636363636363637, rel=1e-6)
    endless = cells_to_count(mean_per_cell=10, cell_k=2, cv=0.15, cells_in_dish=10**12)
    assert endless == pytest.approx(26.666666666666668, rel=1e-6)
