"""Recovery: laws, simulated washes, and what is refused in words."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.estimation import (
    BetaRecovery,
    EstimationError,
    recovery_from_range,
    recovery_from_spikes,
    recovery_from_washes,
)

METHODS = ["carle_strub", "maximum_likelihood", "two_pass"]


@settings(max_examples=60, deadline=None)
@given(st.floats(0.02, 0.96), st.floats(0.01, 0.9), st.sampled_from([0.5, 0.9, 0.95]))
def test_a_range_comes_back_as_the_interval(
    low: float, share: float, confidence: float
) -> None:
    high = low + share * (0.98 - low)
    found = recovery_from_range(low, high, confidence=confidence)
    assert list(found.interval(confidence)) == pytest.approx([low, high], abs=1e-5)
    assert low < found.mean < high


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 500), st.integers(0, 500))
def test_spikes_hold_their_share_and_are_mirrored(found: int, lost: int) -> None:
    added = found + lost
    if added == 0:
        return
    beta = recovery_from_spikes(found, added)
    mirrored = recovery_from_spikes(lost, added)
    low, high = beta.interval(0.95)
    assert 0 <= low < high <= 1
    assert beta.mean == pytest.approx(1 - mirrored.mean)
    assert low - 1e-9 <= (found + 0.5) / (added + 1) <= high + 1e-9


@pytest.mark.parametrize("method", METHODS)
def test_simulated_washes_give_back_what_was_there(method: str) -> None:
    chance = np.random.default_rng(8)
    initial, share = 4000, 0.7
    runs = []
    for _ in range(200):
        left, catches = initial, []
        for _ in range(3):
            catches.append(int(chance.binomial(left, share)))
            left -= catches[-1]
        runs.append(recovery_from_washes(catches, method=method))  # type: ignore[arg-type] # by name
    there = [run.initial for run in runs]
    shares = [run.recovery for run in runs]
    assert np.mean(there) == pytest.approx(initial, rel=0.005)
    assert np.mean(shares) == pytest.approx(share, rel=0.005)
    assert np.std(there) == pytest.approx(runs[0].initial_standard_error, rel=0.25)
    assert np.std(shares) == pytest.approx(runs[0].recovery_standard_error, rel=0.25)


@settings(max_examples=60, deadline=None)
@given(
    st.integers(2, 2000).flatmap(
        lambda first: st.tuples(st.just(first), st.integers(0, first - 1))
    ),
    st.sampled_from(METHODS),
)
def test_washes_find_at_least_what_they_caught(
    catches: tuple[int, int], method: str
) -> None:
    found = recovery_from_washes(list(catches), method=method)  # type: ignore[arg-type] # by name
    assert found.initial >= sum(catches) - 1e-6
    assert 0 < found.recovery <= 1
    assert 0 < found.first_wash_proportion <= 1 + 1e-9
    assert found.initial_standard_error >= 0


@pytest.mark.parametrize("method", METHODS)
def test_a_first_wash_that_caught_all_says_so(method: str) -> None:
    found = recovery_from_washes([50, 0], method=method)  # type: ignore[arg-type] # by name
    assert found.initial == pytest.approx(50, abs=1e-3)
    assert found.recovery == pytest.approx(1, abs=1e-3)
    assert found.initial_standard_error == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("a", lambda: BetaRecovery(0, 1)),
        ("b", lambda: BetaRecovery(1, float("nan"))),
        ("confidence", lambda: BetaRecovery(2, 2).interval(1)),
        ("low", lambda: recovery_from_range(0, 0.9)),
        ("high", lambda: recovery_from_range(0.8, 1)),
        ("high", lambda: recovery_from_range(0.9, 0.8)),
        ("high", lambda: recovery_from_range(0.3, 0.3 + 1e-12)),
        ("high", lambda: recovery_from_range(1e-300, 1e-299)),
        ("low", lambda: recovery_from_range(1e-9, 0.5)),
        ("confidence", lambda: recovery_from_range(0.8, 0.9, confidence=0)),
        ("added", lambda: recovery_from_spikes(0, 0)),
        ("recovered", lambda: recovery_from_spikes(11, 10)),
        ("recovered", lambda: recovery_from_spikes(-1, 10)),
        ("catches", lambda: recovery_from_washes([5])),
        ("catches", lambda: recovery_from_washes([0, 0])),
        ("catches", lambda: recovery_from_washes([5, 5])),
        ("catches", lambda: recovery_from_washes([40, 52], method="two_pass")),
        ("catches", lambda: recovery_from_washes([5.5, 1])),
        ("method", lambda: recovery_from_washes([5, 1], method="guess")),  # type: ignore[arg-type] # on purpose
    ],
)
def test_what_cannot_be_is_refused_by_name(argument: str, call: object) -> None:
    with pytest.raises(EstimationError) as refused:
        call()  # type: ignore[operator] # each is a call without arguments
    assert refused.value.argument == argument
    assert argument in str(refused.value)


def test_a_rising_catch_is_refused_with_both_numbers() -> None:
    with pytest.raises(EstimationError, match=r"caught 52, not less than .* \(40\)"):
        recovery_from_washes([40, 52])


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize(
    "catches", [[10**6, 10**6 - 1], [10**15, 10**15 - 1], [5, 4, 4, 4, 4, 4], [1, 0]]
)
def test_catches_that_hardly_fall_still_answer(catches: list[int], method: str) -> None:
    found = recovery_from_washes(catches, method=method)  # type: ignore[arg-type] # by name
    assert found.initial >= sum(catches[:2]) * (1 - 1e-9)
    assert 0 < found.recovery <= 1
    assert np.isfinite(found.initial_standard_error)


def test_likelihood_looks_far_beyond_what_was_caught() -> None:
    """Two washes and a flat likelihood: far more than a hundred times the catch."""
    found = recovery_from_washes([10**6, 10**6 - 1], method="maximum_likelihood")
    assert found.initial > 1e10
