"""Intervals hold the truth as often as they say, in made-up worlds.

The whole table is measured by `manage.py measure_coverage` and kept beside the code;
here are few sets, enough to see a loss of three points.
"""

from itertools import product

import numpy as np
import pytest

from monitoring.coverage.measure import (
    averaged,
    measure,
    negative_binomial,
    textbook_t,
    with_history,
)
from monitoring.coverage.regimes import Regime, count_sets, every_regime
from monitoring.coverage.stored import stored_table
from monitoring.estimation import METHOD_VERSIONS

SETS, SEED = 300, 5


def _regimes(shape: str, clumpings: tuple[float, ...]) -> list[Regime]:
    return [
        Regime(
            family="fast",
            shape=shape,
            clumping=clumping,
            leaves=leaves,
            mean=mean,
            counting=counting,
            recovery=recovery,
        )
        for clumping, leaves, mean, (counting, recovery) in product(
            clumpings,
            (10, 20),
            (5.0, 200.0),
            (("whole dish", "known"), ("after a look", "held")),
        )
    ]


def _mean_coverage(regimes: list[Regime], method: object) -> float:
    found = [
        measure(one, sets=SETS, seed=SEED, methods={"one": method})[0].coverage  # type: ignore[dict-item]
        for one in regimes
    ]
    return float(np.mean(found))


def test_averaged_intervals_hold_where_leaves_are_clumped() -> None:
    """4,800 sets: their mean is within 0.6 of the truth 95 times in 100."""
    regimes = _regimes("clumped", (0.3, 1.0))
    assert _mean_coverage(regimes, averaged) >= 0.94


def test_averaged_intervals_hold_where_the_negative_binomial_fails() -> None:
    regimes = _regimes("lognormal", (1.3,))
    alone = _mean_coverage(regimes, negative_binomial)
    assert alone < 0.87
    assert _mean_coverage(regimes, averaged) >= 0.905


def test_a_history_keeps_coverage_and_makes_intervals_narrower() -> None:
    regimes = [one for one in _regimes("clumped", (1.0,)) if one.leaves == 10]
    with_, without = [], []
    for one in regimes:
        first, second = measure(
            one,
            sets=SETS,
            seed=SEED,
            methods={"history": with_history, "averaged": averaged},
        )
        with_.append(first)
        without.append(second)
    assert np.mean([one.coverage for one in with_]) >= 0.93
    narrower = [a.width / b.width for a, b in zip(with_, without, strict=True)]
    assert max(narrower) < 0.95


def test_the_textbook_interval_would_be_caught() -> None:
    """What the fast test is for: it sees an interval that holds too seldom."""
    assert _mean_coverage(_regimes("clumped", (0.3, 1.0)), textbook_t) < 0.9


@pytest.mark.parametrize("shape", ["clumped", "lognormal", "empty leaves"])
def test_made_up_leaves_have_the_mean_they_are_said_to_have(shape: str) -> None:
    regime = Regime(family="fast", shape=shape, clumping=0.8, leaves=20, mean=30.0)
    found = count_sets(regime, 5000, np.random.default_rng(1))
    densities = found.counts / found.proportions / 0.85
    error = densities.mean(axis=1).std() / np.sqrt(5000)
    assert densities.mean() == pytest.approx(30, abs=4 * error)


def test_a_regime_gives_the_same_whatever_else_is_measured() -> None:
    regime = Regime(family="fast", shape="clumped", clumping=1.0, leaves=10, mean=9.0)
    alone = measure(regime, sets=50, seed=3, methods={"t": textbook_t})
    beside = measure(
        regime, sets=50, seed=3, methods={"t": textbook_t, "averaged": averaged}
    )
    assert alone[0] == beside[0]
    assert alone != measure(regime, sets=50, seed=4, methods={"t": textbook_t})


@pytest.mark.slow
def test_every_world_of_the_table_holds_again_with_other_chance() -> None:
    """1,000 sets a world, another seed than the table's; about ten minutes."""
    found = {
        one: measure(one, sets=1000, seed=77, methods={"averaged": averaged})[0]
        for one in every_regime()
    }
    by_shape = {
        shape: [one for regime, one in found.items() if regime.shape == shape]
        for shape in ("clumped", "lognormal", "empty leaves")
    }
    means = {
        shape: np.mean([one.coverage for one in of_shape])
        for shape, of_shape in by_shape.items()
    }
    assert means["clumped"] >= 0.93
    assert means["lognormal"] >= 0.90
    assert means["empty leaves"] >= 0.93
    certainly_below = [regime.name for regime, one in found.items() if one.high < 0.9]
    assert certainly_below == []


def test_the_stored_table_is_of_the_methods_and_worlds_in_use() -> None:
    table = stored_table()
    assert table.versions == METHOD_VERSIONS
    assert [line.regime for line in table.lines] == list(every_regime())
    assert table.sets >= 5000


def test_the_stored_table_meets_what_is_asked_of_the_site_method() -> None:
    """At least 93 on average, and no world certainly below 91."""
    table = stored_table()
    clumped = [
        line.methods["averaged"]
        for line in table.lines
        if line.regime.shape == "clumped"
    ]
    assert np.mean([one.coverage for one in clumped]) >= 0.93
    assert min(one.high for one in clumped) >= 0.91
    empty = [
        line.methods["averaged"]
        for line in table.lines
        if line.regime.shape == "empty leaves"
    ]
    assert np.mean([one.coverage for one in empty]) >= 0.93
    lognormal = [
        line.methods["averaged"].coverage
        for line in table.lines
        if line.regime.shape == "lognormal"
    ]
    assert min(lognormal) >= 0.90
