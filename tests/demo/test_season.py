"""The demo's populations: published rates where there are some, and sane stories."""

import numpy as np
import pytest

from deploy.demo.almanac import TODAY_DAY
from deploy.demo.places import BLOCKS
from deploy.demo.season import (
    FIRST_DAY,
    LEAVES_FROM_DAY,
    Course,
    Story,
    acaricide,
    broad_insecticide,
    growth_rate,
    simulate,
    temperature_c,
)
from deploy.demo.stories import STORIES

WARM = np.full(211, 25.0)


def _mites(course: Course, day: int) -> float:
    return course.per_unit("leaf", "rust_mites", day=day)


@pytest.mark.parametrize(("mean_c", "rate"), [(17.0, 0.035), (25.0, 0.141)])
def test_growth_rate_is_the_published_one(mean_c: float, rate: float) -> None:
    """r_m of Calepitrimerus vitis (developmental study from Oregon, abstract)."""
    assert float(growth_rate(np.array([mean_c]))[0]) == pytest.approx(rate)


@pytest.mark.parametrize("mean_c", [-5.0, 8.0, 39.19, 45.0])
def test_nothing_grows_beyond_the_published_thresholds(mean_c: float) -> None:
    assert float(growth_rate(np.array([mean_c]))[0]) == 0.0


def test_growth_is_fastest_at_the_published_optimum() -> None:
    temperatures = np.linspace(10, 40, 3001)
    fastest = temperatures[np.argmax(growth_rate(temperatures))]
    assert fastest == pytest.approx(26.9, abs=0.011)


def test_few_mites_without_enemies_grow_at_the_rate_of_increase() -> None:
    course = simulate(Story(wintered=1.0, predators=0.0), WARM)
    grown = _mites(course, LEAVES_FROM_DAY + 10) / _mites(course, LEAVES_FROM_DAY)
    assert np.log(grown) / 10 == pytest.approx(0.141, rel=0.02)


def test_mites_leave_the_leaves_in_autumn() -> None:
    course = simulate(Story(wintered=5.0), temperature_c(0, "Tolbeck"))
    assert _mites(course, 290) < 0.1 * _mites(course, 245)


def test_an_acaricide_kills_its_share_at_once() -> None:
    treated = simulate(Story(wintered=5.0, treatments=(acaricide(200),)), WARM)
    untreated = simulate(Story(wintered=5.0), WARM)
    left = _mites(treated, 200) / _mites(untreated, 200)
    assert left == pytest.approx(1 - 0.93)
    assert _mites(treated, 199) == _mites(untreated, 199)


def test_a_broad_insecticide_lets_mites_run_away() -> None:
    story = Story(wintered=8.0, predators=0.8)
    sprayed = Story(wintered=8.0, predators=0.8, treatments=(broad_insecticide(160),))
    assert _mites(simulate(sprayed, WARM), 200) > 2 * _mites(simulate(story, WARM), 200)


def test_predators_follow_their_prey() -> None:
    many = simulate(Story(wintered=20.0), WARM).leaf["predatory_mites"]
    few = simulate(Story(wintered=0.5), WARM).leaf["predatory_mites"]
    day = 190 - FIRST_DAY
    assert many[day] > 2 * few[day]


def test_thrips_peak_around_bloom() -> None:
    thrips = simulate(Story(wintered=1.0, thrips=5.0), WARM).leaf["thrips"]
    assert 150 <= FIRST_DAY + int(np.argmax(thrips)) <= 170


def test_mites_move_from_buds_to_shoots_at_budburst() -> None:
    course = simulate(Story(wintered=10.0), WARM)
    early, late = (course.per_unit("bud", "rust_mites", day=day) for day in (92, 120))
    assert early > 9
    assert late < 0.5
    assert course.per_unit("shoot", "rust_mites", day=121) > 12


def test_every_block_has_a_story() -> None:
    assert set(STORIES) == {block.name for block in BLOCKS}


def test_late_summer_is_the_height_of_rust_mites_in_most_blocks() -> None:
    rising = 0
    for block in BLOCKS:
        course = simulate(STORIES[block.name][1], temperature_c(1, block.farm))
        rising += _mites(course, TODAY_DAY) > 5 * _mites(course, 190)
    assert rising >= 12


def test_one_block_has_predators_coping() -> None:
    course = simulate(STORIES["Kiln Ground"][1], temperature_c(1, "Hesmoor"))
    peak = max(_mites(course, day) for day in range(190, 220))
    assert STORIES["Kiln Ground"][1].treatments == ()
    assert _mites(course, TODAY_DAY) < peak / 2
    assert course.per_unit("leaf", "predatory_mites", day=TODAY_DAY) > 1
