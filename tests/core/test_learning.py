"""What earlier rounds tell of clumping: near the truth, in any order, or refused."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.estimation import (
    DensityEstimate,
    EstimationError,
    LearnedClumping,
    estimate_density,
    guard_history,
    learn_clumping,
)

ROUNDS, BAGS = 12, 20


def _whole(drawn: np.ndarray) -> list[list[int]]:
    return [[int(one) for one in of_round] for of_round in drawn]


def _clumped(
    k: float, *, rounds: int = ROUNDS, bags: int = BAGS, seed: int = 3
) -> list[list[int]]:
    """Draw rounds of negative binomial leaves, of means from 5 to 80."""
    chance = np.random.default_rng(seed)
    means = np.geomspace(5, 80, rounds)[:, None]
    return _whole(chance.poisson(chance.gamma(k, means / k, (rounds, bags))))


def _lognormal(sigma: float, *, rounds: int = ROUNDS) -> list[list[int]]:
    """Draw rounds of leaves whose own means are lognormal about 5 to 80."""
    chance = np.random.default_rng(4)
    means = np.geomspace(5, 80, rounds)[:, None]
    on_leaf = means * np.exp(chance.normal(-(sigma**2) / 2, sigma, (rounds, 40)))
    return _whole(chance.poisson(on_leaf))


def _told(learned: LearnedClumping) -> list[float]:
    return [learned.k.median, learned.sigma.median, learned.lognormal_odds]


@pytest.mark.parametrize("k", [0.3, 1.0, 3.0])
def test_the_learned_k_is_near_the_true_one(k: float) -> None:
    """240 leaves: the standard error of ln k is about 0.1 (0.15 for k of 3)."""
    learned = learn_clumping(_clumped(k))
    assert learned.k.median == pytest.approx(k, rel=0.3)
    assert (learned.rounds, learned.bags) == (ROUNDS, ROUNDS * BAGS)


@pytest.mark.parametrize("sigma", [0.8, 1.3])
def test_the_learned_sigma_is_near_the_true_one(sigma: float) -> None:
    learned = learn_clumping(_lognormal(sigma))
    assert learned.sigma.median == pytest.approx(sigma, rel=0.15)
    assert learned.lognormal_odds > 10


def test_odds_turn_to_the_model_that_made_the_rounds_but_never_beyond_bounds() -> None:
    gamma, tailed = learn_clumping(_clumped(0.3)), learn_clumping(_lognormal(1.3))
    assert gamma.lognormal_odds == pytest.approx(0.01)
    assert tailed.lognormal_odds == pytest.approx(100)


@settings(max_examples=5, deadline=None)
@given(st.randoms(use_true_random=False))
def test_neither_rounds_nor_their_bags_have_an_order(order: object) -> None:
    rounds = _clumped(0.7, bags=12)
    moved = [list(one) for one in rounds]
    order.shuffle(moved)  # type: ignore[attr-defined] # a random.Random
    for one in moved:
        order.shuffle(one)  # type: ignore[attr-defined] # a random.Random
    assert _told(learn_clumping(moved)) == pytest.approx(
        _told(learn_clumping(rounds)), rel=1e-3
    )


@settings(max_examples=5, deadline=None)
@given(st.floats(0.05, 20))
def test_only_differences_of_exposure_count(factor: float) -> None:
    """The mean's prior is as wide either way, so its scale tells nothing of k."""
    rounds = _clumped(0.7, bags=12)
    uneven = [[0.5 if bag % 2 else 1.0 for bag in range(12)] for _ in rounds]
    scaled = [[factor * one for one in of_round] for of_round in uneven]
    plain = learn_clumping(rounds, exposures=uneven)
    assert learn_clumping(rounds, exposures=scaled).k.median == pytest.approx(
        plain.k.median, rel=0.01
    )


def test_bags_counted_in_part_give_the_same_k_once_their_share_is_told() -> None:
    """Thinning keeps k; a third of the bags seen at a tenth looks more clumped."""
    whole = _clumped(2.0, bags=30)
    chance = np.random.default_rng(5)
    share = np.where(np.arange(30) % 3 == 0, 0.1, 1.0)
    thinned = [chance.binomial(one, share).tolist() for one in whole]
    told = learn_clumping(thinned, exposures=[share] * ROUNDS)
    untold = learn_clumping(thinned)
    assert told.k.median == pytest.approx(2.0, rel=0.3)
    assert untold.k.median < 0.75 * told.k.median


@pytest.mark.parametrize(
    ("argument", "rounds", "exposures"),
    [
        ("rounds", _clumped(1.0, rounds=9), None),
        ("rounds", _clumped(1.0, bags=9), None),
        ("rounds", [*_clumped(1.0, rounds=11), [0] * BAGS], None),
        ("rounds", [[1, *[0] * 19]] * ROUNDS, None),
        ("rounds", [*_clumped(1.0), [1.5] * BAGS], None),
        ("rounds", [*_clumped(1.0), [-1] * BAGS], None),
        ("rounds", [*_clumped(1.0), [float("nan")] * BAGS], None),
        ("rounds", [], None),
        ("exposures", _clumped(1.0), [1.0] * 11),
        ("exposures", _clumped(1.0), [0.0] * ROUNDS),
        ("exposures", _clumped(1.0), [[1.0, 0.5]] * ROUNDS),
        ("exposures", _clumped(1.0), [float("inf")] * ROUNDS),
    ],
)
def test_what_tells_too_little_is_refused_by_name(
    argument: str, rounds: list[list[int]], exposures: list[float] | None
) -> None:
    with pytest.raises(EstimationError) as refused:
        learn_clumping(rounds, exposures=exposures)
    assert refused.value.argument == argument


def _both_ways(seen: list[int]) -> tuple[DensityEstimate, DensityEstimate]:
    learned = learn_clumping(_clumped(3.0))
    by_history = estimate_density(
        seen,
        model="averaged",
        k_prior=learned.k,
        sigma_prior=learned.sigma,
        lognormal_odds=learned.lognormal_odds,
    )
    return by_history, estimate_density(seen, model="averaged")


def test_a_round_like_the_earlier_ones_keeps_their_narrower_interval() -> None:
    learned, default = _both_ways(_clumped(3.0, rounds=3, bags=8, seed=8)[1])
    assert guard_history(learned, default) is learned
    assert learned.high / learned.low < default.high / default.low


def test_a_round_unlike_the_earlier_ones_is_told_by_what_holds_without_them() -> None:
    learned, default = _both_ways([0, 0, 0, 0, 0, 0, 0, 0, 900, 0, 0, 0])
    assert default.log_evidence > learned.log_evidence
    assert guard_history(learned, default) is default


def test_the_guard_refuses_densities_that_cannot_be_compared() -> None:
    plain, averaged = (
        estimate_density([1, 2]),
        estimate_density([1, 2], model="averaged"),
    )
    for argument, pair in (
        ("learned", (plain, averaged)),
        ("default", (averaged, plain)),
    ):
        with pytest.raises(EstimationError) as refused:
            guard_history(*pair)
        assert refused.value.argument == argument
