"""The way through a dish misses nothing, and marks ring exactly what is there."""

from io import BytesIO
from math import sqrt

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage

from monitoring.estimation import DishGrid
from monitoring.models import ReferenceContent
from monitoring.training.fields import (
    Field,
    cell_of,
    fields_of,
    fields_of_cell,
    serpentine,
    view_mm,
)
from monitoring.training.looks import LOOKS
from monitoring.training.picture import MARKS, SIDE_PX, field_png
from monitoring.training.scene import ScenePlan, lay_out, numbers_about

GRIDS = (
    DishGrid(inner_diameter_mm=150, pitch_mm=10),
    DishGrid(inner_diameter_mm=88, pitch_mm=7, offset_mm=(2.5, -1.0)),
)
TIMES = (6, 10, 16, 20, 25, 40, 63, 100)


def _holds(field: Field, x: float, y: float) -> bool:
    half = field.side_mm / 2
    return abs(x - field.x_mm) <= half and abs(y - field.y_mm) <= half


@pytest.mark.parametrize("grid", GRIDS)
@pytest.mark.parametrize("times", TIMES)
def test_every_point_of_a_dish_lies_in_one_part_of_its_cell(
    grid: DishGrid, times: float
) -> None:
    rng = np.random.default_rng(int(times))
    radius = grid.inner_diameter_mm / 2
    points = rng.uniform(-radius, radius, size=(400, 2))
    for x, y in points[np.hypot(*points.T) < radius]:
        cell = cell_of(grid, x, y)
        assert cell in grid.cell_names
        looks = fields_of_cell(grid, cell, times)
        assert [one.part for one in looks] == list(range(1, len(looks) + 1))
        assert sum(_holds(one, x, y) for one in looks) == 1


@pytest.mark.parametrize("times", TIMES)
def test_every_part_is_seen_whole(times: float) -> None:
    for look in fields_of(GRIDS[0], serpentine(GRIDS[0])[:30], times):
        assert look.side_mm * sqrt(2) < view_mm(times)


@pytest.mark.parametrize("grid", GRIDS)
def test_the_way_goes_through_every_cell_once_and_never_far(grid: DishGrid) -> None:
    way = serpentine(grid)
    assert sorted(way) == sorted(grid.cell_names)
    middles = [
        (one.x_mm, one.y_mm) for cell in way for one in fields_of_cell(grid, cell, 6)
    ]
    assert len(middles) == len(way)
    steps = np.abs(np.diff(np.array(middles), axis=0))
    assert steps[:, 1].max() <= grid.pitch_mm + 1e-9
    # Within a row to the neighbour; to the next row never back across the dish.
    same_row = steps[:, 1] < 1e-9
    assert np.allclose(steps[same_row, 0], grid.pitch_mm)
    assert steps[:, 0].max() <= grid.inner_diameter_mm / 2


def test_the_field_of_view_is_that_of_eyepieces_of_field_number_22() -> None:
    assert [view_mm(times) for times in (10, 20, 40)] == [22, 11, 5.5]


def _rings(marked: bytes, plain: bytes) -> int:
    """Count the connected lines by which one picture differs from the other."""
    one, other = (
        np.asarray(Image.open(BytesIO(png)).convert("RGB")).astype(int)
        for png in (marked, plain)
    )
    differs = np.abs(one - other).max(axis=2) > 60
    joined = ndimage.binary_dilation(differs, iterations=2)
    return int(ndimage.label(joined, structure=np.ones((3, 3)))[1])


@pytest.mark.parametrize(("look", "number"), [("wedge", 250), ("long", 90)])
@pytest.mark.parametrize("mark", range(len(MARKS)))
def test_marks_ring_every_animal_of_the_part_and_no_other(
    look: str, number: int, mark: int
) -> None:
    plan = ScenePlan(60, 10, (0, 0), ((look, number),), "none", "none", 8, 2)
    scene, seen = lay_out(plan), 0
    for field in fields_of(plan.grid, ("C3", "D4", "B2"), 20)[::2]:
        plain = field_png(plan, scene, field, magnification=20)
        marked = field_png(plan, scene, field, magnification=20, marks={look: mark})
        there = sum(_holds(field, one.x_mm, one.y_mm) for one in scene.animals)
        rings = _rings(marked, plain)
        # Rings of neighbours may touch: fewer lines then, and never more.
        assert there - 1 <= rings <= there
        seen += rings
    assert seen > 3


def test_beyond_the_field_of_view_all_is_dark() -> None:
    plan = ScenePlan(60, 10, (0, 0), (("wedge", 100),), "none", "usual", 8)
    look = fields_of(plan.grid, ("C3",), 10)[0]
    drawn = Image.open(
        BytesIO(field_png(plan, lay_out(plan), look, magnification=10))
    ).convert("RGB")
    assert drawn.size == (SIDE_PX, SIDE_PX)
    corners = [(0, 0), (SIDE_PX - 1, 0), (5, SIDE_PX - 5)]
    assert {drawn.getpixel(corner) for corner in corners} == {(21, 24, 28)}


def test_the_words_kept_for_looks_are_those_of_the_drawing_room() -> None:
    assert dict(ReferenceContent.Look.choices) == {
        name: look.words for name, look in LOOKS.items()
    }


def test_an_animal_reaches_no_further_than_its_look_says() -> None:
    for look in LOOKS.values():
        for tone in (0.0, 0.5, 1.0):
            points = [point for mark in look.draw(tone) for point in mark.points]
            assert max(np.hypot(*np.array(points).T)) <= look.reach


def test_numbers_follow_from_the_seed_alone() -> None:
    asked = [1200, 60, 0, 60]
    assert numbers_about(asked, seed=5) == numbers_about(asked, seed=5)
    assert numbers_about(asked, seed=5) != numbers_about(asked, seed=6)
    assert numbers_about(asked, seed=5)[2] == 0
