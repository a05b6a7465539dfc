"""Leaves for a precision, stop lines, sequential tests and the share of empty leaves.

Formulas of Karandinos 1976, Green 1970, Kuno 1969, Wald 1947 with Waters 1955 and
Fowler & Lynch 1987 (from memory, each re-derived). Expected numbers were computed:
closed forms in Python, checked with R 4.2.2 (roots of a (T/n)^(b-2)/n = D^2; log
likelihood ratios of ln 9 on the lines; dnbinom), and simulations with numpy.
"""

import numpy as np
import pytest

from monitoring.estimation import (
    SequentialTest,
    follow_stop_line,
    follow_test,
    mean_from_empty,
    proportion_empty,
    sequential_test,
    stop_line_patchiness,
    stop_line_power_law,
    units_for_precision,
)

FROM_TEN_TO_TWENTY = {
    "lower_mean": 10.0,
    "upper_mean": 20.0,
    "k": 0.6,
    "alpha": 0.1,
    "beta": 0.1,
}


@pytest.fixture
def ten_or_twenty() -> SequentialTest:
    return sequential_test(**FROM_TEN_TO_TWENTY)


def test_t07_01_leaves_for_a_precision() -> None:
    assert units_for_precision(5, k=0.5, precision=0.25) == pytest.approx(35.2)
    assert units_for_precision(
        5, k=0.5, precision=0.25, confidence=0.95
    ) == pytest.approx(135.21935048843324, rel=1e-4)
    assert units_for_precision(
        5, power_law=(2.5, 1.5), precision=0.25
    ) == pytest.approx(17.88854381999832, rel=1e-4)


@pytest.mark.parametrize(
    ("a", "b", "precision", "units", "totals"),
    [
        (2.5, 1.5, 0.25, [5, 10, 20, 50], [320, 160, 80, 32]),
        (3.8, 1.35, 0.3, [10, 30], [91.70033101160035, 50.75273590109068]),
    ],
)
def test_t07_02_stop_line_by_the_power_law(
    a: float, b: float, precision: float, units: list[int], totals: list[float]
) -> None:
    line = stop_line_power_law(a, b, precision=precision, units=units)
    assert line == pytest.approx(totals, rel=1e-4)


def test_the_patchiness_line_meets_its_definition() -> None:
    """At T = n m the variance that patchiness gives is (D m)^2 n (Kuno's condition)."""
    alpha, beta, precision = 0.8, 1.7, 0.3
    units = np.arange(7.0, 60)
    line = stop_line_patchiness(alpha, beta, precision=precision, units=units)
    assert np.isinf(line[:1]).all()
    means = line[1:] / units[1:]
    variances = (alpha + 1) * means + (beta - 1) * means**2
    assert np.sqrt(variances / units[1:]) / means == pytest.approx(precision)


def test_t07_04_slope_intercepts_and_lines(ten_or_twenty: SequentialTest) -> None:
    assert ten_or_twenty.slope == pytest.approx(13.88578107092467, rel=1e-5)
    assert ten_or_twenty.lower_intercept == pytest.approx(-76.53139930357317, rel=1e-5)
    assert ten_or_twenty.upper_intercept == pytest.approx(76.53139930357318, rel=1e-5)
    lower, upper = ten_or_twenty.lines_at(np.array([5.0, 10, 20, 40]))
    assert lower == pytest.approx(
        [-7.102493948949814, 62.32641140567354, 201.18422211492026, 478.8998435334137],
        rel=1e-5,
    )
    assert upper == pytest.approx(
        [145.96030465819655, 215.3892100128199, 354.2470207220666, 631.96264214056],
        rel=1e-5,
    )


def test_t07_04_decisions_on_either_side_of_the_lines(
    ten_or_twenty: SequentialTest,
) -> None:
    """At 10 leaves: up to 62.3 animals is the lower mean, from 215.4 on the upper."""
    ten = [7] * 10  # never below -76.5 + 13.9 n before the tenth leaf, then 70
    assert ten_or_twenty.decide(ten) == "continue"
    assert ten_or_twenty.decide([6] * 10) == "lower"
    assert ten_or_twenty.decide([21] * 10) == "continue"
    assert ten_or_twenty.decide([22] * 10) == "upper"


@pytest.mark.parametrize(
    ("mean", "acceptance", "average"),
    [
        (7.464114832535893, 0.9878048780487805, 11.627010348500729),
        (10.000000000000004, 0.8999999999999999, 15.756193754963475),
        (11.730173848226887, 0.75, 17.75170320866541),
        (13.88578107092467, 0.5, 17.47102268202522),
        (16.588970945156756, 0.25, 14.155757246855254),
        (20.000000000000004, 0.1, 10.013563490785529),
        (29.856459330143576, 0.012195121951219513, 4.675116397468255),
    ],
)
def test_t07_05_operating_characteristic_and_sample_number(
    ten_or_twenty: SequentialTest, mean: float, acceptance: float, average: float
) -> None:
    assert ten_or_twenty.acceptance_probability(mean) == pytest.approx(
        acceptance, rel=1e-4
    )
    assert ten_or_twenty.average_sample_number(mean) == pytest.approx(average, rel=1e-4)


@pytest.mark.parametrize(
    ("mean", "acceptance", "average"),
    [(10, 0.944, 18.6), (13.885781, 0.537, 24.3), (20, 0.092, 14.6)],
)
def test_t07_05_simulated_runs_of_the_test(
    ten_or_twenty: SequentialTest, mean: float, acceptance: float, average: float
) -> None:
    """20,000 runs with numpy, another program; here 8,000, of up to 400 leaves."""
    chance = np.random.default_rng(705)
    draws = chance.poisson(chance.gamma(0.6, mean / 0.6, size=(8000, 400)))
    found = follow_test(draws.astype(float), ten_or_twenty)
    assert found.unfinished == 0
    assert found.lower == pytest.approx(acceptance, abs=0.018)
    assert found.average_units == pytest.approx(average, rel=0.04)


def test_t07_07_share_of_empty_leaves_and_back() -> None:
    assert proportion_empty(5, 0.6) == pytest.approx(0.26180499849, rel=1e-5)
    assert proportion_empty(1.1466666667, 1.0245923868) == pytest.approx(
        0.46325318788, rel=1e-5
    )
    found = mean_from_empty(empty=18, units=50, k=0.6)
    assert found.mean == pytest.approx(2.693419726379688, rel=1e-5)
    assert found.standard_error == pytest.approx(1.035021965251832, rel=1e-5)


@pytest.mark.parametrize(
    ("mean", "average_units", "precision", "estimate"),
    [
        (2.0, 29.2034, 0.25322310532646825, 2.0690198690349577),
        (5.0, 18.6212, 0.24783407233325103, 5.162696658961858),
        (20.0, 9.5888, 0.24314571039103028, 20.499875978465976),
    ],
)
def test_t07_08_runs_along_the_stop_line(
    mean: float, average_units: float, precision: float, estimate: float
) -> None:
    """Negative binomial counts of variance 2.5 m^1.5, D 0.25, 5 leaves or more."""
    k = mean**2 / (2.5 * mean**1.5 - mean)
    chance = np.random.default_rng(708)
    draws = chance.poisson(chance.gamma(k, mean / k, size=(5000, 200)))
    line = stop_line_power_law(2.5, 1.5, precision=0.25, units=np.arange(1.0, 201))
    found = follow_stop_line(draws.astype(float), line, minimum_units=5, true_mean=mean)
    assert found.unfinished == 0
    assert found.average_units == pytest.approx(average_units, rel=0.05)
    assert found.precision == pytest.approx(precision, abs=0.015)
    assert mean * (1 + found.bias) == pytest.approx(estimate, rel=0.03)
