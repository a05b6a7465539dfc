"""Laws of the variance lines, of the limits beside the posterior, and of washes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.estimation import (
    fit_patchiness,
    fit_power_law,
    profile_interval,
    recovery_from_washes,
    stratified_mean,
    zero_count_upper_limit,
)

# Far enough apart that a line is well told.
MEANS = st.lists(st.integers(-9, 18), min_size=3, max_size=12, unique=True).map(
    lambda powers: [1.5**power for power in powers]
)
FACTORS = st.floats(0.01, 100)
COUNTS = st.lists(st.integers(0, 300), min_size=3, max_size=15)


@settings(max_examples=60, deadline=None)
@given(MEANS, st.floats(0.2, 8), st.floats(0.8, 2.5), FACTORS, FACTORS)
def test_a_power_law_is_found_again_in_any_units(
    means: list[float], a: float, b: float, of_means: float, of_variances: float
) -> None:
    at = np.array(means)
    exact = fit_power_law(at, a * at**b)
    assert (exact.a, exact.b) == pytest.approx((a, b), rel=1e-6)
    assert exact.b_standard_error == pytest.approx(0, abs=1e-6)
    other = fit_power_law(of_means * at, of_variances * a * at**b)
    assert other.b == pytest.approx(b, rel=1e-6)
    assert other.a == pytest.approx(a * of_variances / of_means**b, rel=1e-5)


@settings(max_examples=60, deadline=None)
@given(MEANS, st.floats(0, 5), st.floats(1, 4))
def test_a_patchiness_line_is_found_again(
    means: list[float], alpha: float, beta: float
) -> None:
    at = np.array(means)
    found = fit_patchiness(at, (alpha + 1) * at + (beta - 1) * at**2)
    assert (found.alpha, found.beta) == pytest.approx((alpha, beta), abs=1e-5)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0.1, 500), st.floats(0.1, 1e5)),
        min_size=3,
        max_size=12,
        unique_by=lambda pair: round(pair[0], 2),
    ),
    st.randoms(use_true_random=False),
)
def test_rounds_on_a_line_have_no_order(
    pairs: list[tuple[float, float]], order: object
) -> None:
    moved = list(pairs)
    order.shuffle(moved)  # type: ignore[attr-defined] # a random.Random
    lines = []
    for one in (pairs, moved):
        means, variances = zip(*one, strict=True)
        power, patch = fit_power_law(means, variances), fit_patchiness(means, variances)
        lines.append(
            [power.a, power.b, power.b_standard_error, patch.alpha, patch.beta]
        )
    assert lines[1] == pytest.approx(lines[0], rel=1e-6, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 60), st.floats(0.05, 5), st.floats(0.05, 1), st.floats(0.05, 1))
def test_the_limit_of_nothing_found_falls_with_more_looked_at(
    bags: int, k: float, recovery: float, share: float
) -> None:
    limit = zero_count_upper_limit(
        bags=bags, k=k, recovery=recovery, proportion_counted=share
    )
    plain = zero_count_upper_limit(bags=bags, k=k)
    assert limit == pytest.approx(plain / (recovery * share))
    assert zero_count_upper_limit(bags=bags + 1, k=k) < plain
    assert zero_count_upper_limit(bags=bags, k=k, confidence=0.99) > plain
    even = zero_count_upper_limit(bags=bags, k=1e6)
    assert even == pytest.approx(-np.log(0.05) / bags, rel=1e-3), "Poisson's limit"


@settings(max_examples=20, deadline=None)
@given(COUNTS.filter(any), st.floats(0.05, 1), st.floats(0.05, 1))
def test_the_profile_interval_scales_with_what_is_seen_of_the_leaf(
    seen: list[int], share: float, recovery: float
) -> None:
    whole = profile_interval(seen)
    part = profile_interval(seen[::-1], proportions_counted=share, recovery=recovery)
    scaled = [end * share * recovery for end in (part.low, part.high)]
    assert scaled == pytest.approx([whole.low, whole.high], rel=1e-3)


@settings(max_examples=60, deadline=None)
@given(COUNTS, COUNTS, st.floats(0.05, 0.95), st.integers(2, 9))
def test_a_stratified_mean_stretches_with_its_counts_and_has_no_order(
    first: list[int], second: list[int], weight: float, times: int
) -> None:
    found = stratified_mean([first, second], [weight, 1 - weight])
    turned = stratified_mean([second[::-1], first[::-1]], [1 - weight, weight])
    larger = stratified_mean(
        [[times * one for one in of] for of in (first, second)], [weight, 1 - weight]
    )
    assert [turned.mean, turned.standard_error] == pytest.approx(
        [found.mean, found.standard_error]
    )
    assert [larger.mean, larger.standard_error] == pytest.approx(
        [times * found.mean, times * found.standard_error]
    )


@settings(max_examples=60, deadline=None)
@given(st.integers(20, 400), st.floats(0.3, 0.95), st.integers(2, 8))
def test_washes_of_more_animals_tell_the_same_recovery_and_more_surely(
    first: int, share: float, times: int
) -> None:
    catches = [first, round(first * (1 - share)), round(first * (1 - share) ** 2)]
    few = recovery_from_washes(catches, method="given_total")
    many = recovery_from_washes([times * one for one in catches], method="given_total")
    assert many.recovery == pytest.approx(few.recovery)
    assert many.initial == pytest.approx(times * few.initial)
    assert many.recovery_standard_error <= few.recovery_standard_error
