"""Recovery from repeated washes, from a range, and from spikes.

Published removal examples were read in the tests of the R package FSA (Carle & Strub
1978, Biometrics 34:621-630; Seber 2002, example 7.4; Cowx 1983, p. 75) and in an
electrofishing text (after Bohlin et al. 1989, Hydrobiologia 173, attribution from
memory); the rest was computed with FSA, lgamma, optim and qbeta in R 4.2.2.
"""

import pytest
from scipy import stats

from monitoring.estimation import (
    EstimationError,
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


def test_t04_05_three_washes() -> None:
    """The explicit three-pass form that the text uses is not offered here."""
    likely = recovery_from_washes([244, 86, 43], method="maximum_likelihood")
    assert likely.initial == pytest.approx(397.2112134462, abs=0.1)
    assert likely.recovery == pytest.approx(0.60391788212, abs=0.001)
    assert recovery_from_washes([244, 86, 43]).initial == 397


def test_t04_06_three_rinses_of_leaves() -> None:
    rinses = [412, 61, 9]
    likely = recovery_from_washes(rinses, method="maximum_likelihood")
    assert likely.initial == pytest.approx(482.9521539626, rel=1e-3)
    assert likely.recovery == pytest.approx(0.85482748284, rel=1e-3)
    assert likely.initial_standard_error == pytest.approx(1.3123718606, rel=1e-3)
    assert likely.first_wash_proportion == pytest.approx(412 / 482.9521539626, rel=1e-3)
    assert recovery_from_washes(rinses).initial == 483
    two = recovery_from_washes(rinses, method="two_pass")
    assert two.initial == pytest.approx(483.6011396011, rel=1e-3)
    assert two.recovery == pytest.approx(0.85194174757, rel=1e-3)
    assert two.recovery_standard_error == pytest.approx(0.020311858566, rel=1e-3)


@pytest.mark.parametrize("method", ["carle_strub", "maximum_likelihood", "two_pass"])
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
