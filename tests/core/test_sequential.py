"""Sequential tests and the runs that check them: laws, limits, simulation, refusals."""

from math import inf
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.estimation import (
    EstimationError,
    follow_stop_line,
    follow_test,
    presence_test,
    resample_units,
    sequential_test,
)

lower_means = st.floats(0.05, 500)
steps = st.floats(1.1, 8)
ks = st.floats(0.1, 20)
risks = st.floats(0.01, 0.3)
USUAL = {"lower_mean": 10.0, "upper_mean": 20.0, "k": 0.6, "alpha": 0.1, "beta": 0.1}


@given(lower_means, steps, ks, risks, risks)
def test_the_lines_are_where_the_likelihood_ratio_says(
    lower: float, step: float, k: float, alpha: float, beta: float
) -> None:
    upper = lower * step
    test = sequential_test(
        lower_mean=lower, upper_mean=upper, k=k, alpha=alpha, beta=beta
    )

    def log_ratio(total: float, units: float) -> float:
        grown = total * np.log(upper * (k + lower) / (lower * (k + upper)))
        return float(grown - units * k * np.log((k + upper) / (k + lower)))

    low, high = test.lines_at(np.array([13.0]))
    assert log_ratio(low[0], 13) == pytest.approx(np.log(beta / (1 - alpha)), abs=1e-6)
    assert log_ratio(high[0], 13) == pytest.approx(np.log((1 - beta) / alpha), abs=1e-6)
    assert lower < test.slope < upper


@given(lower_means, steps, ks, risks, risks)
def test_the_curve_goes_through_both_promises_and_falls(
    lower: float, step: float, k: float, alpha: float, beta: float
) -> None:
    upper = lower * step
    test = sequential_test(
        lower_mean=lower, upper_mean=upper, k=k, alpha=alpha, beta=beta
    )
    assert test.acceptance_probability(lower) == pytest.approx(1 - alpha, rel=1e-6)
    assert test.acceptance_probability(upper) == pytest.approx(beta, rel=1e-6)
    at = [0, lower / 50, lower / 2, lower, test.slope, upper, 2 * upper, 90 * upper]
    curve = [test.acceptance_probability(mean) for mean in at]
    assert curve == sorted(curve, reverse=True)
    assert curve[0] == 1
    numbers = [test.average_sample_number(mean) for mean in at]
    assert min(numbers) > 0
    # The further beyond the upper mean, the sooner it is plain.
    assert numbers[-1] < numbers[-2] < numbers[-3]


@given(lower_means, steps, ks)
def test_nothing_jumps_where_the_formulas_have_their_limit(
    lower: float, step: float, k: float
) -> None:
    test = sequential_test(
        lower_mean=lower, upper_mean=lower * step, k=k, alpha=0.1, beta=0.1
    )
    near = [test.slope * (1 + by) for by in (-1e-4, 0.0, 1e-4)]
    for ask in (test.acceptance_probability, test.average_sample_number):
        before, at, after = (ask(mean) for mean in near)
        assert at == pytest.approx((before + after) / 2, rel=1e-3)


def test_poisson_is_the_limit_of_weak_clumping() -> None:
    """Wald's Poisson test: slope (m1 - m0)/ln(m1/m0), intercepts ln 9/ln(m1/m0)."""
    test = sequential_test(**USUAL | {"k": inf})
    assert test.slope == pytest.approx(10 / np.log(2), rel=1e-5)
    assert test.upper_intercept == pytest.approx(np.log(9) / np.log(2), rel=1e-5)
    assert test.acceptance_probability(10) == pytest.approx(0.9, rel=1e-4)


def test_a_decision_once_made_stands() -> None:
    test = sequential_test(**USUAL)
    assert test.decide([0] * 6) == "lower"
    assert test.decide([0] * 6 + [500]) == "lower"
    assert test.decide([500] + [0] * 50) == "upper"
    assert test.decide([10, 18]) == "continue"


@given(st.floats(0.05, 3), st.floats(1.5, 4), st.floats(0.2, 5))
def test_presence_goes_through_both_promises(
    lower: float, step: float, k: float
) -> None:
    test = presence_test(
        lower_mean=lower, upper_mean=lower * step, k=k, alpha=0.1, beta=0.2
    )
    assert test.acceptance_probability(lower) == pytest.approx(0.9, rel=1e-6)
    assert test.acceptance_probability(lower * step) == pytest.approx(0.2, rel=1e-6)
    assert test.lower_share < test.slope < test.upper_share
    assert test.average_sample_number(lower) > 0
    assert test.acceptance_probability(0) == 1


@given(st.floats(0.05, 3), st.floats(1.5, 4), st.floats(0.2, 5), risks, risks)
def test_presence_lines_are_where_the_likelihood_ratio_says(
    lower: float, step: float, k: float, alpha: float, beta: float
) -> None:
    test = presence_test(
        lower_mean=lower, upper_mean=lower * step, k=k, alpha=alpha, beta=beta
    )
    p, q = test.lower_share, test.upper_share
    low, high = test.lines_at(np.array([17.0]))
    for total, bound in (
        (low[0], beta / (1 - alpha)),
        (high[0], (1 - beta) / alpha),
    ):
        ratio = total * np.log(q / p) + (17 - total) * np.log((1 - q) / (1 - p))
        assert ratio == pytest.approx(np.log(bound), abs=1e-6)


def test_presence_decides_by_leaves_with_animals_however_many() -> None:
    test = presence_test(lower_mean=0.3, upper_mean=1.5, k=1, alpha=0.1, beta=0.1)
    leaves = [0, 3, 1, 0, 1, 2, 1, 1, 1, 1]
    assert test.decide(leaves) == test.decide([99 * count for count in leaves])
    assert test.decide([0] * 12) == "lower"
    tallied = presence_test(
        lower_mean=5, upper_mean=30, k=1, alpha=0.1, beta=0.1, animals=10
    )
    assert tallied.decide([9] * 12) == "lower"
    assert tallied.decide([10] * 12) == "upper"


def test_presence_keeps_its_promises_in_simulation() -> None:
    test = presence_test(
        lower_mean=1, upper_mean=4, k=0.6, alpha=0.1, beta=0.1, animals=2
    )
    chance = np.random.default_rng(77)
    for mean, wrong in ((1.0, "upper"), (4.0, "lower")):
        counts = chance.poisson(chance.gamma(0.6, mean / 0.6, size=(4000, 300)))
        found = follow_test(counts.astype(float), test)
        # Wald's bounds on the risks, with three Monte Carlo deviations.
        assert getattr(found, wrong) < 0.1 / 0.9 + 3 * np.sqrt(0.1 * 0.9 / 4000)
        assert found.average_units >= 0.9 * test.average_sample_number(mean)


def test_resampled_leaves_are_the_rounds_own() -> None:
    drawn = resample_units([0, 3, 40], runs=500, units=30, seed=1)
    assert set(np.unique(drawn)) == {0, 3, 40}
    assert drawn.shape == (500, 30)
    assert drawn.mean() == pytest.approx(43 / 3, rel=0.03)
    assert (drawn == resample_units([0, 3, 40], runs=500, units=30, seed=1)).all()
    assert (drawn != resample_units([0, 3, 40], runs=500, units=30, seed=2)).any()


def test_a_smaller_share_thins_and_a_larger_one_scales() -> None:
    counts = [0, 30, 400]
    for keep in (0.25, 2.5):
        drawn = resample_units(counts, keep=keep, runs=2000, units=20, seed=3)
        assert (drawn == np.floor(drawn)).all()
        assert drawn.mean() == pytest.approx(keep * np.mean(counts), rel=0.03)
    mixed = resample_units(counts, keep=[1, 0.5, 2], runs=2000, units=20, seed=3)
    assert mixed.mean() == pytest.approx((15 + 800) / 3, rel=0.03)


def test_a_stop_line_holds_the_least_number_and_tells_what_is_unfinished() -> None:
    draws = np.array([[5.0, 5, 5, 5], [0, 0, 0, 1], [9, 0, 0, 2]])
    line = np.array([8.0, 8, 8, 8])
    found = follow_stop_line(draws, line, minimum_units=2, true_mean=4)
    # The first stops at 2, the third at 2 although at 9 before; the second never.
    assert found.average_units == pytest.approx((2 + 4 + 2) / 3)
    assert found.unfinished == pytest.approx(1 / 3)
    means = [5, 0.25, 4.5]
    assert found.bias == pytest.approx(np.mean(means) / 4 - 1)
    assert found.precision == pytest.approx(np.std(means, ddof=1) / np.mean(means))


def test_runs_that_end_undecided_go_to_the_nearer_line() -> None:
    test = sequential_test(**USUAL)
    draws = np.array([[10.0, 10], [18, 18], [300, 0]])
    found = follow_test(draws, test)
    assert found.unfinished == pytest.approx(2 / 3)
    assert found.lower == pytest.approx(1 / 3)
    assert found.average_units == pytest.approx(5 / 3)
    later = follow_test(draws, test, minimum_units=2)
    assert later.average_units == 2


@pytest.mark.parametrize(
    ("call", "arguments", "argument"),
    [
        (sequential_test, USUAL | {"lower_mean": 0}, "lower_mean"),
        (sequential_test, USUAL | {"upper_mean": inf}, "upper_mean"),
        (sequential_test, USUAL | {"upper_mean": 10.0}, "upper_mean"),
        (sequential_test, USUAL | {"k": 0}, "k"),
        (sequential_test, USUAL | {"alpha": 0}, "alpha"),
        (sequential_test, USUAL | {"beta": 1}, "beta"),
        (sequential_test, USUAL | {"alpha": 0.5, "beta": 0.5}, "beta"),
        (presence_test, USUAL | {"animals": 0}, "animals"),
        (
            presence_test,
            USUAL | {"lower_mean": 1e5, "upper_mean": 1e6, "k": 5},
            "animals",
        ),
        (sequential_test(**USUAL).acceptance_probability, {"mean": -1}, "mean"),
        (sequential_test(**USUAL).average_sample_number, {"mean": inf}, "mean"),
        (sequential_test(**USUAL).decide, {"counts": [0.5]}, "counts"),
        (
            resample_units,
            {"counts": [1], "keep": 0, "runs": 1, "units": 1, "seed": 1},
            "keep",
        ),
        (resample_units, {"counts": [1], "runs": 0, "units": 1, "seed": 1}, "runs"),
        (
            follow_stop_line,
            {
                "draws": np.ones((2, 3)),
                "line": np.ones(2),
                "minimum_units": 1,
                "true_mean": 1,
            },
            "line",
        ),
        (
            follow_test,
            {
                "draws": np.ones((2, 3)),
                "test": sequential_test(**USUAL),
                "minimum_units": 4,
            },
            "minimum_units",
        ),
    ],
)
def test_what_makes_no_sense_names_its_argument(
    call: Any, arguments: dict[str, Any], argument: str
) -> None:
    with pytest.raises(EstimationError) as caught:
        call(**arguments)
    assert caught.value.argument == argument
