"""Mite-days and degree-days: laws, edges, gaps, and a slow second way to each."""

from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from monitoring.estimation import (
    PROBABILITIES,
    BetaRecovery,
    DensityEstimate,
    EstimationError,
    HeatRule,
    StoredPosterior,
    degree_days,
    estimate_densities,
    fill_gaps,
    mite_day_weights,
    mite_days,
    sum_degree_days,
    winkler_region,
)

LEAVES = BetaRecovery(162.15, 27.83)
SHOOTS = BetaRecovery(9.2, 6.6)
ROUNDS = [[0, 3, 1, 9, 0, 4], [12, 0, 30, 8, 2, 17], [90, 44, 160, 12, 61, 210]]
DAYS = [0, 14, 26]
temperatures = st.floats(-20, 45)
METHODS = ("average", "single_triangle", "single_sine", "double_sine")
CUTOFFS = ("horizontal", "vertical", "intermediate")


def posteriors(recovery: BetaRecovery) -> list[DensityEstimate]:
    return estimate_densities(ROUNDS, recovery=recovery)


def slowly(of: list[DensityEstimate], recovery: BetaRecovery, *, shared: bool) -> Any:
    """Draw rounds one by one, with one recovery in all rounds or one in each."""
    chance = np.random.default_rng(4)
    size = 2_000_000
    total = np.zeros(size)
    common = chance.beta(recovery.a, recovery.b, size)
    for weight, one in zip([7.0, 13.0, 6.0], of, strict=True):
        own = common if shared else chance.beta(recovery.a, recovery.b, size)
        total += weight * one.washed_off.quantiles(chance.uniform(size=size)) / own
    return np.quantile(total, [0.025, 0.5, 0.975])


@pytest.mark.parametrize("recovery", [LEAVES, SHOOTS])
def test_interval_of_posteriors_agrees_with_drawing_them(
    recovery: BetaRecovery,
) -> None:
    of = posteriors(recovery)
    found = mite_days(DAYS, of)
    expected = slowly(of, recovery, shared=True)
    assert [found.low, found.total, found.high] == pytest.approx(expected, rel=0.015)


@pytest.mark.parametrize("recovery", [LEAVES, SHOOTS])
def test_stored_quantiles_give_the_same_as_posteriors(recovery: BetaRecovery) -> None:
    of = posteriors(recovery)
    stored = [StoredPosterior(tuple(one.quantiles_at(PROBABILITIES))) for one in of]
    found = mite_days(DAYS, stored, recoveries=recovery)
    whole = mite_days(DAYS, of)
    for name in ("cumulative", "cumulative_low", "cumulative_high"):
        assert getattr(found, name) == pytest.approx(getattr(whole, name), rel=0.015)


def test_recovery_common_to_all_rounds_does_not_average_out() -> None:
    """Many exact rounds: what is left of the interval is the recovery's alone."""
    exact = StoredPosterior(tuple(100 + 1e-6 * np.arange(PROBABILITIES.size)))
    recovery = BetaRecovery(9.2, 6.6)
    low, high = recovery.interval()
    of = estimate_densities([[1000] * 40] * 12, recovery=recovery)
    found = mite_days(range(0, 120, 10), of)
    assert found.high / found.low == pytest.approx(high / low, rel=0.05)
    without = mite_days([0, 10], [exact, exact])
    assert without.high == pytest.approx(without.low, rel=1e-3)


def test_more_rounds_narrow_the_interval_where_nothing_is_shared() -> None:
    of = estimate_densities([ROUNDS[1]] * 9)
    many = mite_days(range(9), of)
    few = mite_days([0, 8], of[:2])
    assert many.high / many.low < few.high / few.low


def test_round_without_upper_limit_leaves_the_sum_without_one() -> None:
    lone = estimate_densities([[5, 3, 8, 4, 6, 7], [1], [4, 6, 5, 7, 3, 6]])
    assert lone[1].high == np.inf
    found = mite_days([0, 7, 14], lone)
    assert found.high == found.terms_high[0] == found.terms_high[1] == np.inf
    assert np.isfinite(found.low)
    assert np.isfinite(mite_days([0, 14], [lone[0], lone[2]]).high)


def test_medians_of_terms_and_cumulative_have_the_shapes_promised() -> None:
    found = mite_days(DAYS, posteriors(LEAVES))
    assert found.cumulative.shape == found.weights.shape == (3,)
    assert found.terms.shape == found.terms_low.shape == (2,)
    assert found.cumulative[0] == found.cumulative_high[0] == 0
    assert found.cumulative[1] == pytest.approx(found.terms[0])
    assert (found.total, found.low) == (found.cumulative[-1], found.cumulative_low[-1])


def test_one_round_alone_has_no_mite_days() -> None:
    assert mite_days([3], [20.0]).total == 0
    assert mite_days([3], posteriors(LEAVES)[:1]).high == 0


@given(
    st.lists(st.floats(0, 5000), min_size=2, max_size=12),
    st.floats(0.01, 100),
    st.floats(-1000, 1000),
)
def test_mite_days_scale_and_do_not_care_when_counting_of_days_begins(
    densities: list[float], factor: float, shift: float
) -> None:
    days = np.asarray(np.arange(len(densities)) * 7.0, dtype=np.float64)
    found = mite_days(days, densities)
    scaled = mite_days(days + shift, np.array(densities) * factor)
    assert scaled.total == pytest.approx(found.total * factor, rel=1e-9, abs=1e-9)
    backwards = mite_days(days, densities[::-1])
    assert backwards.total == pytest.approx(found.total, rel=1e-9, abs=1e-9)
    assert (np.diff(found.cumulative) >= 0).all()
    assert found.log_linear_total <= found.total * (1 + 1e-9) + 1e-9


def test_same_seed_same_figures_and_another_seed_much_the_same() -> None:
    of = posteriors(LEAVES)
    first, again = mite_days(DAYS, of), mite_days(DAYS, of)
    assert (first.low, first.total, first.high) == (again.low, again.total, again.high)
    assert mite_days(DAYS, of, seed=7).high == pytest.approx(first.high, rel=0.02)


def _brute(low: float, high: float, rule: HeatRule) -> float:
    """Walk through the day in small steps."""
    steps = (np.arange(200_000) + 0.5) / 200_000
    if rule.method == "single_triangle":
        warmth = low + (high - low) * (1 - np.abs(2 * steps - 1))
    else:
        warmth = (low + high) / 2 + (high - low) / 2 * np.sin(2 * np.pi * steps)
    upper = np.inf if rule.upper_c is None else rule.upper_c
    rate = np.maximum(warmth - rule.lower_c, 0)
    beyond = np.maximum(warmth - upper, 0)
    if rule.cutoff == "vertical":
        return float(np.where(beyond > 0, 0, rate).mean())
    return float((rate - (2 if rule.cutoff == "intermediate" else 1) * beyond).mean())


@settings(max_examples=60)
@given(
    temperatures,
    temperatures,
    st.floats(0, 20),
    st.sampled_from(["single_triangle", "single_sine"]),
    st.sampled_from(CUTOFFS),
)
def test_degree_days_agree_with_walking_through_the_day(
    first: float, second: float, lower: float, method: Any, cutoff: Any
) -> None:
    low, high = sorted((first, second))
    rule = HeatRule(lower_c=lower, upper_c=lower + 18, method=method, cutoff=cutoff)
    found = degree_days(
        [low], [high], lower_c=lower, upper_c=lower + 18, method=method, cutoff=cutoff
    )
    assert found[0] == pytest.approx(_brute(low, high, rule), abs=2e-3)


@given(
    st.lists(st.tuples(temperatures, temperatures), min_size=1, max_size=20),
    st.floats(0, 20),
    st.floats(0.5, 30),
    st.sampled_from(METHODS),
)
def test_laws_of_degree_days(
    pairs: list[tuple[float, float]], lower: float, range_c: float, method: Any
) -> None:
    lows, highs = np.sort(np.array(pairs), axis=1).T
    rule: dict[str, Any] = {"lower_c": lower, "method": method}
    plain = degree_days(lows, highs, **rule)
    cut = degree_days(lows, highs, upper_c=lower + range_c, **rule)
    assert plain.shape == lows.shape
    assert (cut >= -1e-9).all()
    assert (cut <= np.minimum(plain, range_c) + 1e-9).all()
    warmer = degree_days(lows + 1, highs + 1, upper_c=lower + range_c, **rule)
    assert (warmer >= cut - 1e-9).all()
    shifted = degree_days(lows + 5, highs + 5, lower_c=lower + 5, method=method)
    assert shifted == pytest.approx(plain, abs=1e-9)
    if method == "average":
        return
    for cutoff in ("vertical", "intermediate"):
        found = degree_days(lows, highs, upper_c=lower + range_c, cutoff=cutoff, **rule)
        assert (found <= cut + 1e-9).all()


@given(st.lists(st.tuples(temperatures, temperatures), min_size=2, max_size=20))
def test_single_methods_take_each_day_alone(pairs: list[tuple[float, float]]) -> None:
    lows, highs = np.sort(np.array(pairs), axis=1).T
    order = np.argsort(highs)
    for method in ("average", "single_triangle", "single_sine"):
        rule: Any = {"lower_c": 10, "upper_c": 30, "method": method}
        found = degree_days(lows, highs, **rule)
        other = degree_days(lows[order], highs[order], **rule)
        assert other == pytest.approx(found[order])


def test_evening_of_a_cold_day_before_a_warm_night_does_not_fall() -> None:
    found = degree_days([8, 20], [12, 25], lower_c=10, method="double_sine")
    morning = degree_days([8], [12], lower_c=10)[0]
    assert found[0] == pytest.approx((morning + 2) / 2)


NAN = float("nan")


def test_short_gaps_are_filled_along_a_straight_line_and_long_ones_are_not() -> None:
    lows = [10, NAN, NAN, NAN, 14, NAN, NAN, NAN, NAN, 9, NAN]
    highs = [20, 21, NAN, NAN, 28, NAN, NAN, NAN, NAN, 15, NAN]
    found = fill_gaps(lows, highs, longest_gap=3)
    assert found.minimum_c[:5] == pytest.approx([10, 11, 12, 13, 14])
    assert found.maximum_c[:5] == pytest.approx([20, 22, 24, 26, 28])
    assert found.filled.tolist() == [False] + [True] * 3 + [False] * 7
    assert found.missing.tolist() == [False] * 5 + [True] * 4 + [False, True]
    assert np.isnan(found.minimum_c[found.missing]).all()
    assert not fill_gaps(lows, highs, longest_gap=2).filled.any()


def test_sum_after_a_long_gap_is_at_least() -> None:
    rule = HeatRule(lower_c=10, upper_c=30)
    highs = [20.0] * 4 + [NAN] * 5 + [20.0] * 3
    found = sum_degree_days([10.0] * 12, highs, rule=rule, longest_gap=3)
    assert found.cumulative[3] == pytest.approx(20)
    assert found.cumulative[4:9] == pytest.approx([20] * 5)
    assert found.total == pytest.approx(35)
    assert found.at_least.tolist() == [False] * 4 + [True] * 8
    assert int(found.missing.sum()) == 5
    assert found.rule == rule
    falling = HeatRule(lower_c=10, upper_c=30, cutoff="intermediate")
    unknown = sum_degree_days([10.0] * 12, highs, rule=falling)
    assert unknown.cumulative[3] == pytest.approx(20)
    assert np.isnan(unknown.total)


@given(
    st.lists(st.tuples(temperatures, temperatures), min_size=3, max_size=30),
    st.sets(st.integers(0, 29)),
    st.integers(0, 5),
)
def test_a_sum_over_missing_days_is_never_above_the_whole(
    pairs: list[tuple[float, float]], lost: set[int], longest: int
) -> None:
    lows, highs = np.sort(np.array(pairs), axis=1).T
    gone = np.isin(np.arange(lows.size), list(lost))
    rule = HeatRule(lower_c=5, upper_c=30)
    whole = sum_degree_days(lows, highs, rule=rule)
    holed = sum_degree_days(np.where(gone, NAN, lows), highs, rule=rule, longest_gap=0)
    assert holed.total <= whole.total + 1e-9
    found = fill_gaps(np.where(gone, NAN, lows), highs, longest_gap=longest)
    assert ((found.filled | found.missing) == gone).all()
    assert not (found.filled & found.missing).any()
    assume(not found.missing.all())
    there = ~found.missing
    assert (found.minimum_c[there] <= found.maximum_c[there]).all()
    assert (found.minimum_c[there] >= lows[~gone].min() - 1e-9).all()


# A number where a posterior should be.
MIXED: Any = [1.0, estimate_densities(ROUNDS[:1])[0]]


@pytest.mark.parametrize(
    ("call", "argument"),
    [
        (lambda: degree_days([12, 20], [20, 19], lower_c=10), "minimum_c"),
        (lambda: degree_days([12], [20, 19], lower_c=10), "maximum_c"),
        (lambda: degree_days([], [], lower_c=10), "minimum_c"),
        (lambda: degree_days([NAN], [20], lower_c=10), "minimum_c"),
        (lambda: degree_days([12], [20], lower_c=NAN), "lower_c"),
        (lambda: degree_days([12], [20], lower_c=10, upper_c=10), "upper_c"),
        (lambda: HeatRule(lower_c=10, method="cosine"), "method"),  # type: ignore[arg-type]
        (lambda: HeatRule(lower_c=10, cutoff="soft"), "cutoff"),  # type: ignore[arg-type]
        (
            lambda: HeatRule(
                lower_c=10, upper_c=30, method="average", cutoff="vertical"
            ),
            "cutoff",
        ),
        (lambda: fill_gaps([1.0], [2.0, 3.0]), "maximum_c"),
        (lambda: fill_gaps([1.0], [2.0], longest_gap=-1), "longest_gap"),
        (lambda: fill_gaps([3.0], [2.0]), "minimum_c"),
        (lambda: fill_gaps([-np.inf], [2.0]), "minimum_c"),
        (lambda: winkler_region(-1), "degree_day_sum"),
        (lambda: mite_days([0, 7, 7], [1, 2, 3]), "days"),
        (lambda: mite_day_weights([0, 7, 3]), "days"),
        (lambda: mite_days([0, 7], [1, 2, 3]), "densities"),
        (lambda: mite_days([0, 7], [1, -2]), "densities"),
        (lambda: mite_days([0, 7], [1, 2], standard_errors=[1]), "standard_errors"),
        (lambda: mite_days([0, 7], [1, 2], confidence=1), "confidence"),
        (lambda: mite_days([0, 7], MIXED), "densities"),
        (
            lambda: mite_days([0, 1, 2], posteriors(LEAVES), recoveries=[0.8]),
            "recoveries",
        ),
        (lambda: mite_days([0, 1, 2], posteriors(LEAVES), recoveries=2), "recoveries"),
    ],
)
def test_what_cannot_be_is_refused_by_name(call: Any, argument: str) -> None:
    with pytest.raises(EstimationError) as caught:
        call()
    assert caught.value.argument == argument
