"""Cells of a round dish against Shapely, and what a grid may and may not be."""

import math
import re
from functools import lru_cache

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import Point, box

from monitoring.estimation import (
    DishGrid,
    EstimationError,
    cells_to_count,
    expand_cells,
)

NAME = re.compile(r"([A-Z]+)(\d+)")


def column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number - 1


@lru_cache(maxsize=64)
def areas_by_shapely(
    diameter: float, pitch: float, offset: tuple[float, float]
) -> dict[str, float]:
    """Cut squares out of a polygon of 80,000 corners; names found apart from ours."""
    radius = diameter / 2
    # A polygon inside a circle of radius R has its area short by a factor sinc.
    corners = 80_000
    fair = math.sqrt((2 * math.pi / corners) / math.sin(2 * math.pi / corners))
    dish = Point(0, 0).buffer(radius * fair, quad_segs=corners // 4)
    first = [math.floor((-radius - shift) / pitch + 1e-9) for shift in offset]
    found = {}
    for row in range(int(diameter / pitch) + 3):
        for column in range(int(diameter / pitch) + 3):
            x = offset[0] + (first[0] + column) * pitch
            y = offset[1] + (first[1] + row) * pitch
            area = dish.intersection(box(x, y, x + pitch, y + pitch)).area
            if area > 1e-6 * pitch**2:
                letters = chr(ord("A") + column)
                found[f"{letters}{row + 1}"] = area
    return found


@pytest.mark.parametrize(
    ("diameter", "pitch", "offset"),
    [
        (150, 10, (0.0, 0.0)),
        (142.3, 10, (0.0, 0.0)),
        (150, 10, (5.0, 5.0)),
        (90, 7.5, (1.2, -3.4)),
        (60, 60, (0.0, 0.0)),
        (100, 33, (40.0, -100.0)),
        (20, 10, (0.0, 0.0)),
    ],
)
def test_cells_are_those_of_shapely(
    diameter: float, pitch: float, offset: tuple[float, float]
) -> None:
    grid = DishGrid(inner_diameter_mm=diameter, pitch_mm=pitch, offset_mm=offset)
    theirs = areas_by_shapely(diameter, pitch, offset)
    ours = dict(zip(grid.cell_names, grid.cell_areas_mm2, strict=True))
    slivers = {name for name, area in ours.items() if area <= 1e-5 * pitch**2}
    assert set(ours) - slivers == set(theirs) - slivers
    for name in set(ours) - slivers:
        assert ours[name] == pytest.approx(theirs[name], abs=1e-5 * pitch**2)


grids = st.builds(
    lambda diameter, cells, x, y: DishGrid(
        inner_diameter_mm=diameter,
        pitch_mm=diameter / cells,
        offset_mm=(x * diameter, y * diameter),
    ),
    st.floats(5, 300),
    st.floats(1, 40),
    st.floats(-1, 1),
    st.floats(-1, 1),
)


@settings(max_examples=150, deadline=None)
@given(grids)
def test_cells_of_any_grid_make_up_the_dish(grid: DishGrid) -> None:
    areas = grid.cell_areas_mm2
    assert math.fsum(areas) == pytest.approx(grid.area_mm2, rel=1e-8)
    assert (areas > 0).all()
    assert (areas <= grid.pitch_mm**2 * (1 + 1e-9)).all()
    assert 0 <= grid.whole_cells <= areas.size
    assert len(set(grid.cell_names)) == areas.size


@settings(max_examples=50, deadline=None)
@given(grids)
def test_a_shift_by_whole_cells_is_no_shift(grid: DishGrid) -> None:
    x, y = grid.offset_mm
    # A line on the rim itself may fall to either side by rounding.
    gaps = [
        abs((edge - shift) / grid.pitch_mm - round((edge - shift) / grid.pitch_mm))
        for shift in (x, y)
        for edge in (-grid.inner_diameter_mm / 2, grid.inner_diameter_mm / 2)
    ]
    assume(min(gaps) > 1e-6)
    moved = DishGrid(
        inner_diameter_mm=grid.inner_diameter_mm,
        pitch_mm=grid.pitch_mm,
        offset_mm=(x + 2 * grid.pitch_mm, y - 3 * grid.pitch_mm),
    )
    assert moved.cell_names == grid.cell_names
    assert moved.cell_areas_mm2 == pytest.approx(
        grid.cell_areas_mm2, abs=1e-6 * grid.pitch_mm**2
    )


def test_names_run_by_columns_from_the_left_and_rows_from_the_top() -> None:
    grid = DishGrid(inner_diameter_mm=150, pitch_mm=10)
    assert "H8" in grid.cell_names
    assert grid.cell_names[0] == "F1"
    rows = [int(NAME.fullmatch(name)[2]) for name in grid.cell_names]  # type: ignore[index] # always matches
    assert rows == sorted(rows)
    assert max(rows) == 16
    of_first_row = [name for name in grid.cell_names if name.endswith("1")]
    assert of_first_row[:6] == ["F1", "G1", "H1", "I1", "J1", "K1"]


def test_the_twenty_seventh_column_is_aa() -> None:
    grid = DishGrid(inner_diameter_mm=300, pitch_mm=10)
    letters = {NAME.fullmatch(name)[1] for name in grid.cell_names}  # type: ignore[index] # always matches
    assert sorted(map(column_number, letters)) == list(range(30))
    assert {"Z", "AA", "AD"} <= letters
    assert "AE" not in letters


def test_a_dish_in_four_cells() -> None:
    grid = DishGrid(inner_diameter_mm=20, pitch_mm=10)
    assert grid.cell_names == ("A1", "B1", "A2", "B2")
    assert grid.cell_areas_mm2 == pytest.approx([math.pi * 25] * 4)
    assert grid.whole_cells == 0


@pytest.mark.parametrize(
    ("argument", "values"),
    [
        ("inner_diameter_mm", {"inner_diameter_mm": 0}),
        ("inner_diameter_mm", {"inner_diameter_mm": math.nan}),
        ("inner_diameter_mm", {"inner_diameter_mm": math.inf}),
        ("pitch_mm", {"pitch_mm": -1}),
        ("pitch_mm", {"pitch_mm": 151}),
        ("offset_mm", {"offset_mm": (0.0, math.nan)}),
    ],
)
def test_a_grid_that_cannot_be_is_refused(
    argument: str, values: dict[str, float]
) -> None:
    given_values: dict[str, float] = {"inner_diameter_mm": 150, "pitch_mm": 10}
    with pytest.raises(EstimationError) as refused:
        DishGrid(**(given_values | values))  # type: ignore[arg-type] # on purpose
    assert refused.value.argument == argument


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 200), st.floats(1, 100)), min_size=2, max_size=30)
)
def test_the_dish_total_scales_with_the_dish_and_holds_what_was_seen(
    cells: list[tuple[int, float]],
) -> None:
    seen = [count for count, _ in cells]
    areas = [area for _, area in cells]
    small = expand_cells(seen, areas, dish_area_mm2=5000, cells_in_dish=100)
    large = expand_cells(seen, areas, dish_area_mm2=10000, cells_in_dish=100)
    assert large.total == pytest.approx(2 * small.total)
    assert large.standard_error == pytest.approx(2 * small.standard_error)
    assert small.low >= sum(seen)
    assert small.low <= max(small.total, sum(seen))
    assert small.high >= small.total


def test_every_cell_counted_leaves_no_doubt() -> None:
    grid = DishGrid(inner_diameter_mm=20, pitch_mm=10)
    found = expand_cells(
        [3, 0, 7, 1],
        grid.cell_areas_mm2,
        dish_area_mm2=grid.area_mm2,
        cells_in_dish=4,
    )
    assert found.total == pytest.approx(11)
    assert found.standard_error == 0
    assert (found.low, found.high) == pytest.approx((11, 11))
    assert found.proportion_counted == pytest.approx(1)


def test_one_cell_gives_a_total_without_an_upper_limit() -> None:
    found = expand_cells([5], [100], dish_area_mm2=17671, cells_in_dish=208)
    assert found.total == pytest.approx(5 * 176.71)
    assert found.standard_error == math.inf
    assert (found.low, found.high) == (5, math.inf)


@pytest.mark.parametrize(
    ("argument", "values"),
    [
        ("counts", {"counts": [1.5, 2]}),
        ("counts", {"counts": [-1, 2]}),
        ("counts", {"counts": []}),
        ("cell_areas_mm2", {"cell_areas_mm2": [100]}),
        ("cell_areas_mm2", {"cell_areas_mm2": [100, 0]}),
        ("cell_areas_mm2", {"cell_areas_mm2": [100, 20000]}),
        ("dish_area_mm2", {"dish_area_mm2": 0}),
        ("cells_in_dish", {"cells_in_dish": 1}),
        ("confidence", {"confidence": 1}),
    ],
)
def test_cells_that_cannot_be_are_refused(
    argument: str, values: dict[str, object]
) -> None:
    fair: dict[str, object] = {
        "counts": [1, 2],
        "cell_areas_mm2": [100, 100],
        "dish_area_mm2": 17671,
        "cells_in_dish": 208,
    }
    with pytest.raises(EstimationError) as refused:
        expand_cells(**(fair | values))  # type: ignore[arg-type] # on purpose
    assert refused.value.argument == argument


@settings(max_examples=50, deadline=None)
@given(st.floats(0.1, 100), st.floats(0.1, 20), st.floats(0.01, 1))
def test_cells_wanted_fall_with_animals_and_never_exceed_the_dish(
    mean: float, k: float, cv: float
) -> None:
    def wanted(mean_per_cell: float) -> float:
        return cells_to_count(
            mean_per_cell=mean_per_cell, cell_k=k, cv=cv, cells_in_dish=208
        )

    assert 0 < wanted(2 * mean) <= wanted(mean) <= 208


def test_cells_wanted_of_even_cells_are_those_of_poisson() -> None:
    """Relative error about 1/sqrt(animals counted): 100 animals for a tenth."""
    found = cells_to_count(
        mean_per_cell=5, cell_k=math.inf, cv=0.1, cells_in_dish=10**9
    )
    assert found * 5 == pytest.approx(100, rel=1e-6)


@pytest.mark.parametrize("argument", ["mean_per_cell", "cell_k", "cv", "cells_in_dish"])
def test_cells_wanted_of_nothing_are_refused(argument: str) -> None:
    fair = {"mean_per_cell": 5.0, "cell_k": 2.0, "cv": 0.2, "cells_in_dish": 208}
    with pytest.raises(EstimationError) as refused:
        cells_to_count(**(fair | {argument: 0}))  # type: ignore[arg-type] # on purpose
    assert refused.value.argument == argument


def test_simulated_dishes_are_not_biased_and_their_intervals_hold() -> None:
    """20 of 208 cells, 2000 animals: error about 7 percent, intervals about 94."""
    chance = np.random.default_rng(31)
    grid = DishGrid(inner_diameter_mm=150, pitch_mm=10)
    shares = grid.cell_areas_mm2 / grid.cell_areas_mm2.sum()
    totals, held = [], 0
    for _ in range(600):
        animals = chance.multinomial(2000, shares)
        at = chance.choice(shares.size, 20, replace=False)
        found = expand_cells(
            animals[at],
            grid.cell_areas_mm2[at],
            dish_area_mm2=grid.area_mm2,
            cells_in_dish=shares.size,
        )
        totals.append(found.total)
        held += found.low <= 2000 <= found.high
    assert np.mean(totals) == pytest.approx(2000, rel=0.01)
    assert np.std(totals) / 2000 == pytest.approx(0.069, abs=0.01)
    assert 0.91 <= held / 600 <= 0.98
