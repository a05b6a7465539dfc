"""The log-linear fit: its limits, its laws, and input that it refuses."""

from math import inf, log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from monitoring.estimation import EstimationError, fit_growth
from monitoring.estimation.growth import GrowthFit

DAYS = [day for day in (0, 7, 14, 21) for _ in range(6)]
COUNTS = [1, 0, 2, 0, 1, 3, 2, 4, 0, 5, 1, 3, 9, 2, 0, 12, 6, 3, 20, 8, 2, 31, 9, 14]


def test_counts_no_more_clumped_than_poisson_have_no_k() -> None:
    found = fit_growth([0, 0, 7, 7, 14, 14], [2, 2, 4, 4, 8, 8])
    assert found.k == inf
    assert found.slope == pytest.approx(log(2) / 7, rel=1e-9)
    assert found.doubling_days == pytest.approx(7, rel=1e-9)


def test_the_likelihood_is_at_its_highest() -> None:
    found = fit_growth(DAYS, COUNTS)

    def of(intercept: float, slope: float, k: float) -> float:
        means = np.exp(intercept + slope * np.array(DAYS))
        return float(np.sum(stats.nbinom.logpmf(COUNTS, k, k / (k + means))))

    best = of(found.intercept, found.slope, found.k)
    assert found.log_likelihood == pytest.approx(best, abs=1e-8)
    for part in range(3):
        for factor in (0.98, 1.02):
            moved = [found.intercept, found.slope, found.k]
            moved[part] *= factor
            assert of(*moved) < best


def test_intervals_widen_with_confidence_and_hold_the_middle() -> None:
    found = fit_growth(DAYS, COUNTS)
    narrow, wide = found.crossing(40, 0.5), found.crossing(40, 0.9)
    assert wide.low is not None
    assert narrow.low is not None
    assert narrow.day is not None
    assert wide.low < narrow.low < narrow.day
    assert found.slope_interval(0.9)[0] < found.slope < found.slope_interval(0.9)[1]
    assert found.forecast(28, 0.9).high > found.forecast(28, 0.5).high
    at_crossing = found.forecast(narrow.day, 0.5)
    assert at_crossing.median == pytest.approx(40, rel=1e-6)


@pytest.mark.parametrize(
    ("days", "counts", "words"),
    [
        (DAYS, [3, 0, 2, 5, 1, 4] * 4, "not significant"),
        ([0, 0, 0, 9, 9, 9], [1, 2, 1, 50, 40, 60], "2 rounds are too few"),
        (DAYS, COUNTS[::-1], "falling"),
    ],
)
def test_where_there_is_no_crossing_there_is_a_reason(
    days: list[int], counts: list[int], words: str
) -> None:
    found = fit_growth(days, counts).crossing(100)
    assert (found.day, found.low, found.high) == (None, None, None)
    assert words in found.reason


def test_falling_numbers_never_double() -> None:
    assert fit_growth(DAYS, COUNTS[::-1]).doubling_days == inf


@settings(max_examples=40)
@given(st.floats(0.02, 5.0), st.integers(-50, 50), st.floats(0.1, 10.0))
def test_exposures_shift_the_level_and_units_of_time_the_slope(
    exposure: float, shift: int, stretch: float
) -> None:
    base = fit_growth(DAYS, COUNTS)
    found = fit_growth(
        [(day + shift) * stretch for day in DAYS], COUNTS, exposures=exposure
    )
    assert found.slope * stretch == pytest.approx(base.slope, rel=1e-5)
    assert found.k == pytest.approx(base.k, rel=1e-4)
    at_start = found.forecast(shift * stretch).median
    assert at_start * exposure == pytest.approx(base.forecast(0).median, rel=1e-5)


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(st.integers(0, 4), st.integers(0, 100_000)), min_size=2, max_size=25
    )
)
def test_any_counts_are_fitted_or_refused_in_words(
    bags: list[tuple[int, int]],
) -> None:
    days, seen = [7 * day for day, _ in bags], [count for _, count in bags]
    try:
        found = fit_growth(days, seen)
    except EstimationError as error:
        refused = error.argument
    else:
        refused = ""
        _looks_fitted(found)
    assert refused in {"", "days", "counts"}


def _looks_fitted(found: GrowthFit) -> None:
    assert np.isfinite([found.intercept, found.slope, found.log_likelihood]).all()
    assert np.isfinite(found.covariance).all()
    assert found.covariance[0, 0] > 0
    assert found.covariance[1, 1] > 0


@pytest.mark.parametrize(
    ("days", "counts", "exposures", "argument"),
    [
        ([0, 7], [1], 1.0, "counts"),
        ([0, 0], [1, 2], 1.0, "days"),
        ([0, 7], [0, 0], 1.0, "counts"),
        ([0, 7, 14], [0, 0, 5], 1.0, "counts"),
        ([0, 7, 14], [5, 0, 0], 1.0, "counts"),
        ([0, 7], [1, 2], 0.0, "exposures"),
        ([0, 7], [1, 2], [1.0, 1.0, 1.0], "exposures"),
        ([0, float("nan")], [1, 2], 1.0, "days"),
        ([0, 7], [1, -2], 1.0, "counts"),
    ],
)
def test_what_cannot_be_fitted_is_refused(
    days: list[float], counts: list[int], exposures: float | list[float], argument: str
) -> None:
    with pytest.raises(EstimationError) as caught:
        fit_growth(days, counts, exposures=exposures)
    assert caught.value.argument == argument


def test_animals_in_the_middle_round_alone_can_be_fitted() -> None:
    found = fit_growth([0, 0, 7, 7, 14, 14], [0, 0, 3, 5, 0, 0])
    assert found.slope == pytest.approx(0, abs=1e-6)
    assert "not significant" in found.crossing(100).reason


@pytest.mark.parametrize("threshold", [0.0, -1.0, float("inf")])
def test_a_threshold_must_be_a_number_above_zero(threshold: float) -> None:
    with pytest.raises(EstimationError) as caught:
        fit_growth(DAYS, COUNTS).crossing(threshold)
    assert caught.value.argument == "threshold"
