"""Densities from few clumped counts.

The posterior cases were computed with R 4.2.2 by direct summation on a grid of 6001 by
1201 nodes, which a second grid in numpy met within 2e-5; the profile intervals with R
optimize and uniroot; the all-zero limits by closed form, checked with dnbinom.
"""

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from monitoring.estimation import (
    PROBABILITIES,
    BetaRecovery,
    StoredPosterior,
    estimate_density,
    profile_interval,
    zero_count_upper_limit,
)

TEN = [0, 3, 12, 1, 0, 40, 7, 2, 0, 5]
TWENTY = [210, 850, 1300, 40, 600, 95, 470, 33, 720, 150]
TWENTY += [8, 260, 510, 77, 330, 1020, 64, 190, 410, 120]
FIVE = [3, 0, 9, 1, 22]
RECOVERY = BetaRecovery(162.15, 27.83)

Case = tuple[
    tuple[list[int], float | BetaRecovery], tuple[float, ...], dict[float, float]
]
CASES: dict[str, Case] = {
    "T02-01": (
        (TEN, 0.85),
        (3.4503292114, 4.0265299601, 9.0374920992, 28.804021246, 40.7126458572),
        {5: 0.88399497737, 10: 0.42605308749, 20: 0.10781318636},
    ),
    "T02-02": (
        (TEN, RECOVERY),
        (3.431350167, 4.0054742071, 9.0057801769, 28.7273600574, 40.6030307406),
        {5: 0.88203124262, 10: 0.42370062498, 20: 0.10719329964},
    ),
    "T02-05": (
        (TWENTY, RECOVERY),
        (287.0012625946, 307.7325396578, 445.0364931464, 679.3544046226, 746.571099021),
        {300: 0.9607980266, 400: 0.67888860533, 600: 0.11504973745},
    ),
    "T02-06": (
        (FIVE, 0.85),
        (2.9330520863, 3.5765741682, 9.4005295745, 49.5277560949, 96.0796967939),
        {5: 0.85991029758, 20: 0.16597118937},
    ),
}
LEVELS = (0.025, 0.05, 0.5, 0.95, 0.975)
TOLERANCES = (0.01, 0.01, 0.01, 0.015, 0.02)


@pytest.mark.parametrize("case", CASES)
def test_quantiles_and_chances_of_the_posterior(case: str) -> None:
    (counts, recovery), quantiles, chances = CASES[case]
    found = estimate_density(counts, recovery=recovery)
    for level, expected, tolerance in zip(LEVELS, quantiles, TOLERANCES, strict=True):
        assert found.quantile(level) == pytest.approx(expected, rel=tolerance)
    shown = (found.low, found.median, found.high)
    assert shown == pytest.approx([found.quantile(at) for at in (0.025, 0.5, 0.975)])
    for threshold, chance in chances.items():
        assert found.chance_above(threshold) == pytest.approx(chance, abs=0.005)


@pytest.mark.parametrize("case", CASES)
def test_cases_hold_ten_times_closer_where_the_prior_ends_as_theirs_did(
    case: str,
) -> None:
    """Their grids ended e^18 above the sample mean."""
    (counts, recovery), quantiles, chances = CASES[case]
    end = float(np.mean(counts)) * np.exp(18) / 0.85
    found = estimate_density(counts, recovery=recovery, upper_limit=end)
    assert [found.quantile(level) for level in LEVELS] == pytest.approx(
        quantiles, rel=1e-3
    )
    for threshold, chance in chances.items():
        assert found.chance_above(threshold) == pytest.approx(chance, abs=3e-4)


@pytest.mark.parametrize("case", CASES)
def test_stored_quantiles_give_the_published_chances(case: str) -> None:
    (counts, recovery), _, chances = CASES[case]
    found = estimate_density(counts, recovery=recovery)
    stored = StoredPosterior(tuple(found.quantiles_at(PROBABILITIES)))
    for threshold, chance in chances.items():
        assert stored.chance_above(threshold) == pytest.approx(chance, abs=0.005)


@pytest.mark.parametrize(
    ("bags", "k", "limit"),
    [
        (10, 0.3, 0.60508857056),
        (20, 0.3, 0.22854669616),
        (5, 0.3, 2.2475516461),
        (10, 0.5, 0.48268482531),
    ],
)
def test_t02_08_upper_limit_where_nothing_was_found(
    bags: int, k: float, limit: float
) -> None:
    found = zero_count_upper_limit(bags=bags, k=k, recovery=0.85)
    assert found == pytest.approx(limit, rel=1e-6)
    all_empty = stats.nbinom.pmf(0, k, k / (k + 0.85 * found)) ** bags
    assert all_empty == pytest.approx(0.05)


def test_t02_09_thinning_keeps_k() -> None:
    """An infinite sum of binomials in R equals the closed form that the core uses."""
    mean, k, share = 50.0, 0.5, 0.085
    there = np.arange(4000)
    weights = stats.nbinom.pmf(there, k, k / (k + mean))
    published = {0: 0.32444284226, 3: 0.072622999163, 10: 0.018797064837}
    for seen, probability in published.items():
        thinned = float(weights @ stats.binom.pmf(seen, there, share))
        closed = stats.nbinom.pmf(seen, k, k / (k + mean * share))
        assert closed == pytest.approx(probability, rel=1e-6)
        assert thinned == pytest.approx(probability, rel=1e-6)


def test_t02_10_profile_interval_with_both_cuts() -> None:
    by_chi = profile_interval(TEN, recovery=0.85, cut="chi_square")
    by_t = profile_interval(TEN, recovery=0.85, cut="t")
    assert by_chi.k == pytest.approx(0.4040484553, rel=0.005)
    assert by_chi.low == pytest.approx(3.1682260847, rel=0.005)
    assert by_chi.high == pytest.approx(31.767740411, rel=0.005)
    assert by_t.low == pytest.approx(2.715969718, rel=0.005)
    assert by_t.high == pytest.approx(44.369679517, rel=0.005)


def test_five_empty_bags_give_a_limit_that_depends_on_where_the_prior_ends() -> None:
    """48, 2.9e3 and 2.4e4 for ends e^9, e^18 and e^30 above 0.25/5 (computed)."""
    highs = [
        estimate_density([0] * 5, upper_limit=0.05 * float(np.exp(top))).quantile(0.975)
        for top in (9, 18, 30)
    ]
    assert highs == pytest.approx([48, 2.9e3, 2.4e4], rel=0.03)
    assert all(before < after for before, after in pairwise(highs))


def test_t02_13_coverage_of_the_default_interval() -> None:
    """Simulated elsewhere (numpy, 2000 sets): 0.94; accepted from 0.91 to 0.97."""
    chance = np.random.default_rng(20130)
    sets, bags, k, density, share = 400, 10, 0.5, 50.0, 0.1
    held = 0
    for _ in range(sets):
        recovery = chance.beta(RECOVERY.a, RECOVERY.b)
        on_leaf = chance.gamma(k, density / k, size=bags)
        counts = chance.poisson(on_leaf * recovery * share)
        found = estimate_density(counts, proportions_counted=share, recovery=RECOVERY)
        held += found.low <= density <= found.high
    assert 0.91 <= held / sets <= 0.97
