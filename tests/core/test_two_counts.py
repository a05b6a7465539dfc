"""Two counts of one dish, and the animals of one bag: outside figures and laws."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from monitoring.estimation import (
    BetaRecovery,
    EstimationError,
    animals_of_bag,
    compare_counts,
    poisson_limits,
)

COUNTS = st.integers(0, 5_000)


@given(first=COUNTS, second=COUNTS, share=st.floats(0.05, 1))
def test_each_count_has_its_poisson_limits_as_animals_in_the_dish(
    first: int, second: int, share: float
) -> None:
    found = compare_counts(first, second, second_share=share)
    low, high = poisson_limits(second)
    assert found.first == poisson_limits(first)
    assert found.second == pytest.approx((low / share, high / share))
    assert compare_counts(first, first).overlap


@given(first=COUNTS, second=COUNTS)
def test_z_of_whole_dishes_is_the_root_of_chi_square(first: int, second: int) -> None:
    found = compare_counts(first, second)
    if first + second == 0:
        assert (found.z, found.relative_difference) == (0, 0)
        return
    chi_square = stats.chisquare([first, second]).statistic
    assert found.z**2 == pytest.approx(chi_square)


@given(first=COUNTS, second=COUNTS, one=st.floats(0.05, 1), other=st.floats(0.05, 1))
def test_changing_the_order_changes_signs_only(
    first: int, second: int, one: float, other: float
) -> None:
    found = compare_counts(first, second, first_share=one, second_share=other)
    back = compare_counts(second, first, first_share=other, second_share=one)
    assert back.z == pytest.approx(-found.z)
    assert back.relative_difference == pytest.approx(-found.relative_difference)
    assert back.overlap == found.overlap
    assert -2 <= found.relative_difference <= 2


def test_a_part_counts_as_what_it_stands_for() -> None:
    """A tenth of a dish with 30 agrees with 300 in the whole; 300 and 30 do not."""
    assert compare_counts(30, 300, first_share=0.1).relative_difference == 0
    apart = compare_counts(300, 30)
    assert apart.relative_difference == pytest.approx(-270 / 165)
    assert apart.z == pytest.approx(-270 / 330**0.5)
    assert not apart.overlap


def test_a_bags_interval_holds_its_animals_as_often_as_it_says() -> None:
    """1,000 leaves of 300 animals, washed at a recovery between runs, 95 in 100."""
    chance = np.random.default_rng(5)
    recovery = BetaRecovery(162.15, 27.83)
    animals, held = 300, 0
    for share in chance.beta(recovery.a, recovery.b, size=1_000):
        washed = int(chance.binomial(animals, share))
        found = animals_of_bag(washed, standard_error=0, seen=washed, recovery=recovery)
        held += found.low <= animals <= found.high
    assert 925 <= held <= 970


def test_spreads_of_cells_and_recovery_both_widen() -> None:
    def width(error: float, recovery: float | BetaRecovery) -> float:
        found = animals_of_bag(1_000, standard_error=error, seen=100, recovery=recovery)
        return found.high / found.low

    assert width(0, 0.85) < width(150, 0.85) < width(150, BetaRecovery(16, 3))


def test_a_whole_dish_without_washing_loss_is_exact() -> None:
    found = animals_of_bag(42, standard_error=0, seen=42)
    assert (found.animals, found.low, found.high) == (42, 42, 42)


def test_none_seen_has_an_upper_end_only() -> None:
    found = animals_of_bag(
        0, standard_error=0, seen=0, proportion_counted=0.1, recovery=0.8
    )
    assert (found.animals, found.low) == (0, 0)
    assert found.high == pytest.approx(3.6889 / 0.08, rel=1e-4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: compare_counts(-1, 2),
        lambda: compare_counts(1, 2.5),  # type: ignore[arg-type]
        lambda: compare_counts(1, 2, first_share=0),
        lambda: compare_counts(1, 2, second_share=1.1),
        lambda: compare_counts(1, 2, confidence=1),
        lambda: animals_of_bag(-1, standard_error=0, seen=0),
        lambda: animals_of_bag(5, standard_error=0, seen=6),
        lambda: animals_of_bag(5, standard_error=float("inf"), seen=5),
        lambda: animals_of_bag(5, standard_error=0, seen=5, recovery=1.2),
        lambda: animals_of_bag(float("nan"), standard_error=0, seen=5),
    ],
)
def test_what_cannot_be_is_refused(call: Callable[[], Any]) -> None:
    with pytest.raises(EstimationError):
        call()


def test_a_spread_without_end_is_no_number() -> None:
    found = animals_of_bag(10, standard_error=1e9, seen=10)
    assert (found.low, found.high) == (10, float("inf"))
