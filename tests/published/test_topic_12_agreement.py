"""Agreement of counters, drift, blanks: against published and certified figures.

Peak flow data: Bland & Altman 1986, Lancet i:307-310, as read in several public test
files; published mean -2.1, standard deviation 38.8, limits -79.7 to 75.5 by 2 standard
deviations. Ratings: Shrout & Fleiss 1979, Psychol. Bull. 86:420-428, table as read on
R's help page psych::ICC. Outputs computed with epiR::epi.ccc and psych::ICC in R 4.2.2;
pingouin 0.7 agrees.
"""

import numpy as np
import pytest

from monitoring.estimation import (
    carry_over_per_wash,
    concordance,
    counter_drift,
    ewma_chart,
    intraclass_correlation,
    limits_of_agreement,
    positive_share,
)

LARGE_METER = [
    494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427,
]  # fmt: skip
MINI_METER = [
    512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451,
]  # fmt: skip
RATINGS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9],
     [6, 2, 4, 7]],
    dtype=float,
)  # fmt: skip


def test_t12_01_limits_of_agreement() -> None:
    found = limits_of_agreement(LARGE_METER, MINI_METER)
    assert found.bias == pytest.approx(-2.1176470588, rel=1e-4)
    assert found.sd == pytest.approx(38.7651298736, rel=1e-4)
    assert found.low == pytest.approx(-78.0973016111, rel=1e-4)
    assert found.high == pytest.approx(73.8620074934, rel=1e-4)
    assert found.limit_standard_error == pytest.approx(16.284611795, rel=1e-4)
    # As published, rounded, by 2 standard deviations.
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert found.bias - 2 * found.sd == pytest.approx(-79.7, abs=0.1)
    assert found.bias + 2 * found.sd == pytest.approx(75.5, abs=0.1)


def test_t12_01_concordance() -> None:
    found = concordance(LARGE_METER, MINI_METER)
    assert found.coefficient == pytest.approx(0.94274243143, rel=1e-4)
    assert found.low == pytest.approx(0.85049187317, rel=1e-4)
    assert found.high == pytest.approx(0.97872627917, rel=1e-4)
    assert found.pearson == pytest.approx(0.94327944689, rel=1e-4)


def test_t12_02_intraclass_correlations() -> None:
    found = intraclass_correlation(RATINGS)
    assert found.icc_1_1 == pytest.approx(0.16574176841, abs=1e-4)
    assert found.icc_2_1 == pytest.approx(0.28976377953, abs=1e-4)
    assert found.icc_3_1 == pytest.approx(0.71484071484, abs=1e-4)
    assert found.low == pytest.approx(0.018786513375, abs=1e-4)
    assert found.high == pytest.approx(0.76108436965, abs=1e-4)
    assert found.subjects_mean_square == pytest.approx(11.2416666667, abs=1e-4)
    assert found.raters_mean_square == pytest.approx(32.4861111111, abs=1e-4)
    assert found.error_mean_square == pytest.approx(1.0194444444, abs=1e-4)
    # Published with two decimals (as remembered): 0.17, 0.29, 0.71.
    rounded = [found.icc_1_1, found.icc_2_1, found.icc_3_1]
    assert [round(one, 2) for one in rounded] == [0.17, 0.29, 0.71]


# NIST Statistical Reference Datasets, Norris (ozone monitors); data and certified
# values as read in the tests of SciPy and of the GNU Scientific Library.
NORRIS = [
    (0.2, 0.1), (337.4, 338.8), (118.2, 118.1), (884.6, 888.0), (10.1, 9.2),
    (226.5, 228.1), (666.3, 668.5), (996.3, 998.5), (448.6, 449.1), (777.0, 778.9),
    (558.2, 559.2), (0.4, 0.3), (0.6, 0.1), (775.5, 778.1), (666.9, 668.8),
    (338.0, 339.3), (447.5, 448.9), (11.6, 10.8), (556.0, 557.7), (228.1, 228.3),
    (995.8, 998.0), (887.6, 888.8), (120.2, 119.6), (0.3, 0.3), (0.3, 0.6),
    (556.8, 557.6), (339.1, 339.3), (887.2, 888.0), (999.0, 998.5), (779.0, 778.9),
    (11.1, 10.2), (118.3, 117.6), (229.2, 228.9), (669.1, 668.4), (448.9, 449.2),
    (0.5, 0.2),
]  # fmt: skip


def test_a_trend_has_nists_certified_slope_and_error() -> None:
    found = counter_drift([x for x, _ in NORRIS], [y for _, y in NORRIS])
    assert found.slope_per_day == pytest.approx(1.00211681802045, rel=1e-11)
    assert found.slope_standard_error == pytest.approx(0.429796848199937e-3, rel=1e-9)
    intercept = found.at_first_day - 0.2 * found.slope_per_day
    assert intercept == pytest.approx(-0.262323073774029, rel=1e-9)


def test_an_ewma_chart_is_that_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook, section 6.3.2.4; the example is from memory."""
    values = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9,
        51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1,
    ]  # fmt: skip
    averages = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11,
        49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ]  # fmt: skip
    found = ewma_chart(values, centre=50, sd=2.0539, weight=0.3, width=3)
    assert found.averages.tolist() == pytest.approx(averages, abs=0.006)
    assert (found.low, found.high) == pytest.approx((47.4115, 52.5884), abs=1e-4)
    assert found.first_outside is None


def test_the_usual_ewma_chart_signals_falsely_once_in_250_readings() -> None:
    """Crowder 1989: weight 0.2 and 2.72 standard errors, fixed limits.

    The original value was read in the manual of R's package spc (xewma.crit).
    """
    chance = np.random.default_rng(12)
    lengths = []
    for _ in range(400):
        found = ewma_chart(chance.normal(size=2500), centre=0, sd=1)
        lengths.append(2500 if found.first_outside is None else found.first_outside + 1)
    error = np.std(lengths) / np.sqrt(len(lengths))
    assert abs(np.mean(lengths) - 250) < 3 * error


@pytest.mark.parametrize(
    ("animals", "low", "high"),
    [
        # Garwood's limits as printed: 25 on a statistics firm's help page on counts,
        # 10 by a public calculator, 0 in the manual of R's epitools::pois.exact.
        (25, 16.18, 36.90),
        (10, 4.80, 18.39),
        (0, 0.0, 3.689),
    ],
)
def test_poisson_limits_are_garwoods(animals: int, low: float, high: float) -> None:
    found = carry_over_per_wash([animals])
    assert (found.low, found.high) == pytest.approx((low, high), abs=0.006)


def test_one_sided_limits_are_printed_ones() -> None:
    """For 25 the upper end at 90 percent, two-sided, is that at 95, one-sided.

    34.92 is on the same help page; 2.996 for none is in the epitools manual, the rule
    of three of Hanley & Lippman-Hand 1983, JAMA 249:1743-1745.
    """
    assert carry_over_per_wash([25]).upper_limit == pytest.approx(34.92, abs=0.006)
    none = carry_over_per_wash([0] * 30).upper_limit
    assert none == pytest.approx(2.996 / 30, abs=1e-4)
    assert none == pytest.approx(3 / 30, abs=1e-3)


@pytest.mark.parametrize(
    ("positive", "washes", "low", "high"),
    [
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776),
    ],
)
def test_shares_have_exact_limits(
    positive: int, washes: int, low: float, high: float
) -> None:
    """Newcombe 1998, Stat. Med. 17:857-872, table I, method 5; from memory."""
    found = positive_share(positive, washes)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-5)
