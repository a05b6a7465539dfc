"""Points spread evenly: the sequence, the measure of balance, and equal chances."""

from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import qmc

from monitoring.estimation import EstimationError
from monitoring.estimation.balanced_sampling import (
    Box,
    balanced_points,
    halton_points,
    random_points,
    voronoi_balance,
)
from monitoring.estimation.walking_order import (
    walk_along_rows,
    walk_length,
    walk_nearest,
)

Array = NDArray[np.float64]
BOX = Box(0.0, 0.0, 100.0, 100.0)


def _anywhere(drawn: Array) -> tuple[Array, NDArray[np.bool_]]:
    return drawn, np.ones(len(drawn), dtype=bool)


def _in_an_l(drawn: Array) -> tuple[Array, NDArray[np.bool_]]:
    return drawn, (drawn[:, 0] < 30) | (drawn[:, 1] < 20)


def _area(places: object = _in_an_l) -> Array:
    side = np.arange(0.5, 100, 1.0)
    laid = np.stack(np.meshgrid(side, side), axis=-1).reshape(-1, 2)
    return laid[_in_an_l(laid)[1]] if places is _in_an_l else laid


def test_the_sequence_is_haltons() -> None:
    # Halton 1960 in bases 2 and 3, its first eight points, worked out by hand.
    twos = ["1/2", "1/4", "3/4", "1/8", "5/8", "3/8", "7/8", "1/16"]
    threes = ["1/3", "2/3", "1/9", "4/9", "7/9", "2/9", "5/9", "8/9"]
    expected = [
        (float(Fraction(two)), float(Fraction(three)))
        for two, three in zip(twos, threes, strict=True)
    ]
    assert halton_points(8) == pytest.approx(np.array(expected))


def test_the_sequence_is_scipys_too() -> None:
    theirs = qmc.Halton(2, scramble=False).random(500)
    assert halton_points(500, starts=(0, 0)) == pytest.approx(theirs)


def test_balance_of_quarters_is_perfect_and_of_a_heap_is_not() -> None:
    # Stevens & Olsen 2004: zeta is the variance of the shares that points stand for.
    quarters = np.array([[25.0, 25], [25, 75], [75, 25], [75, 75]])
    assert voronoi_balance(quarters, _area(None)) == pytest.approx(0.0)
    # A pair of points, cut at x = 25: they stand for 1/4 and 3/4, twice that is 0.5
    # and 1.5, whose variance about 1 is 0.25.
    pair = np.array([[20.0, 50], [30, 50]])
    assert voronoi_balance(pair, _area(None)) == pytest.approx(0.25)


def test_balanced_points_are_better_balanced_than_random_ones() -> None:
    area = _area()
    zetas = {
        draw.__name__: [
            voronoi_balance(
                draw(20, box=BOX, places=_in_an_l, rng=np.random.default_rng(seed)),
                area,
            )
            for seed in range(60)
        ]
        for draw in (balanced_points, random_points)
    }
    balanced = np.mean(zetas["balanced_points"])
    assert balanced < 0.6 * np.mean(zetas["random_points"])


def test_a_run_of_a_balanced_draw_is_balanced_and_every_second_point_is_not() -> None:
    area, runs, seconds = _area(None), [], []
    for seed in range(40):
        drawn = balanced_points(
            24, box=BOX, places=_anywhere, rng=np.random.default_rng(seed)
        )
        runs.append(voronoi_balance(drawn[12:], area))
        seconds.append(voronoi_balance(drawn[::2], area))
    assert np.mean(runs) < 0.6 * np.mean(seconds)


def test_every_part_of_an_odd_area_has_its_fair_chance() -> None:
    # 4,400 square units, of which the lying arm beyond the corner holds 1,400. A share
    # that is off by 0.02 would be seen: 3,000 draws of 5 have a standard error of .004.
    drawn = np.concatenate(
        [
            balanced_points(
                5, box=BOX, places=_in_an_l, rng=np.random.default_rng(seed)
            )
            for seed in range(600)
        ]
    )
    assert _in_an_l(drawn)[1].all()
    assert np.mean(drawn[:, 0] >= 30) == pytest.approx(1400 / 4400, abs=0.02)
    firsts = drawn[::5]
    assert np.mean(firsts[:, 0] >= 30) == pytest.approx(1400 / 4400, abs=0.06)


@pytest.mark.parametrize("draw", [balanced_points, random_points])
def test_the_same_seed_draws_the_same(draw: object) -> None:
    assert callable(draw)
    first, again, other = (
        draw(9, box=BOX, places=_in_an_l, rng=np.random.default_rng(seed))
        for seed in (3, 3, 4)
    )
    assert (first == again).all()
    assert not (first == other).any(axis=1).all()


@pytest.mark.parametrize("draw", [balanced_points, random_points])
def test_no_place_is_taken_twice(draw: object) -> None:
    def vines(drawn: Array) -> tuple[Array, NDArray[np.bool_]]:
        return np.floor(drawn / 25) * 25 + 12.5, np.ones(len(drawn), dtype=bool)

    assert callable(draw)
    drawn = draw(16, box=BOX, places=vines, rng=np.random.default_rng(1))
    assert len(np.unique(drawn, axis=0)) == 16
    with pytest.raises(EstimationError, match="17 places were not found"):
        draw(17, box=BOX, places=vines, rng=np.random.default_rng(1))


def test_an_area_without_room_is_refused() -> None:
    def nowhere(drawn: Array) -> tuple[Array, NDArray[np.bool_]]:
        return drawn, np.zeros(len(drawn), dtype=bool)

    with pytest.raises(EstimationError, match="none was found"):
        balanced_points(1, box=BOX, places=nowhere, rng=np.random.default_rng(1))
    with pytest.raises(EstimationError, match="count"):
        halton_points(0)
    with pytest.raises(EstimationError, match="starts"):
        halton_points(1, starts=(-1, 0))
    with pytest.raises(EstimationError, match="points"):
        voronoi_balance(np.zeros((1, 2)), _area())


def test_rows_are_walked_up_and_down() -> None:
    places = np.array([[0.0, 1], [5, 0], [9, 1], [1, 0], [4, 2]])
    assert walk_along_rows(places) == [3, 1, 2, 0, 4]


def test_the_nearest_walk_visits_all_and_is_short() -> None:
    rng = np.random.default_rng(5)
    points = rng.random((40, 2)) * 100
    order = walk_nearest(points)
    assert sorted(order) == list(range(40))
    # Beardwood, Halton & Hammersley 1959 (from memory): the shortest tour of many
    # points is about 0.7124 sqrt(n A), more at the edge; two-edge exchanges come within
    # some 5 to 10 in 100 of it.
    assert walk_length(points[order]) < 0.95 * np.sqrt(40 * 100**2)
    line = np.array([[3.0, 0], [1, 0], [0, 0], [2, 0]])
    assert walk_length(line[walk_nearest(line)]) == pytest.approx(3.0)
    assert walk_nearest(line[:1]) == [0]
    with pytest.raises(EstimationError, match="points"):
        walk_nearest(np.empty((0, 2)))
