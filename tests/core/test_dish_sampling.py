"""Which cells next, how many, and a total that stopping does not bias."""

import math
from collections.abc import Callable
from hashlib import sha256

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.estimation import (
    PILOT_CELLS,
    DishGrid,
    EstimationError,
    cell_order,
    cells_to_count,
    expand_cells,
    plan_cells,
    two_stage_total,
)
from monitoring.estimation.dish_sampling import called_for, possible_pilots
from monitoring.estimation.simulated_dishes import DishRegime, simulate_stopping

GRID = DishGrid(inner_diameter_mm=150, pitch_mm=10)
ORDER = cell_order(GRID.cell_names, seed=7)
some_counts = st.lists(st.integers(0, 60), min_size=10, max_size=10)


def named(counts: list[int], order: tuple[str, ...] = ORDER) -> dict[str, int]:
    return dict(zip(order, counts, strict=False))


def a_dish(seed: int, mean: float = 8.0, k: float = 1.0) -> list[int]:
    chance = np.random.default_rng(seed)
    areas = dict(zip(GRID.cell_names, GRID.cell_areas_mm2 / 100, strict=True))
    uneven = chance.gamma(k, 1 / k, len(ORDER))
    means = [mean * areas[name] for name in ORDER]
    return [int(chance.poisson(m * u)) for m, u in zip(means, uneven, strict=True)]


@given(st.integers(0, 10**9))
def test_an_order_holds_every_cell_once_and_is_repeated_by_its_seed(seed: int) -> None:
    order = cell_order(GRID.cell_names, seed=seed)
    assert sorted(order) == sorted(GRID.cell_names)
    assert order == cell_order(tuple(reversed(GRID.cell_names)), seed=seed)
    # By the recipe in words, so that another program can repeat it.
    first = min(GRID.cell_names, key=lambda n: sha256(f"{seed}/{n}".encode()).digest())
    assert order[0] == first


def test_every_cell_is_as_likely_to_come_early_rim_cells_too() -> None:
    early = dict.fromkeys(GRID.cell_names, 0)
    for seed in range(2000):
        for name in cell_order(GRID.cell_names, seed=seed)[:PILOT_CELLS]:
            early[name] += 1
    expected = 2000 * PILOT_CELLS / 208
    chi_square = sum((n - expected) ** 2 for n in early.values()) / expected
    # 207 degrees of freedom and a little less, drawn without replacement.
    assert 130 < chi_square < 280


@given(some_counts, st.floats(0.02, 1), st.floats(0.02, 1))
def test_more_precision_never_takes_fewer_cells(
    counts: list[int], one: float, other: float
) -> None:
    loose, tight = max(one, other), min(one, other)
    fewer = plan_cells(named(counts), grid=GRID, cv=loose)
    more = plan_cells(named(counts), grid=GRID, cv=tight)
    assert fewer.cells <= more.cells <= 208
    assert more.cells >= 2 * PILOT_CELLS
    assert more.further_cells == more.cells - PILOT_CELLS
    assert more.expected_cv <= fewer.expected_cv + 1e-12
    if not more.whole_dish:
        assert more.expected_cv <= tight
    else:
        assert more.expected_cv == 0


@given(some_counts)
def test_a_plan_holds_at_least_the_cells_of_the_formula(counts: list[int]) -> None:
    found = plan_cells(named(counts), grid=GRID, cv=0.2)
    wanted = cells_to_count(
        mean_per_cell=found.mean_per_cell,
        cell_k=found.cell_k,
        cv=0.2,
        cells_in_dish=208,
    )
    assert found.cells >= wanted - 1e-9


@pytest.mark.parametrize("counts", [[0] * 10, [1] * 6 + [0] * 4, [0] * 9 + [3]])
def test_a_dish_of_few_animals_is_counted_whole(counts: list[int]) -> None:
    found = plan_cells(named(counts), grid=GRID, cv=0.3)
    assert found.whole_dish
    assert found.cells == 208


def test_clumped_cells_take_more_cells_than_even_ones() -> None:
    even = plan_cells(named([9, 10, 11, 9, 10, 11, 10, 9, 10, 11]), grid=GRID, cv=0.15)
    clumped = plan_cells(named([0, 40, 0, 0, 30, 2, 0, 25, 3, 0]), grid=GRID, cv=0.15)
    assert even.mean_per_cell == pytest.approx(clumped.mean_per_cell)
    assert clumped.cells > 2 * even.cells
    assert clumped.cell_k < even.cell_k


def test_all_cells_counted_give_the_animals_seen() -> None:
    counts = a_dish(3, mean=0.4)
    found = two_stage_total(named(counts), grid=GRID, pilot=PILOT_CELLS, cv=0.2)
    assert (found.total, found.low, found.high) == (sum(counts),) * 3
    assert found.standard_error == 0
    assert found.proportion_counted == pytest.approx(1)
    assert found.as_planned


@given(st.integers(0, 200), st.sampled_from([0.1, 0.15, 0.2, 0.3]))
def test_a_total_lies_in_its_interval_and_holds_what_was_seen(
    seed: int, cv: float
) -> None:
    counts = a_dish(seed)
    plan = plan_cells(named(counts[:PILOT_CELLS]), grid=GRID, cv=cv)
    shown = named(counts[: plan.cells])
    found = two_stage_total(shown, grid=GRID, pilot=PILOT_CELLS, cv=cv)
    assert found.as_planned
    assert found.pilots_averaged >= 1
    assert sum(shown.values()) - 1e-9 <= found.low <= found.total <= found.high
    again = two_stage_total(shown, grid=GRID, pilot=PILOT_CELLS, cv=cv)
    assert again == found


def test_the_pilots_averaged_over_all_call_for_the_cells_counted() -> None:
    counts = a_dish(12)
    areas = dict(zip(GRID.cell_names, GRID.cell_areas_mm2, strict=True))
    cells = plan_cells(named(counts[:PILOT_CELLS]), grid=GRID, cv=0.15).cells
    seen = np.array(counts[:cells], dtype=float)
    mm2 = np.array([areas[name] for name in ORDER[:cells]])
    pilots = possible_pilots(
        seen, mm2, pilot=PILOT_CELLS, cells_in_dish=208, cv=0.15, seed=1
    )
    assert len(pilots) > 20
    assert list(pilots[0]) == list(range(PILOT_CELLS))
    assert (called_for(seen[pilots], mm2[pilots], 208, 0.15) == cells).all()
    # And the total is the mean of what each of them, as the pilot, would have given.
    totals = []
    for pilot in pilots:
        rest = np.setdiff1d(np.arange(cells), pilot)
        density = seen[rest].sum() / mm2[rest].sum()
        outside = GRID.area_mm2 - mm2[pilot].sum()
        totals.append(seen[pilot].sum() + outside * density)
    found = two_stage_total(
        named(counts[:cells]), grid=GRID, pilot=PILOT_CELLS, cv=0.15
    )
    assert found.total == pytest.approx(np.mean(totals))
    assert found.pilots_averaged == len(pilots)


def test_another_number_of_cells_than_called_for_uses_the_pilot_as_it_was() -> None:
    counts = a_dish(5)
    areas = dict(zip(GRID.cell_names, GRID.cell_areas_mm2, strict=True))
    cells = plan_cells(named(counts[:PILOT_CELLS]), grid=GRID, cv=0.2).cells + 1
    found = two_stage_total(named(counts[:cells]), grid=GRID, pilot=10, cv=0.2)
    assert not found.as_planned
    assert found.pilots_averaged == 1
    mm2 = [areas[name] for name in ORDER[:cells]]
    density = sum(counts[10:cells]) / sum(mm2[10:])
    expected = sum(counts[:10]) + (GRID.area_mm2 - sum(mm2[:10])) * density
    assert found.total == pytest.approx(expected)
    error = expand_cells(
        counts[:cells], mm2, dish_area_mm2=GRID.area_mm2, cells_in_dish=208
    ).standard_error
    assert found.standard_error == pytest.approx(error)


def test_no_animal_in_some_cells_leaves_an_upper_limit() -> None:
    """None in a share of the dish: as a Poisson count of none, at 2.5 in 100."""
    found = two_stage_total(named([0] * 40), grid=GRID, pilot=10, cv=0.2)
    share = found.proportion_counted
    assert (found.total, found.low) == (0, 0)
    unseen = found.high / (1 - share)
    assert math.exp(-unseen * share) == pytest.approx(0.025)


def test_stopping_by_a_pilot_does_not_bias_the_total() -> None:
    """One regime of the slow table: all cells alike would be off by 4 percent."""
    found = simulate_stopping(
        DishRegime(cell_k=2, mean_per_cell=1, cv=0.2),
        grid=GRID,
        dishes=24_000,
        averaged=1_000,
        seed=5,
    )
    assert abs(found.bias) < 0.01
    assert abs(found.bias) < 4 * found.standard_error
    assert found.bias_of_equal_weights > 0.03
    assert found.error < 0.23
    assert 0.93 <= found.coverage <= 0.985


@pytest.mark.slow
@pytest.mark.parametrize("cv", [0.1, 0.2])
@pytest.mark.parametrize("mean", [0.5, 1, 5, 30])
@pytest.mark.parametrize("k", [0.3, 0.7, 1, 2, 5])
def test_the_bias_of_stopping_stays_under_one_percent(
    k: float, mean: float, cv: float
) -> None:
    found = simulate_stopping(
        DishRegime(cell_k=k, mean_per_cell=mean, cv=cv),
        grid=GRID,
        dishes=40_000,
        averaged=500,
        seed=11,
    )
    assert abs(found.bias) < 0.01
    assert found.coverage > 0.86


@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("cell_names", lambda: cell_order((), seed=1)),
        ("counts", lambda: plan_cells({}, grid=GRID, cv=0.2)),
        ("counts", lambda: plan_cells({"A1": 3}, grid=GRID, cv=0.2)),
        ("counts", lambda: plan_cells(named([3, 2, 1]), grid=GRID, cv=0.2)),
        ("counts", lambda: plan_cells(named([-1] * 10), grid=GRID, cv=0.2)),
        ("cv", lambda: plan_cells(named([1] * 10), grid=GRID, cv=0)),
        ("pilot", lambda: two_stage_total(named([1] * 9), grid=GRID, pilot=9, cv=0.2)),
        ("pilot", lambda: two_stage_total(named([1] * 9), grid=GRID, pilot=3, cv=0.2)),
        (
            "confidence",
            lambda: two_stage_total(
                named([1] * 30), grid=GRID, pilot=10, cv=0.2, confidence=1
            ),
        ),
        (
            "averaged",
            lambda: simulate_stopping(
                DishRegime(cell_k=1, mean_per_cell=1, cv=0.2),
                grid=GRID,
                dishes=2,
                averaged=3,
                seed=1,
            ),
        ),
        (
            "cell_k",
            lambda: simulate_stopping(
                DishRegime(cell_k=0, mean_per_cell=1, cv=0.2),
                grid=GRID,
                dishes=2,
                averaged=2,
                seed=1,
            ),
        ),
    ],
)
def test_what_cannot_be_is_refused_by_name(
    argument: str, call: Callable[[], object]
) -> None:
    with pytest.raises(EstimationError) as refused:
        call()
    assert refused.value.argument == argument
