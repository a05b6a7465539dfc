"""k and indices of dispersion: another library, simulation, laws and edges."""

import warnings
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.discrete.discrete_model import NegativeBinomial

from monitoring.estimation import (
    EstimationError,
    common_k,
    dispersion_indices,
    fit_negative_binomial,
    k_by_moments,
    k_from_zeros,
    profile_interval,
    zero_count_upper_limit,
)

counts = st.lists(st.integers(0, 300), min_size=2, max_size=40)


@pytest.mark.parametrize("seed", range(5))
def test_fit_agrees_with_statsmodels(seed: int) -> None:
    chance = np.random.default_rng(seed)
    k = float(chance.uniform(0.3, 2))
    seen = chance.negative_binomial(k, k / (k + 12), 150)
    ours = fit_negative_binomial(seen)
    with warnings.catch_warnings():
        # It warns of steps on its way that do not matter at its end.
        warnings.simplefilter("ignore")
        theirs = NegativeBinomial(seen, np.ones((seen.size, 1))).fit(disp=0)
    assert ours.mean == pytest.approx(float(np.exp(theirs.params[0])), rel=1e-4)
    assert ours.k == pytest.approx(1 / theirs.params[1], rel=1e-3)
    assert ours.log_likelihood == pytest.approx(theirs.llf, rel=1e-6)
    # Delta method from the error of 1/k.
    assert ours.k_standard_error == pytest.approx(
        theirs.bse[1] / theirs.params[1] ** 2, rel=0.05
    )


@settings(max_examples=60, deadline=None)
@given(counts.filter(any))
def test_the_fit_is_at_the_top_of_its_likelihood(seen: list[int]) -> None:
    fit = fit_negative_binomial(seen)
    low, high = fit.k_interval(0.95)
    assert low <= fit.k * (1 + 1e-6)
    assert fit.k <= high * (1 + 1e-6)
    if fit.k < inf:
        wider = fit.k_interval(0.99)
        assert wider[0] <= low * (1 + 1e-6)
        assert wider[1] >= high * (1 - 1e-6)
    assert np.var(seen) > np.mean(seen) or fit.k == inf


@settings(max_examples=60, deadline=None)
@given(counts.filter(any), st.integers(2, 4))
def test_a_sample_repeated_keeps_its_k(seen: list[int], times: int) -> None:
    once, often = fit_negative_binomial(seen), fit_negative_binomial(seen * times)
    assert often.mean == pytest.approx(once.mean)
    assert often.k == pytest.approx(once.k, rel=1e-5)
    assert common_k([seen] * times).k == pytest.approx(once.k, rel=1e-5)


def test_counts_no_more_clumped_than_poisson_have_infinite_k() -> None:
    seen = [2, 3, 2, 3, 2, 3]
    fit = fit_negative_binomial(seen)
    assert fit.k == inf
    assert fit.k_standard_error == inf
    assert k_by_moments(seen) == inf
    assert k_from_zeros([0, 1, 1, 1, 1, 1, 1, 1]) == inf
    assert float(fit.expected(range(60), 6).sum()) == pytest.approx(6)
    assert fit.k_interval(0.95)[1] == inf


def test_counts_barely_more_clumped_than_poisson_have_infinite_k_too() -> None:
    """Variance above the mean by 6e-8: k is above 1e7, which says nothing."""
    twos, ones, size = 1237, 3165 - 2 * 1237, 4049
    fit = fit_negative_binomial([0] * (size - ones - twos) + [1] * ones + [2] * twos)
    assert fit.k == inf
    assert fit.k_standard_error == inf


def test_common_k_of_one_sample_is_its_own_and_lies_between_unlike_ones() -> None:
    even, clumped = [4, 6, 9, 2, 5, 8, 3], [0, 0, 41, 1, 0, 12, 0]
    own = [fit_negative_binomial(sample).k for sample in (even, clumped)]
    assert min(own) < common_k([even, clumped]).k < max(own)


@settings(max_examples=60, deadline=None)
@given(counts.filter(lambda seen: sum(seen) > 1))
def test_indices_agree_with_each_other(seen: list[int]) -> None:
    """Lloyd's and Morisita's own relations to the variance-mean ratio."""
    found = dispersion_indices(seen)
    size, total = len(seen), sum(seen)
    assert found.patchiness == pytest.approx(found.mean_crowding / np.mean(seen))
    assert found.morisita * (total - 1) + size - total == pytest.approx(
        found.variance_to_mean * (size - 1), abs=1e-6 * size
    )
    assert found.green <= 1 + 1e-9


def test_one_bag_with_all_animals_is_as_clumped_as_can_be() -> None:
    found = dispersion_indices([50, 0, 0, 0, 0])
    assert found.green == pytest.approx(1)
    assert found.morisita == pytest.approx(5)


@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("counts", lambda: fit_negative_binomial([0, 0, 0])),
        ("counts", lambda: fit_negative_binomial([])),
        ("counts", lambda: fit_negative_binomial([1.5, 2])),
        ("counts", lambda: fit_negative_binomial([1, float("nan")])),
        ("counts", lambda: fit_negative_binomial(["many", "few"])),  # type: ignore[arg-type] # on purpose
        ("values", lambda: fit_negative_binomial([1, 9, 0]).expected([-1], 5)),
        ("confidence", lambda: fit_negative_binomial([1, 9, 0]).k_interval(1.0)),
        ("counts", lambda: k_by_moments([3])),
        ("counts", lambda: k_from_zeros([1, 2])),
        ("counts", lambda: k_from_zeros([0, 0])),
        ("samples", lambda: common_k([])),
        ("samples", lambda: common_k([[1, 2], [0, 0]])),
        ("counts", lambda: dispersion_indices([4])),
        ("counts", lambda: dispersion_indices([1, 0])),
        ("counts", lambda: profile_interval([4])),
        ("counts", lambda: profile_interval([0, 0])),
        ("cut", lambda: profile_interval([4, 1], cut="sharp")),  # type: ignore[arg-type] # on purpose
        ("recovery", lambda: profile_interval([4, 1], recovery=0)),
        (
            "proportions_counted",
            lambda: profile_interval([4, 1], proportions_counted=0),
        ),
        ("bags", lambda: zero_count_upper_limit(bags=0, k=1)),
        ("k", lambda: zero_count_upper_limit(bags=1, k=0)),
        ("recovery", lambda: zero_count_upper_limit(bags=1, k=1, recovery=1.1)),
        (
            "proportion_counted",
            lambda: zero_count_upper_limit(bags=1, k=1, proportion_counted=0),
        ),
        ("confidence", lambda: zero_count_upper_limit(bags=1, k=1, confidence=1)),
    ],
)
def test_what_cannot_be_is_refused_by_name(argument: str, call: object) -> None:
    with pytest.raises(EstimationError) as refused:
        call()  # type: ignore[operator] # each is a call without arguments
    assert refused.value.argument == argument
