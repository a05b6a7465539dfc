"""Drawn dishes hold what they are said to hold, where chance puts it.

Counts are checked by labelling connected blobs (scipy.ndimage.label), positions by
Pearson's chi-square (1900) and by Ripley's K with its border taken off (Ripley 1977,
J. R. Statist. Soc. B 39:172-212; from memory).
"""

from dataclasses import replace
from hashlib import sha256
from io import BytesIO
from math import hypot, pi

import numpy as np
import pytest
from PIL import Image
from scipy import ndimage, stats
from scipy.spatial import cKDTree

from monitoring.training.errors import TrainingError
from monitoring.training.fields import animals_in, cell_of, serpentine
from monitoring.training.looks import LOOKS
from monitoring.training.picture import GROUND, View, view_png
from monitoring.training.scene import (
    GAP_MM,
    RIM_GAP_MM,
    ScenePlan,
    lay_out,
    most_asked,
    number_about,
)

PLAN = ScenePlan(
    inner_diameter_mm=150,
    pitch_mm=10,
    offset_mm=(0, 0),
    numbers=(("wedge", 1500), ("pear", 30), ("round", 12), ("long", 25)),
    clumping="none",
    debris="usual",
    seed=20260814,
)


def _tally(plan: ScenePlan) -> dict[str, int]:
    found: dict[str, int] = {}
    for one in lay_out(plan).animals:
        found[one.look] = found.get(one.look, 0) + 1
    return found


def _points(plan: ScenePlan, look: str) -> np.ndarray:
    return np.array(
        [(one.x_mm, one.y_mm) for one in lay_out(plan).animals if one.look == look]
    )


def _blobs(plan: ScenePlan, *, side_px: int = 2400) -> int:
    """Count connected blobs of anything that is not the ground."""
    view = View(0, 0, plan.inner_diameter_mm, side_px)
    drawn = view_png(plan, lay_out(plan), view, lines=False)
    pixels = np.asarray(Image.open(BytesIO(drawn)).convert("RGB")).astype(int)
    differs = np.abs(pixels - np.array(GROUND)).max(axis=2) > 24
    # Legs may be thinner than a pixel: what nearly touches is one animal.
    _, number = ndimage.label(
        ndimage.binary_dilation(differs, iterations=1), structure=np.ones((3, 3))
    )
    return int(number)


@pytest.mark.parametrize("clumping", ["none", "some", "strong"])
def test_a_dish_holds_the_numbers_it_was_made_with(clumping: str) -> None:
    assert _tally(replace(PLAN, clumping=clumping)) == dict(PLAN.numbers)


@pytest.mark.parametrize("look", sorted(LOOKS))
@pytest.mark.parametrize("clumping", ["none", "strong"])
def test_labelled_blobs_of_the_picture_are_the_animals(
    look: str, clumping: str
) -> None:
    for seed in range(3):
        plan = ScenePlan(40, 10, (0, 0), ((look, 23),), clumping, "none", seed)
        assert _blobs(plan) == 23, seed


def test_blobs_of_several_organisms_together_are_the_animals() -> None:
    numbers = (("wedge", 40), ("pear", 15), ("round", 8), ("long", 9))
    plan = ScenePlan(60, 10, (0, 0), numbers, "some", "none", 5)
    assert _blobs(plan, side_px=3000) == 72


def test_debris_makes_further_blobs_so_that_counting_blobs_is_not_counting() -> None:
    plan = ScenePlan(40, 10, (0, 0), (("wedge", 23),), "none", "usual", 1)
    assert _blobs(plan) > 40


def test_the_same_seed_draws_the_same_picture_and_another_another() -> None:
    view = View(0, 0, 30)

    def picture(plan: ScenePlan) -> bytes:
        lay_out.cache_clear()
        return view_png(plan, lay_out(plan), view)

    first = picture(PLAN)
    assert picture(PLAN) == first
    assert picture(replace(PLAN, seed=PLAN.seed + 1)) != first


def test_a_known_seed_lays_the_same_dish_as_ever() -> None:
    # A dish that people counted must look the same under later versions: where this
    # fails, pictures of dishes already counted no longer show what was counted.
    text = "\n".join(
        f"{one.look} {one.x_mm:.5f} {one.y_mm:.5f} {one.length_mm:.5f} {one.turn:.4f}"
        for part in (lay_out(PLAN).animals, lay_out(PLAN).debris)
        for one in part
    )
    assert sha256(text.encode()).hexdigest()[:16] == "be845a9a60d25586"


def test_positions_are_uniform_on_the_disc() -> None:
    # So few animals that keeping them apart makes them no more even than chance does.
    within = 75 - RIM_GAP_MM - LOOKS["wedge"].reach_mm
    p_values = []
    for seed in range(40):
        points = _points(replace(PLAN, numbers=(("wedge", 400),), seed=seed), "wedge")
        share = (points**2).sum(axis=1) / within**2
        turned = np.arctan2(points[:, 1], points[:, 0])
        rings, _ = np.histogram(share, bins=20, range=(0, 1))
        sectors, _ = np.histogram(turned, bins=20, range=(-pi, pi))
        p_values += [stats.chisquare(rings).pvalue, stats.chisquare(sectors).pvalue]
    assert min(p_values) > 0.05 / len(p_values)
    assert stats.kstest(p_values, "uniform").pvalue > 0.01


def _ripley_l(points: np.ndarray, radius: float, at: float) -> float:
    """Give Ripley's L(at) - at by the border method: 0 for complete randomness."""
    inner = points[np.hypot(points[:, 0], points[:, 1]) <= radius - at]
    pairs = cKDTree(points).query_ball_point(inner, at, return_length=True) - 1
    density = len(points) / (pi * radius**2)
    return float(np.sqrt(pairs.mean() / density / pi) - at)


def test_ripleys_k_finds_no_clumps_unless_they_were_asked_for() -> None:
    within = 75 - RIM_GAP_MM - LOOKS["wedge"].reach_mm

    def mean_l(clumping: str, at: float) -> float:
        numbers = (("wedge", 1500),)
        plans = [
            replace(PLAN, numbers=numbers, clumping=clumping, seed=seed)
            for seed in range(15)
        ]
        return float(
            np.mean([_ripley_l(_points(p, "wedge"), within, at) for p in plans])
        )

    for at in (2.0, 4.0, 8.0):
        assert abs(mean_l("none", at)) < 0.06
    assert mean_l("strong", 4.0) > mean_l("some", 4.0) > 0.2


def test_nothing_overlaps_and_nothing_touches_the_rim() -> None:
    crowded = replace(PLAN, clumping="strong")
    animals = lay_out(crowded).animals
    for one in animals:
        reach = LOOKS[one.look].reach * one.length_mm
        assert hypot(one.x_mm, one.y_mm) + reach <= 75 - RIM_GAP_MM + 1e-9
    points = np.array([(one.x_mm, one.y_mm) for one in animals])
    reaches = np.array([LOOKS[one.look].reach * one.length_mm for one in animals])
    for first, second in cKDTree(points).query_pairs(2.0):
        apart = hypot(*(points[first] - points[second]))
        assert apart >= reaches[first] + reaches[second] + GAP_MM - 1e-9


def test_the_dish_with_an_offset_grid_puts_each_animal_into_one_cell() -> None:
    plan = replace(PLAN, offset_mm=(3.0, -4.0))
    grid, animals = plan.grid, lay_out(plan).animals
    cells = [cell_of(grid, one.x_mm, one.y_mm) for one in animals]
    assert set(cells) <= set(grid.cell_names)
    assert animals_in(animals, grid, grid.cell_names) == dict(plan.numbers)
    some = serpentine(grid)[40:52]
    seen = animals_in(animals, grid, some)
    assert sum(seen.values()) == sum(cell in some for cell in cells)
    # By hand: the squares of the grid, from its crossing at (3, -4).
    for one, cell in zip(animals[:200], cells[:200], strict=True):
        column = int((one.x_mm - (3.0 - 80.0)) // 10)
        row = int((one.y_mm - (-4.0 - 80.0 + 0)) // 10)
        assert cell == f"{'ABCDEFGHIJKLMNOPQ'[column]}{row + 1}"


def test_no_middle_lies_so_near_to_a_line_that_its_cell_is_in_doubt() -> None:
    points = np.array([(one.x_mm, one.y_mm) for one in lay_out(PLAN).animals])
    assert np.abs(points - 10 * np.round(points / 10)).min() >= 0.05
    inside = lay_out(replace(PLAN, parts_a_side=3)).animals
    points = np.array([(one.x_mm, one.y_mm) for one in inside])
    part = 10 / 3
    assert np.abs(points - part * np.round(points / part)).min() >= 0.05 - 1e-9


def test_what_is_in_the_dish_is_not_what_was_asked() -> None:
    rng = np.random.default_rng(3)
    drawn = np.array([number_about(200, tuple(rng.random(2))) for _ in range(4000)])
    # Between half and twice, with the spread of counts about it.
    assert 60 < drawn.min() < 110
    assert 360 < drawn.max() < 480
    # log2 of the factor is even on (-1, 1): a third of dishes lies in its middle third.
    factors = np.log2(drawn / 200)
    assert abs(np.mean(np.abs(factors) < 1 / 3) - 1 / 3) < 0.03
    assert {number_about(0, (0.9, 0.9)), number_about(3, (0.0, 0.0))} == {0}


def test_what_does_not_fit_is_refused_in_words() -> None:
    with pytest.raises(TrainingError, match="do not fit"):
        lay_out(ScenePlan(20, 5, (0, 0), (("long", 400),), "none", "none", 1))


@pytest.mark.parametrize("look", sorted(LOOKS))
def test_the_most_that_may_be_asked_fits(look: str) -> None:
    most = most_asked(look, 40)
    drawn = number_about(most, (0.999999, 0.99))
    plan = ScenePlan(40, 10, (0, 0), ((look, drawn),), "strong", "usual", 7)
    assert _tally(plan) == {look: drawn}
