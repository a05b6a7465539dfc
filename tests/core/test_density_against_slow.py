"""The quick posterior against brute force, closed forms and simulation."""

import numpy as np
import pytest
from scipy import stats
from scipy.special import wrightomega

from monitoring.estimation import (
    PROBABILITIES,
    BetaRecovery,
    DensityEstimate,
    ExponentialSigma,
    LogNormalK,
    LogNormalSigma,
    LogUniformK,
    SigmaPrior,
    StoredPosterior,
    combine_strata,
    estimate_densities,
    estimate_density,
    estimate_ratio,
)
from monitoring.estimation.lognormal import wright_omega
from monitoring.estimation.validation import Numbers
from tests.core.slow_posterior import Floats, SlowPosterior

SHOWN = np.array([0.025, 0.1, 0.5, 0.9, 0.975])
NARROW, VAGUE = BetaRecovery(162.15, 27.83), BetaRecovery(4, 3)
CLUMPED = LogNormalK(0.5, 0.35)
TWENTY = [210, 850, 1300, 40, 600, 95, 470, 33, 720, 150]
TWENTY += [8, 260, 510, 77, 330, 1020, 64, 190, 410, 120]
MANY = np.random.default_rng(7).negative_binomial(3, 0.5, 300).tolist()

# Counts, exposures, recovery and the prior of k.
Case = tuple[list[int], list[float], float | BetaRecovery, LogUniformK | LogNormalK]
HARD: dict[str, Case] = {
    "one empty bag": ([0], [1.0], 1.0, CLUMPED),
    "one full bag, vague recovery": ([703], [0.5], VAGUE, CLUMPED),
    "five empty bags": ([0] * 5, [1.0] * 5, 1.0, LogUniformK(0.02, 5)),
    "forty empty bags": ([0] * 40, [0.1] * 40, NARROW, LogUniformK(0.02, 5)),
    "one animal": ([0, 0, 0, 0, 1], [1, 1, 0.5, 0.25, 0.1], NARROW, CLUMPED),
    "all alike": ([50] * 10, [1.0] * 10, 1.0, LogUniformK(0.02, 5)),
    "all in one": ([50000] + [0] * 9, [1.0] * 10, 0.5, LogUniformK(0.02, 5)),
    "unlike bags": ([4, 0, 31, 2], [20.0, 1.0, 5.0, 0.5], VAGUE, LogUniformK(0.02, 5)),
    "many bags": (MANY, [1.0] * 300, VAGUE, LogUniformK(0.02, 5)),
    "dense": (TWENTY, [1.0] * 20, NARROW, LogUniformK(0.02, 5)),
    "any k at all": (TWENTY, [1.0] * 20, 0.85, LogUniformK(0.001, 100)),
}


@pytest.mark.parametrize("case", HARD)
def test_quantiles_and_stored_chances_are_those_of_a_fine_grid(case: str) -> None:
    counts, exposures, recovery, k_prior = HARD[case]
    slow = SlowPosterior(counts, exposures, recovery=recovery, k_prior=k_prior)
    found = estimate_density(
        counts,
        proportions_counted=[min(one, 1.0) for one in exposures],
        units=[max(one, 1.0) for one in exposures],
        recovery=recovery,
        k_prior=k_prior,
    )
    shown = SHOWN if np.isfinite(found.high) else SHOWN[:-1]
    expected = slow.quantiles(shown)
    assert found.quantiles_at(shown) == pytest.approx(expected, rel=0.004)
    stored = StoredPosterior(tuple(found.quantiles_at(PROBABILITIES)))
    for threshold in slow.quantiles(np.linspace(0.01, 0.99, 25)):
        chance = slow.chance_above(float(threshold))
        assert found.chance_above(float(threshold)) == pytest.approx(chance, abs=0.002)
        assert stored.chance_above(float(threshold)) == pytest.approx(chance, abs=0.003)


@pytest.mark.parametrize(
    "case", ["one full bag, vague recovery", "one animal", "all alike", "all in one"]
)
def test_averaged_quantiles_are_those_of_a_fine_grid(case: str) -> None:
    counts, exposures, recovery, k_prior = HARD[case]
    sigma_prior = ExponentialSigma(2.0, 0.427, 1.983)
    slow = SlowPosterior(
        counts,
        exposures,
        recovery=recovery,
        k_prior=k_prior,
        sigma_prior=sigma_prior,
        lognormal_odds=0.7,
    )
    found = estimate_density(
        counts,
        proportions_counted=exposures,
        recovery=recovery,
        k_prior=k_prior,
        sigma_prior=sigma_prior,
        lognormal_odds=0.7,
        model="averaged",
    )
    shown = SHOWN if np.isfinite(found.high) else SHOWN[:-1]
    assert found.quantiles_at(shown) == pytest.approx(slow.quantiles(shown), rel=0.005)
    assert found.lognormal_share == pytest.approx(slow.lognormal_share, abs=0.005)


def test_omega_is_that_of_scipy() -> None:
    values = np.concatenate([np.linspace(-60, 60, 2001), np.geomspace(60, 1e7, 500)])
    assert wright_omega(values) == pytest.approx(wrightomega(values), rel=1e-12)


def test_averaging_with_a_lognormal_of_no_odds_is_the_negative_binomial() -> None:
    plain = estimate_density(TWENTY, recovery=NARROW)
    averaged = estimate_density(
        TWENTY, recovery=NARROW, model="averaged", lognormal_odds=1e-12
    )
    assert averaged.quantiles_at(SHOWN) == pytest.approx(plain.quantiles_at(SHOWN))
    assert averaged.k_median == pytest.approx(plain.k_median)
    assert averaged.lognormal_share < 1e-9
    assert plain.lognormal_share == 0


def test_unlike_models_and_priors_keep_their_rounds() -> None:
    models = ["averaged", "negative_binomial", "averaged"]
    sigmas: list[SigmaPrior] = [
        ExponentialSigma(2.0, 0.427, 1.983),
        ExponentialSigma(2.0, 0.427, 1.983),
        LogNormalSigma(0.9, 0.15),
    ]
    rounds = [TWENTY, MANY[:30], TWENTY]
    together = estimate_densities(rounds, model=models, sigma_prior=sigmas)
    for row, counts in enumerate(rounds):
        alone = estimate_density(counts, model=models[row], sigma_prior=sigmas[row])
        assert together[row].high == pytest.approx(alone.high, rel=1e-9)
        assert together[row].k_median == pytest.approx(alone.k_median, rel=1e-9)
    assert together[0].high > 1.02 * together[2].high


@pytest.mark.parametrize(
    ("animals", "bags", "k"), [(0, 8, 0.5), (7, 3, 1), (900, 9, 3)]
)
def test_with_k_known_the_posterior_is_a_beta_prime(
    animals: int, bags: int, k: float
) -> None:
    """m/k follows a beta prime of X + 1/2 and n k (own derivation): a closed form."""
    counts = [animals] + [0] * (bags - 1)
    found = estimate_density(counts, k_prior=LogUniformK(k, k * (1 + 1e-9)))
    law = stats.betaprime(animals + 0.5, bags * k, scale=k)
    # The prior's end cuts off what lies above it.
    at = SHOWN * law.cdf(1e6)
    assert found.quantiles_at(SHOWN) == pytest.approx(law.ppf(at), rel=0.004)


def test_many_rounds_give_the_numbers_of_one_by_one() -> None:
    chance = np.random.default_rng(11)
    rounds = [chance.poisson(chance.gamma(0.5, 40, size)) for size in range(1, 60)]
    shares: list[Numbers | float] = [
        0.5 if of_round.size % 2 else chance.choice([1, 0.5, 0.1], of_round.size)
        for of_round in rounds
    ]
    recoveries = [NARROW if of_round.size % 3 else 0.8 for of_round in rounds]
    priors = [
        CLUMPED if of_round.size % 5 else LogUniformK(0.02, 5) for of_round in rounds
    ]
    together = estimate_densities(
        rounds,
        proportions_counted=shares,
        recovery=recoveries,
        k_prior=priors,
    )
    for found, counts, share, recovery, prior in zip(
        together, rounds, shares, recoveries, priors, strict=True
    ):
        alone = estimate_density(
            counts,
            proportions_counted=share,
            recovery=recovery,
            k_prior=prior,
        )
        for name in ("median", "low", "high", "sample_mean", "k_median", "bags"):
            expected = pytest.approx(getattr(alone, name), rel=1e-9)
            assert getattr(found, name) == expected


def test_the_same_call_gives_the_same_bits() -> None:
    first, second = (
        estimate_density(TWENTY, recovery=NARROW).quantiles_at(PROBABILITIES)
        for _ in range(2)
    )
    assert first.tobytes() == second.tobytes()


def draws(found: DensityEstimate, chance: np.random.Generator, size: int) -> Floats:
    grid = found.washed_off
    at = chance.random(size)
    values: Floats = np.exp(np.interp(at, grid.cumulative, grid.log_values))
    return values


@pytest.mark.parametrize(
    "strata",
    [
        ([2, 0, 5, 1, 0, 3], [8, 12, 0, 4, 7, 9], [20, 35, 3, 14, 0, 51, 8, 11]),
        ([0] * 10, [400, 1000, 3, 0, 0, 20, 7, 300], [1, 2, 0]),
    ],
)
@pytest.mark.parametrize("recovery", [1.0, NARROW])
def test_combined_strata_are_those_of_simulation(
    strata: tuple[list[int], ...], recovery: float | BetaRecovery
) -> None:
    weights = [0.4, 0.35, 0.25]
    chance, size = np.random.default_rng(3), 400_000
    parts = estimate_densities(list(strata), recovery=recovery)
    washed_off = sum(
        weight * draws(part, chance, size)
        for weight, part in zip(weights, parts, strict=True)
    )
    shares = 1.0 if recovery == 1.0 else chance.beta(NARROW.a, NARROW.b, size)
    simulated = washed_off / shares
    found = combine_strata(parts, weights)
    for at in (0.025, 0.1, 0.5, 0.9, 0.975):
        value = found.quantile(at)
        # Five standard errors of a simulated share.
        error = 5 * np.sqrt(at * (1 - at) / size)
        assert np.mean(simulated <= value) == pytest.approx(at, abs=error + 2e-4)


@pytest.mark.parametrize("correlation", [-0.8, 0.0, 0.8])
def test_ratio_is_that_of_simulation(correlation: float) -> None:
    above = estimate_density([2, 0, 1, 3, 1, 0, 2, 1, 4, 0, 1, 2])
    below = estimate_density([30, 12, 45, 60, 22, 8, 51, 17, 80, 5, 33, 40])
    found = estimate_ratio(above, below, rank_correlation=correlation)
    chance, size = np.random.default_rng(5), 400_000
    pearson = 2 * np.sin(np.pi * correlation / 6)
    first, other = chance.standard_normal((2, size))
    second = pearson * first + np.sqrt(1 - pearson**2) * other
    simulated = above.quantiles_at(stats.norm.cdf(first)) / below.quantiles_at(
        stats.norm.cdf(second)
    )
    for at in (0.025, 0.1, 0.5, 0.9, 0.975):
        value = float(found.quantiles_at([at])[0])
        error = 5 * np.sqrt(at * (1 - at) / size)
        assert np.mean(simulated <= value) == pytest.approx(at, abs=error + 5e-4)
        assert found.chance_below(value) == pytest.approx(at, abs=1e-9)
