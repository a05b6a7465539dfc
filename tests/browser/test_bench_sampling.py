"""The page's own sampling and codes against the Python core's, in a real browser.

Provisional figures at the bench must be those of the server, but for its averaging over
pilots; which cells come next must be the same for ever.
"""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page
from scipy import stats

from monitoring.estimation import (
    BetaRecovery,
    DishGrid,
    animals_of_bag,
    cell_order,
    expand_cells,
    plan_cells,
)
from monitoring.estimation.dish_sampling import _interval, called_for
from monitoring.labels.codes import ALPHABET, NoLabelCodeError, new_code, read_code

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
GRIDS = [
    DishGrid(inner_diameter_mm=150, pitch_mm=10),
    DishGrid(inner_diameter_mm=142, pitch_mm=5, offset_mm=(1.2, -0.7)),
    DishGrid(inner_diameter_mm=90, pitch_mm=15, offset_mm=(7.5, 7.5)),
]
PILOT = 10
CASES = 300
CALL = """async ([module, name, cases]) => {
  const room = await import(`/static/monitoring/bench/${module}.js`);
  const found = [];
  for (const given of cases) found.push(await room[name](...given));
  return found;
}"""


@pytest.fixture
def in_browser(open_page: Callable[..., Page]) -> Callable[..., list[Any]]:
    """Call a function of one of the page's modules for many cases."""
    page = open_page()
    page.goto("/accounts/login/")
    return lambda module, name, cases: page.evaluate(CALL, [module, name, cases])


def _some_dishes(cells: int | None = None) -> list[tuple[DishGrid, Any, Any]]:
    """Give random cells of clumped dishes, from empty to crowded."""
    chance = np.random.default_rng(20260801)
    found = []
    for _ in range(CASES):
        grid = GRIDS[chance.integers(len(GRIDS))]
        in_dish = grid.cell_areas_mm2.size
        size = cells or int(chance.integers(PILOT + 1, min(in_dish, 80)))
        areas = chance.permutation(grid.cell_areas_mm2)[: min(size, in_dish)]
        k, mean = chance.choice([0.3, 1, 4]), np.exp(chance.uniform(-3, 3.5))
        level = mean * areas / areas.mean() * chance.gamma(k, 1 / k, areas.size)
        found.append((grid, chance.poisson(level), areas))
    return found


def _lists(*arrays: Any) -> list[list[float]]:
    return [one.tolist() for one in arrays]


def test_cells_come_in_the_order_of_the_core(in_browser: Callable[..., Any]) -> None:
    cases = [
        (list(grid.cell_names), seed)
        for grid in GRIDS
        for seed in (0, 1, 7, 123456789, 2**31 - 1)
    ]
    expected = [list(cell_order(tuple(names), seed=seed)) for names, seed in cases]
    assert in_browser("sampling", "cellOrder", cases) == expected


def test_a_pilot_calls_for_as_many_cells_as_in_the_core(
    in_browser: Callable[..., Any],
) -> None:
    dishes, precisions = _some_dishes(PILOT), [0.08, 0.1, 0.15, 0.2, 0.3]
    cases, expected = [], []
    for (grid, seen, areas), cv in zip(dishes, precisions * CASES, strict=False):
        cells = grid.cell_areas_mm2.size
        cases.append([*_lists(seen, areas), cells, cv])
        expected.append(int(called_for(seen, areas, cells, cv)[0]))
    assert in_browser("sampling", "calledFor", cases) == expected
    assert len(set(expected)) > 10


def test_the_precision_to_expect_is_the_cores(in_browser: Callable[..., Any]) -> None:
    grid = GRIDS[0]
    chance = np.random.default_rng(5)
    cases, expected = [], []
    for _ in range(60):
        names = [str(n) for n in chance.permutation(grid.cell_names)[:PILOT]]
        counts = {name: int(chance.poisson(6)) for name in names}
        plan = plan_cells(counts, grid=grid, cv=0.15)
        areas = dict(zip(grid.cell_names, grid.cell_areas_mm2.tolist(), strict=True))
        cells = grid.cell_areas_mm2.size
        seen = list(counts.values())
        cases.append([seen, [areas[name] for name in names], cells, plan.cells])
        expected.append(plan.expected_cv)
    found = in_browser("sampling", "expectedCv", cases)
    assert found == pytest.approx(expected, rel=1e-9)


def _as_in_the_core(
    grid: DishGrid, seen: Any, areas: Any, pilot: int
) -> list[float | None]:
    spread = expand_cells(
        seen,
        areas,
        dish_area_mm2=grid.area_mm2,
        cells_in_dish=grid.cell_areas_mm2.size,
    )
    total = spread.total
    if pilot:
        rest = seen[pilot:].sum() / areas[pilot:].sum()
        total = seen[:pilot].sum() + (grid.area_mm2 - areas[:pilot].sum()) * rest
    share = spread.proportion_counted
    ends = _interval(total, spread.standard_error, seen.astype(float), (share, 0.95))
    return [total, spread.standard_error, share, *ends]


@pytest.mark.parametrize("pilot", [0, PILOT])
def test_the_total_of_a_dish_is_the_cores(
    in_browser: Callable[..., Any], pilot: int
) -> None:
    cases, expected = [], []
    for grid, seen, areas in _some_dishes():
        dish = {"area_mm2": grid.area_mm2, "cells": grid.cell_areas_mm2.size}
        cases.append([*_lists(seen, areas), dish, pilot])
        expected.append(_as_in_the_core(grid, seen, areas, pilot))
    for found, wanted in zip(
        in_browser("sampling", "dishTotal", cases), expected, strict=True
    ):
        names = ("total", "error", "share", "low", "high")
        assert [found[name] for name in names] == pytest.approx(wanted, rel=1e-9)


def test_the_quantiles_of_t_are_those_of_the_tables(
    in_browser: Callable[..., Any],
) -> None:
    cases = [
        (tail, degrees)
        for tail in (0.1, 0.025, 0.005)
        for degrees in (1, 2, 3, 4, 9, 10, 23, 60, 207, 999)
    ]
    expected = [float(stats.t.isf(tail, degrees)) for tail, degrees in cases]
    found = in_browser("student", "upperT", cases)
    assert found == pytest.approx(expected, rel=1e-9)


def test_a_single_bag_is_told_as_the_site_tells_it(
    in_browser: Callable[..., Any],
) -> None:
    # The page knows a recovery's interval and takes it for a normal one's on the log
    # scale; the site knows its beta.
    beta = BetaRecovery(a=166.6, b=29.4)
    spread = 1.959963984540054 * (29.4 / (166.6 * 197)) ** 0.5
    mean = float(beta.mean)
    told = {
        "median": mean,
        "low": mean * math.exp(-spread),
        "high": mean * math.exp(spread),
    }
    for count in (1, 3, 40, 340, 5_000):
        (dish,) = in_browser("sampling", "wholeDish", [[count]])
        assert (dish["low"], dish["total"], dish["high"]) == (count, count, count)
        (found,) = in_browser("sampling", "perUnit", [[dish, 1, told]])
        wanted = animals_of_bag(count, standard_error=0, seen=count, recovery=beta)
        assert [found[name] for name in ("total", "low", "high")] == pytest.approx(
            [wanted.animals, wanted.low, wanted.high], rel=1e-6
        )


def test_a_leaf_on_which_nothing_was_found_may_have_had_some(
    in_browser: Callable[..., Any],
) -> None:
    (dish,) = in_browser("sampling", "wholeDish", [[0]])
    recovery = {"median": 0.85, "low": 0.8, "high": 0.9}
    (found,) = in_browser("sampling", "perUnit", [[dish, 2, recovery]])
    assert (found["total"], found["low"]) == (0, 0)
    assert found["high"] == pytest.approx(-math.log(0.025) / 0.8 / 2)


COURSE = """async ([names, read, called]) => {
  const { chosenIn, makeCourse } = await import("/static/monitoring/bench/course.js");
  const cells = names.map((name) => ({ name, area_mm2: 1,
    column: name.charCodeAt(0) - 65, row: Number(name.slice(1)) - 1 }));
  const started = { pilot: 2, organisms: [{ id: "a", scope: "cells" }] };
  const course = makeCourse(started, { cells }, ["B2", "C1", "A3", "A1", "B3",
    "C2", "A2", "B1", "C3"]);
  const state = { called, read: { cells: read }, skipped: { cells: { C1: "debris" } } };
  return chosenIn(course, state, "cells");
}"""


def test_chance_chooses_cells_until_all_are_called_for_then_rows_to_and_fro(
    open_page: Callable[..., Page],
) -> None:
    page = open_page()
    page.goto("/accounts/login/")
    names = [column + row for row in "123" for column in "ABC"]
    # One that was skipped makes way for the next drawn.
    first = page.evaluate(COURSE, [names, ["B2"], None])
    assert first == ["B2", "C1", "A3"]
    four = page.evaluate(COURSE, [names, ["B2", "A3"], 4])
    assert four == ["B2", "C1", "A3", "A1", "B3"]
    everything = page.evaluate(COURSE, [names, ["B2", "A3"], 9])
    assert everything == ["B2", "A3", "A1", "B1", "C1", "C2", "A2", "B3", "C3"]


def test_codes_are_checked_without_a_network_as_the_site_checks_them(
    in_browser: Callable[..., Any],
) -> None:
    chance = np.random.default_rng(3)
    texts = ["", "   ", "A12", "K7R 4M3X2", "sz g2345"]
    for _ in range(200):
        code = new_code()
        wrong = list(code)
        wrong[chance.integers(7)] = ALPHABET[chance.integers(16)]
        first = int(chance.integers(6))
        swapped = list(code)
        swapped[first : first + 2] = reversed(code[first : first + 2])
        texts += [code, code.lower(), "".join(wrong), "".join(swapped)]
        texts.append(f"{code[:3]}-{code[3:]}")
    found = in_browser("codes", "readCode", [[text] for text in texts])
    for text, told in zip(texts, found, strict=True):
        code, why = _as_the_site_reads(text)
        # The site adds an example to one of its sentences.
        assert told.get("code", "") == code
        assert why.startswith(told.get("why", "").removesuffix("."))


def _as_the_site_reads(text: str) -> tuple[str, str]:
    try:
        return read_code(text), ""
    except NoLabelCodeError as why:
        return "", str(why)


def test_a_scanned_address_gives_its_code(in_browser: Callable[..., Any]) -> None:
    code = new_code()
    cases = [[f"https://site.example.org/b/{code}/"], [f"HTTPS://X.EXAMPLE/b/{code}"]]
    found = in_browser("codes", "readCode", cases)
    assert found == [{"code": code}] * 2
