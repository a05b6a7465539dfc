"""Mean and k of published counts.

Counts: adult female European red mites on 150 apple leaves, Bliss & Fisher 1953,
Biometrics 9:176-200, frequencies as stored in the R packages DDPM (`data_mites`) and
VGAM (`appletree`); corn borers on four treatments of 120 hills, the same paper, table
3, as stored in R agridat (`bliss.borers`, MIT). Data were read, expected numbers
computed with R 4.2.2 (MASS::glm.nb, uniroot) and, for k, statsmodels 0.15.
"""

import math

import pytest

from monitoring.estimation import (
    common_k,
    fit_clumping,
    fit_negative_binomial,
    k_by_moments,
    k_from_zeros,
)

APPLE_LEAVES = {0: 70, 1: 38, 2: 17, 3: 10, 4: 9, 5: 3, 6: 2, 7: 1}
BORERS = {
    "T1": {0: 19, 1: 12, 2: 18, 3: 18, 4: 11, 5: 12, 6: 7, 7: 8, 8: 4, 9: 4, 10: 1}
    | {12: 1, 13: 1, 15: 1, 17: 1, 19: 1, 26: 1},
    "T2": {0: 24, 1: 16, 2: 16, 3: 18, 4: 15, 5: 9, 6: 6, 7: 5, 8: 3, 9: 4, 10: 3}
    | {12: 1},
    "T3": {0: 43, 1: 35, 2: 17, 3: 11, 4: 5, 5: 4, 6: 1, 7: 2, 8: 2},
    "T4": {0: 47, 1: 23, 2: 27, 3: 9, 4: 7, 5: 3, 6: 1, 7: 1, 10: 1, 11: 1},
}


def spread_out(frequencies: dict[int, int]) -> list[int]:
    return [count for count, times in frequencies.items() for _ in range(times)]


def test_t01_01_mean_k_and_log_likelihood_of_apple_leaves() -> None:
    fit = fit_negative_binomial(spread_out(APPLE_LEAVES))
    assert fit.mean == pytest.approx(1.1466666667, rel=1e-9)
    assert fit.k == pytest.approx(1.0245923868, rel=1e-3)
    assert fit.k_standard_error == pytest.approx(0.27590707777, rel=0.02)
    assert fit.log_likelihood == pytest.approx(-222.4371535984, rel=1e-6)


def test_t01_01_k_by_moments_and_from_zeros_of_apple_leaves() -> None:
    counts = spread_out(APPLE_LEAVES)
    assert k_by_moments(counts) == pytest.approx(1.1666973691, rel=1e-6)
    assert k_from_zeros(counts) == pytest.approx(0.99230609126, rel=1e-6)


def test_t01_03_profile_interval_of_k() -> None:
    low, high = fit_negative_binomial(spread_out(APPLE_LEAVES)).k_interval(0.95)
    assert low == pytest.approx(0.62542623697, rel=0.005)
    assert high == pytest.approx(1.8362415082, rel=0.005)


@pytest.mark.parametrize(
    ("treatment", "mean", "k", "k_moments"),
    [
        ("T1", 4.0333333333, 1.5028892158, 1.3098758749),
        ("T2", 3.1666666667, 1.7604878397, 2.1782273603),
        ("T3", 1.4833333333, 1.3331308634, 1.2869651293),
        ("T4", 1.5083333333, 1.1535215303, 1.0722109461),
    ],
)
def test_t01_04_corn_borers_by_treatment(
    treatment: str, mean: float, k: float, k_moments: float
) -> None:
    counts = spread_out(BORERS[treatment])
    fit = fit_negative_binomial(counts)
    assert len(counts) == 120
    assert fit.mean == pytest.approx(mean, rel=1e-9)
    assert fit.k == pytest.approx(k, rel=0.002)
    assert k_by_moments(counts) == pytest.approx(k_moments, rel=0.002)


def test_t01_04_common_k_of_corn_borers() -> None:
    found = common_k([spread_out(of) for of in BORERS.values()])
    assert found.k == pytest.approx(1.4714497403, rel=0.002)
    assert found.means == pytest.approx(
        (4.0333333333, 3.1666666667, 1.4833333333, 1.5083333333)
    )


def test_expected_frequencies_add_up_and_match_the_zero_class() -> None:
    """P(0) of the fit, R dnbinom (read in the zero-class check): 0.463253."""
    fit = fit_negative_binomial(spread_out(APPLE_LEAVES))
    expected = fit.expected(range(200), 150)
    assert expected[0] / 150 == pytest.approx(0.46325318788, rel=1e-5)
    assert math.fsum(expected) == pytest.approx(150)


def test_t01_04_the_fit_of_many_rounds_gives_the_same() -> None:
    """Each treatment's mean, variance and k, and the common k, in one call."""
    found = fit_clumping([spread_out(of) for of in BORERS.values()])
    assert [one.k for one in found.rounds] == pytest.approx(
        [1.5028892158, 1.7604878397, 1.3331308634, 1.1535215303], rel=0.002
    )
    assert [one.variance for one in found.rounds] == pytest.approx(
        [16.4526610644, 7.7703081232, 3.1929971989, 3.6301820728]
    )
    assert [one.k_by_moments for one in found.rounds] == pytest.approx(
        [1.3098758749, 2.1782273603, 1.2869651293, 1.0722109461], rel=0.002
    )
    assert found.common_k == pytest.approx(1.4714497403, rel=0.002)


def test_t01_01_the_fit_of_many_rounds_gives_the_same_error() -> None:
    (leaves,) = fit_clumping([spread_out(APPLE_LEAVES)]).rounds
    assert leaves.variance == pytest.approx(2.2736465324)
    assert leaves.k == pytest.approx(1.0245923868, rel=1e-3)
    assert leaves.k_standard_error == pytest.approx(0.27590707777, rel=0.02)
