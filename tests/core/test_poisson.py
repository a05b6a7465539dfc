"""Exact limits of a Poisson count: as tabled, and by the tails that define them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from monitoring.estimation import EstimationError, poisson_limits


@pytest.mark.parametrize(
    ("count", "low", "high"),
    # Exact 95 percent limits of a Poisson count as tabled in Pearson & Hartley 1966,
    # Biometrika Tables for Statisticians 1, table 40 (from memory).
    [(0, 0.0, 3.69), (1, 0.0253, 5.57), (5, 1.62, 11.67), (10, 4.80, 18.39),
     (30, 20.24, 42.83)],
)  # fmt: skip
def test_limits_are_those_tabled(count: int, low: float, high: float) -> None:
    assert poisson_limits(count) == pytest.approx((low, high), abs=0.006)


@given(st.integers(1, 500), st.floats(0.5, 0.999))
def test_half_of_what_is_left_lies_beyond_either_limit(
    count: int, confidence: float
) -> None:
    low, high = poisson_limits(count, confidence=confidence)
    tail = (1 - confidence) / 2
    assert stats.poisson.sf(count - 1, low) == pytest.approx(tail)
    assert stats.poisson.cdf(count, high) == pytest.approx(tail)


@pytest.mark.parametrize(
    ("count", "confidence"),
    [(-1, 0.95), (2.5, 0.95), (float("nan"), 0.95), (3, 0.0), (3, 1.0)],
)
def test_what_cannot_be_is_refused(count: float, confidence: float) -> None:
    with pytest.raises(EstimationError):
        poisson_limits(count, confidence=confidence)
