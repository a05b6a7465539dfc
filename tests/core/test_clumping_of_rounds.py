"""k of many rounds with unlike counted shares: another program, laws and refusals."""

from math import inf, isnan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from monitoring.estimation import (
    EstimationError,
    common_k,
    fit_clumping,
    held_by_fullest,
)

rounds_of_counts = st.lists(
    st.lists(st.integers(0, 400), min_size=2, max_size=15).filter(any),
    min_size=1,
    max_size=4,
)


def _by_search(seen: np.ndarray, shares: np.ndarray) -> tuple[float, float]:
    """Mean and k at the top of scipy's own likelihood, by a general search."""

    def minus(at: np.ndarray) -> float:
        mean, k = np.exp(at)
        return -float(stats.nbinom.logpmf(seen, k, k / (k + mean * shares)).sum())

    best = optimize.minimize(
        minus, [np.log(seen.sum() / shares.sum()), 0.0], method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000},
    )  # fmt: skip
    mean, k = np.exp(best.x)
    return float(mean), float(k)


@pytest.mark.parametrize("seed", range(4))
def test_unlike_shares_agree_with_a_general_search(seed: int) -> None:
    chance = np.random.default_rng(seed)
    shares = chance.choice([0.1, 0.35, 1.0], 25)
    seen = chance.poisson(chance.gamma(0.7, 60 / 0.7, 25) * shares)
    (fit,) = fit_clumping([seen], exposures=[shares]).rounds
    _, k = _by_search(seen, shares)
    assert fit.k == pytest.approx(k, rel=1e-4)


def test_counting_parts_keeps_k_mean_and_variance() -> None:
    """Over 400 rounds of 30 leaves with k 0.8, parts of a tenth to all looked at."""
    chance = np.random.default_rng(11)
    shares = chance.choice([0.1, 0.4, 1.0], size=(400, 30))
    seen = chance.poisson(chance.gamma(0.8, 50 / 0.8, size=(400, 30)) * shares)
    found = fit_clumping(list(seen), exposures=list(shares))
    assert found.common_k == pytest.approx(0.8, rel=0.03)
    assert np.mean([one.mean for one in found.rounds]) == pytest.approx(50, rel=0.03)
    variances = [one.variance for one in found.rounds]
    assert np.mean(variances) == pytest.approx(50 + 50**2 / 0.8, rel=0.08)
    # Rounds that share one k look as if they did.
    assert found.alike > 0.01


def test_rounds_of_unlike_k_do_not_look_alike() -> None:
    chance = np.random.default_rng(12)
    rounds = [chance.poisson(chance.gamma(k, 40 / k, 60)) for k in (0.2, 3.0) * 3]
    assert fit_clumping(rounds).alike < 1e-6


@settings(max_examples=40, deadline=None)
@given(rounds_of_counts)
def test_common_k_agrees_with_the_fit_of_whole_counts(rounds: list[list[int]]) -> None:
    ours, theirs = fit_clumping(rounds).common_k, common_k(rounds).k
    if 1e-3 < theirs < 1e3:
        assert ours == pytest.approx(theirs, rel=1e-4)
    else:
        assert ours > 1e3 or ours < 1e-2


@settings(max_examples=40, deadline=None)
@given(rounds_of_counts, st.floats(0.05, 20))
def test_other_units_scale_means_and_leave_k(
    rounds: list[list[int]], factor: float
) -> None:
    one = fit_clumping(rounds)
    other = fit_clumping(rounds, exposures=factor)
    for first, second in zip(one.rounds, other.rounds, strict=True):
        assert second.mean * factor == pytest.approx(first.mean)
        assert second.k == pytest.approx(first.k, rel=1e-5)
    assert other.common_k == pytest.approx(one.common_k, rel=1e-5)


@settings(max_examples=30, deadline=None)
@given(rounds_of_counts, st.randoms(use_true_random=False))
def test_neither_bags_nor_rounds_have_an_order(
    rounds: list[list[int]], chance: object
) -> None:
    turned = [one[::-1] for one in rounds[::-1]]
    first, second = fit_clumping(rounds), fit_clumping(turned)
    assert second.common_k == pytest.approx(first.common_k, rel=1e-5)
    for one, other in zip(first.rounds, second.rounds[::-1], strict=True):
        assert other.k == pytest.approx(one.k, rel=1e-5)
        assert other.variance == pytest.approx(one.variance)


def test_a_round_without_an_animal_stays_without_k() -> None:
    found = fit_clumping([[0, 0, 0], [0, 9, 1, 30]])
    assert isnan(found.rounds[0].k)
    assert isnan(found.rounds[0].k_by_moments)
    assert found.rounds[0].mean == 0
    assert found.common_k == pytest.approx(found.rounds[1].k, rel=1e-5)
    assert isnan(found.alike)


def test_leaves_that_differ_by_chance_only_have_no_k() -> None:
    (fit,) = fit_clumping([[4, 5, 5, 4, 5, 4]]).rounds
    assert fit.k == inf
    assert fit.k_standard_error == inf
    assert fit.k_by_moments == inf
    assert fit.variance < fit.mean


def test_one_bag_has_no_variance() -> None:
    (fit,) = fit_clumping([[7]]).rounds
    assert isnan(fit.variance)
    assert isnan(fit.k_by_moments)
    assert fit.k == inf


@pytest.mark.parametrize(
    ("rounds", "exposures", "argument"),
    [
        ([], 1.0, "rounds"),
        ([[0, 0]], 1.0, "rounds"),
        ([[1, 2.5]], 1.0, "rounds"),
        ([[1, -2]], 1.0, "rounds"),
        ([[1, 2]], 0.0, "exposures"),
        ([[1, 2]], [[0.5, -0.5]], "exposures"),
        ([[1, 2]], [[0.5, 0.5, 0.5]], "exposures"),
        ([[1, 2]], [0.5, 0.5], "exposures"),
    ],
)
def test_what_cannot_be_fitted_names_its_argument(
    rounds: list[list[float]], exposures: object, argument: str
) -> None:
    with pytest.raises(EstimationError) as caught:
        fit_clumping(rounds, exposures=exposures)  # type: ignore[arg-type]
    assert caught.value.argument == argument


def test_the_fullest_leaves_hold_what_they_hold_in_simulation() -> None:
    chance = np.random.default_rng(13)
    for k in (0.2, 1.0, 5.0):
        leaves = np.sort(chance.gamma(k, 1 / k, 200_000))[::-1]
        held = leaves[:40_000].sum() / leaves.sum()
        assert held_by_fullest(k, share=0.2) == pytest.approx(held, abs=0.005)
    # An exponential's fullest fifth holds 0.2 + 0.2 ln 5.
    assert held_by_fullest(1.0) == pytest.approx(0.2 * (1 + np.log(5)))
    assert held_by_fullest(inf) == 0.2


@pytest.mark.parametrize(("k", "share"), [(0.0, 0.2), (1.0, 0.0), (1.0, 1.0)])
def test_no_share_of_nothing(k: float, share: float) -> None:
    with pytest.raises(EstimationError):
        held_by_fullest(k, share=share)
