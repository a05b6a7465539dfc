"""Recovery from repeated washes, from a range, and from spikes.

Published removal examples were read in the tests of the R package FSA (Carle & Strub
1978, Biometrics 34:621-630; Seber 2002, example 7.4; Cowx 1983, p. 75) and in an
electrofishing text (after Bohlin et al. 1989, Hydrobiologia 173, attribution from
memory); the rest was computed with FSA, lgamma, optim and qbeta in R 4.2.2. Pooled
runs: tumours in 70 groups of rats (Tarone 1982, Biometrics 38:215-220, as listed in
Gelman et al., Bayesian Data Analysis, table 5.1), the beta by maximum likelihood read
in the vignette of the R package BayesGOF.
"""

import pytest
from scipy import stats

from monitoring.estimation import (
    EstimationError,
    SpikeRun,
    pool_recoveries,
    recovery_from_range,
    recovery_from_spikes,
    recovery_from_washes,
)


def test_t04_01_carle_and_strubs_own_example() -> None:
    found = recovery_from_washes([38, 26, 12], method="carle_strub")
    assert found.initial == 91
    assert found.initial_standard_error == pytest.approx(9.7, abs=0.05)
    assert found.recovery == pytest.approx(0.444, abs=0.0005)


@pytest.mark.parametrize(
    ("catches", "initial", "error", "recovery"),
    [
        ([79, 28], 122.372549, 8.7970419, 0.6455696),
        ([72, 56], 324, 178.19, 0.222),
    ],
)
def test_t04_03_and_04_two_washes(
    catches: list[int], initial: float, error: float, recovery: float
) -> None:
    found = recovery_from_washes(catches, method="two_pass")
    assert found.initial == pytest.approx(initial, rel=1e-3)
    assert found.initial_standard_error == pytest.approx(error, rel=1e-3)
    # Published with three decimals.
    assert found.recovery == pytest.approx(recovery, abs=5e-4)


def test_t04_03_as_published_in_round_figures() -> None:
    found = recovery_from_washes([79, 28], method="two_pass")
    assert round(found.initial) == 122
    assert round(found.initial_standard_error, 1) == 8.8
    assert round(found.recovery, 2) == 0.65


def test_t04_05_three_washes() -> None:
    likely = recovery_from_washes([244, 86, 43], method="maximum_likelihood")
    assert likely.initial == pytest.approx(397.2112134462, abs=0.1)
    assert likely.recovery == pytest.approx(0.60391788212, abs=0.001)
    assert recovery_from_washes([244, 86, 43]).initial == 397


def test_t04_05_the_explicit_form_for_three_washes() -> None:
    """The text gives 398.4, 0.600 and, from rounded figures, 8.17; FSA 8.15."""
    found = recovery_from_washes([244, 86, 43], method="given_total")
    assert found.initial == pytest.approx(398.4300407, abs=1e-6)
    assert found.recovery == pytest.approx(0.6003636, abs=1e-6)
    assert found.initial_standard_error == pytest.approx(8.15, abs=0.005)
    assert found.initial_standard_error == pytest.approx(8.17, abs=0.05)


def test_two_washes_given_their_total_are_the_two_pass_form() -> None:
    """Seber & Le Cren 1967: published examples as above."""
    for catches in ([79, 28], [72, 56]):
        found = recovery_from_washes(catches, method="given_total")
        two = recovery_from_washes(catches, method="two_pass")
        assert found.initial == pytest.approx(two.initial)
        assert found.recovery == pytest.approx(two.recovery)
        assert found.initial_standard_error == pytest.approx(two.initial_standard_error)


def test_t04_06_three_rinses_of_leaves() -> None:
    rinses = [412, 61, 9]
    likely = recovery_from_washes(rinses, method="maximum_likelihood")
    assert likely.initial == pytest.approx(482.9521539626, rel=1e-3)
    assert likely.recovery == pytest.approx(0.85482748284, rel=1e-3)
    assert likely.initial_standard_error == pytest.approx(1.3123718606, rel=1e-3)
    assert likely.first_wash_proportion == pytest.approx(412 / 482.9521539626, rel=1e-3)
    assert recovery_from_washes(rinses).initial == 483
    given = recovery_from_washes(rinses, method="given_total")
    assert given.initial == pytest.approx(483.5662337572, rel=1e-9)
    two = recovery_from_washes(rinses, method="two_pass")
    assert two.initial == pytest.approx(483.6011396011, rel=1e-3)
    assert two.recovery == pytest.approx(0.85194174757, rel=1e-3)
    assert two.recovery_standard_error == pytest.approx(0.020311858566, rel=1e-3)


@pytest.mark.parametrize(
    "method", ["carle_strub", "maximum_likelihood", "given_total", "two_pass"]
)
@pytest.mark.parametrize("catches", [[40, 52], [40, 40], [0, 0, 0]])
def test_catches_that_tell_nothing_are_refused(method: str, catches: list[int]) -> None:
    """(40, 52) would give 445 animals at 0.11 a wash by Carle & Strub's rule."""
    with pytest.raises(EstimationError) as refused:
        recovery_from_washes(catches, method=method)  # type: ignore[arg-type] # by name
    assert refused.value.argument == "catches"


@pytest.mark.parametrize(
    ("confidence", "a", "b"),
    [(0.95, 162.1524179879, 27.8282765637), (0.90, 114.2023735283, 19.6800521198)],
)
def test_t04_08_beta_of_80_to_90_percent(confidence: float, a: float, b: float) -> None:
    found = recovery_from_range(0.8, 0.9, confidence=confidence)
    assert found.a == pytest.approx(a, rel=0.01)
    assert found.b == pytest.approx(b, rel=0.01)
    assert found.interval(confidence) == pytest.approx((0.8, 0.9), abs=1e-6)


def test_t04_08_mean_of_80_to_90_percent() -> None:
    found = recovery_from_range(0.8, 0.9)
    assert found.mean == pytest.approx(0.85352050307, rel=0.01)


def test_spikes_give_jeffreys_interval() -> None:
    """Brown, Cai & DasGupta 2001, Stat. Sci. 16:101-133: Beta(x + 1/2, n - x + 1/2)."""
    found = recovery_from_spikes(43, 50)
    expected = [float(stats.beta.ppf(at, 43.5, 7.5)) for at in (0.025, 0.975)]
    assert list(found.interval(0.95)) == pytest.approx(expected)


RATS = """
0/20 0/20 0/20 0/20 0/20 0/20 0/20 0/19 0/19 0/19 0/19 0/18 0/18 0/17 1/20
1/20 1/20 1/20 1/19 1/19 1/18 1/18 3/27 2/25 2/24 2/23 2/20 2/20 2/20 2/20
2/20 2/20 1/10 5/49 2/19 5/46 2/17 7/49 7/47 3/20 3/20 2/13 9/48 10/50 4/20
4/20 4/20 4/20 4/20 4/20 4/20 10/48 4/19 4/19 4/19 5/22 11/46 12/49 5/20 5/20
6/23 5/19 6/22 6/20 6/20 6/20 16/52 15/46 15/47 9/24
"""


def test_pooled_runs_come_near_the_published_beta_of_seventy_groups() -> None:
    """By maximum likelihood Beta(2.304768, 14.079707).

    So many groups outweigh what is held beforehand of the scatter.
    """
    pairs = [tuple(map(int, pair.split("/"))) for pair in RATS.split()]
    assert len(pairs) == 70
    found = pool_recoveries([SpikeRun(recovered=y, added=n) for y, n in pairs])
    a, b = 2.304768, 14.079707
    mean = a / (a + b)
    assert found.mean == pytest.approx(mean, rel=0.015)
    between = (mean * (1 - mean) / (a + b + 1)) ** 0.5
    assert found.between_runs == pytest.approx(between, rel=0.02)
    assert found.new_run.a == pytest.approx(a, rel=0.1)
    assert found.new_run.b == pytest.approx(b, rel=0.1)
    for at in (0.1, 0.5, 0.9):
        new = stats.beta.ppf(at, found.new_run.a, found.new_run.b)
        assert new == pytest.approx(stats.beta.ppf(at, a, b), abs=0.006)
