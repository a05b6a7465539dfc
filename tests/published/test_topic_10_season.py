"""Mite-days, degree-days and Winkler sums against values that others computed.

Mite-days: Ruppel 1983, J. Econ. Entomol. 76:375-377 (from memory), a trapezoid;
computed with scipy.integrate.cumulative_trapezoid. Degree-days: formulas of Zalom et
al. 1983 as in the R package degday (its source read), which takes the horizontal
cut-off only; R 4.2.2, a brute-force integral of the sine over 4e6 points and a closed
form agreed within 1e-6; vertical and intermediate by the latter two.
"""

import numpy as np
import pytest
from scipy import integrate

from monitoring.estimation import (
    degree_days,
    mite_day_weights,
    mite_days,
    winkler_region,
    winkler_sum,
)

DAYS, MEANS = [0, 7, 14, 21, 35], [2, 10, 45, 120, 60]
STANDARD_ERRORS = [0.8, 3, 12, 25, 15]
# Minimum, maximum, lower and upper threshold, C.
CASES = (
    (12, 28, 10, 30),
    (4, 18, 10, 30),
    (8, 35, 10, 30),
    (12, 35, 10, 30),
    (31, 38, 10, 30),
    (2, 9, 10, 30),
    (5, 33, 10.51, 39.19),
    (10, 20, 10, 30),
)
SINE = (10, 2.750945, 10.801569, 12.487397, 20, 0, 9.549216, 5)
TRIANGLE = (10, 2.285714, 11.111111, 12.956522, 20, 0, 9.032145, 5)
AVERAGE = (10, 1, 11.5, 13.5, 20, 0, 8.49, 5)
DOUBLE_SINE = (10.5, 2.883962, 11.166112, 12.962577, 20, 0, 9.797147, 5.5)


def test_t10_01_cumulative_mite_days() -> None:
    found = mite_days(DAYS, MEANS, standard_errors=STANDARD_ERRORS)
    assert found.cumulative == pytest.approx([0, 42, 234.5, 812, 2072], rel=1e-6)
    assert found.total == pytest.approx(2072, rel=1e-6)
    assert found.weights == pytest.approx([3.5, 7, 7, 10.5, 7], rel=1e-6)
    assert mite_day_weights(DAYS) == pytest.approx(found.weights)
    assert found.standard_error == pytest.approx(295.6959418050914, rel=1e-6)
    assert found.log_linear_total == pytest.approx(1944.8105045101975, rel=1e-6)
    # 1.959964 standard errors to both sides.
    assert (found.low, found.high) == pytest.approx((1492.44659, 2651.55341), rel=1e-6)


def test_mite_days_agree_with_an_independent_trapezoid() -> None:
    chance = np.random.default_rng(10)
    days = np.cumsum(chance.uniform(1, 20, 12))
    densities = chance.gamma(0.5, 200, 12)
    theirs = integrate.cumulative_trapezoid(densities, days, initial=0)
    assert mite_days(days, densities).cumulative == pytest.approx(theirs)


@pytest.mark.parametrize(("case", "expected"), list(zip(CASES, SINE, strict=True)))
def test_t10_02_single_sine(case: tuple[float, ...], expected: float) -> None:
    low, high, lower, upper = case
    found = degree_days([low], [high], lower_c=lower, upper_c=upper)
    assert found == pytest.approx([expected], abs=2e-5)


@pytest.mark.parametrize(("case", "expected"), list(zip(CASES, TRIANGLE, strict=True)))
def test_t10_04_single_triangle(case: tuple[float, ...], expected: float) -> None:
    low, high, lower, upper = case
    found = degree_days(
        [low], [high], lower_c=lower, upper_c=upper, method="single_triangle"
    )
    assert found == pytest.approx([expected], abs=2e-5)


@pytest.mark.parametrize(("case", "expected"), list(zip(CASES, AVERAGE, strict=True)))
def test_t10_04_average_of_both_limited(
    case: tuple[float, ...], expected: float
) -> None:
    low, high, lower, upper = case
    found = degree_days([low], [high], lower_c=lower, upper_c=upper, method="average")
    assert found == pytest.approx([expected], abs=2e-5)


@pytest.mark.parametrize(
    ("case", "expected"), list(zip(CASES, DOUBLE_SINE, strict=True))
)
def test_t10_04_double_sine(case: tuple[float, ...], expected: float) -> None:
    """The next day's minimum is 2 C higher; the last day uses its own."""
    low, high, lower, upper = case
    found = degree_days(
        [low, low + 2], [high, high], lower_c=lower, upper_c=upper, method="double_sine"
    )
    alone = degree_days([low + 2], [high], lower_c=lower, upper_c=upper)
    assert found == pytest.approx([expected, alone[0]], abs=2e-5)


@pytest.mark.parametrize(
    ("low", "high", "intermediate", "vertical"),
    [(8, 35, 9.870363, 5.137439), (12, 35, 11.474794, 6.311547), (31, 38, 15.5, 0)],
)
def test_further_cut_offs_of_the_single_sine(
    low: float, high: float, intermediate: float, vertical: float
) -> None:
    found = [
        degree_days([low], [high], lower_c=10, upper_c=30, cutoff=cutoff)[0]
        for cutoff in ("intermediate", "vertical")
    ]
    assert found == pytest.approx([intermediate, vertical], abs=2e-5)


def test_intermediate_cut_off_may_fall_below_zero() -> None:
    found = degree_days([52], [58], lower_c=10, upper_c=30, cutoff="intermediate")
    assert found == pytest.approx([-5.0])


def test_t10_06_winkler_sum_and_region() -> None:
    """Limits read in an encyclopaedia's table (after Jones et al. 2010)."""
    found = winkler_sum([8] * 214, [24] * 214)
    assert found == 1284
    assert winkler_region(found) == "Ib"
    limits = {
        "Ia": (850, 1111),
        "Ib": (1111, 1389),
        "II": (1389, 1667),
        "III": (1668, 1944),
        "IV": (1945, 2222),
        "V": (2223, 2700),
    }
    for region, (least, most) in limits.items():
        assert winkler_region(least) == region
        assert winkler_region(most - 0.5) == region
    assert winkler_region(849.9) == winkler_region(2700.1) == "outside"
