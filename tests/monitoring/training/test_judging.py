"""How many dishes a standard takes."""

import numpy as np

from monitoring.estimation import Concordance, concordance, limits_of_agreement
from monitoring.training.judging import (
    dishes_for_concordance,
    dishes_for_limits,
)


def _counts(number: int, spread: float, bias: float) -> tuple[list[float], list[float]]:
    """Give log counts whose differences have exactly this bias and spread."""
    rng = np.random.default_rng(4)
    there = rng.uniform(1.5, 3, number)
    off = rng.normal(size=number)
    off = (off - off.mean()) / off.std(ddof=1) * spread + bias
    return list(there + off), list(there)


def test_so_many_dishes_bring_the_limits_within_the_ratio_and_one_fewer_do_not() -> (
    None
):
    limits = limits_of_agreement(*_counts(10, 0.06, 0.01))
    needed = dishes_for_limits(limits, widest_ratio=1.5)
    assert needed is not None
    room = np.log10(1.5)
    for pairs, enough in ((needed, True), (needed - 1, False)):
        again = limits_of_agreement(*_counts(pairs, 0.06, 0.01))
        outer = max(again.high_range[1], -again.low_range[0])
        assert bool(outer <= room) is enough


def test_no_number_of_dishes_mends_a_spread_that_is_too_wide() -> None:
    wide = limits_of_agreement(*_counts(12, 0.1, 0.0))
    assert dishes_for_limits(wide, widest_ratio=1.5) is None
    off = limits_of_agreement(*_counts(12, 0.01, 0.18))
    assert dishes_for_limits(off, widest_ratio=1.5) is None


def test_who_is_always_right_needs_no_more_dishes() -> None:
    same = limits_of_agreement([1.0, 2.0, 3.0], [1.0, 2.0, 3.0])
    assert dishes_for_limits(same, widest_ratio=1.1) == 3
    right = concordance([1.0, 2.0, 3.0], [1.0, 2.0, 3.0])
    assert dishes_for_concordance(right, least_concordance=0.99) == 3


def test_so_many_dishes_bring_the_coefficient_s_lower_limit_to_what_is_asked() -> None:
    found = concordance(*_counts(12, 0.12, 0.02))
    least = (found.low + found.coefficient) / 2
    needed = dishes_for_concordance(found, least_concordance=least)
    assert needed is not None
    assert needed > 12
    # The interval on Fisher's scale narrows as 1 over the root of n - 2.
    reach = (np.arctanh(found.coefficient) - np.arctanh(found.low)) * np.sqrt(
        10 / (needed - 2)
    )
    assert np.tanh(np.arctanh(found.coefficient) - reach) >= least
    one_fewer = reach * np.sqrt((needed - 2) / (needed - 3))
    assert np.tanh(np.arctanh(found.coefficient) - one_fewer) < least


def test_a_coefficient_below_what_is_asked_is_mended_by_no_number() -> None:
    low = Concordance(coefficient=0.8, low=0.6, high=0.9, pearson=0.9, pairs=15)
    assert dishes_for_concordance(low, least_concordance=0.9) is None
    near = Concordance(coefficient=0.9001, low=0.7, high=0.95, pearson=0.9, pairs=15)
    assert dishes_for_concordance(near, least_concordance=0.9) is None
