"""Fieller's interval, the log-delta interval, and the posterior ratio beside them.

Source: Fieller 1954 (from memory), computed with R 4.2.2 (survey::svyratio gives the
linearised error 0.0042834, the ratio times the log ratio's); rat weights: Hauschke 1999
as `rat.weight` in the R package mratios, whose own code gave the unpaired interval.
"""

import pytest
from scipy import stats

from monitoring.estimation import (
    estimate_density,
    estimate_ratio,
    fieller_interval,
    log_delta_interval,
)

PREDATORS = [2, 0, 1, 3, 1, 0, 2, 1, 4, 0, 1, 2]
PREY = [30, 12, 45, 60, 22, 8, 51, 17, 80, 5, 33, 40]
TREATED = [465, 492.2, 466.3, 555.5, 528.1, 483.8, 502.8, 468.1, 519.2, 500.2]
CONTROL = [519.8, 535.7, 491.7, 508.7, 565.5, 485.8, 520.7, 507.5, 428.9, 466.0]


def test_t08_01_paired_leaves() -> None:
    found = fieller_interval(PREDATORS, PREY)
    assert found.ratio == pytest.approx(0.042183622829, rel=1e-4)
    assert found.low == pytest.approx(0.029640372984, rel=1e-4)
    assert found.high == pytest.approx(0.050878687025, rel=1e-4)
    assert found.g == pytest.approx(0.18505020124, rel=1e-4)
    assert found.bounded


def test_t08_01_log_delta_with_students_t() -> None:
    found = log_delta_interval(PREDATORS, PREY)
    assert found.ratio == pytest.approx(0.042183622829, rel=1e-4)
    assert found.log_standard_error == pytest.approx(0.10154203707, rel=1e-4)
    assert found.low == pytest.approx(0.033735123818, rel=1e-4)
    assert found.high == pytest.approx(0.052747932528, rel=1e-4)
    assert found.ratio * found.log_standard_error == pytest.approx(0.0042834, rel=1e-4)


def test_t08_01_log_delta_with_the_normal() -> None:
    found = log_delta_interval(PREDATORS, PREY, quantile="normal")
    assert found.low == pytest.approx(0.034570935878, rel=1e-4)
    assert found.high == pytest.approx(0.051472660192, rel=1e-4)


def test_t08_02_unpaired_with_unequal_variances() -> None:
    found = fieller_interval(TREATED, CONTROL, paired=False)
    assert found.ratio == pytest.approx(0.99023915075, rel=1e-4)
    assert found.low == pytest.approx(0.92923113644, rel=1e-4)
    assert found.high == pytest.approx(1.0562521522, rel=1e-4)


def test_posterior_ratio_of_the_paired_leaves_agrees_with_the_log_delta_interval() -> (
    None
):
    """T08-01's log-delta interval with t: .033735 to .051473 and .052748 (computed).

    Two models of the same leaves: the middle agrees closely, the ends roughly.
    """
    correlation = float(stats.spearmanr(PREDATORS, PREY).statistic)
    found = estimate_ratio(
        estimate_density(PREDATORS),
        estimate_density(PREY),
        rank_correlation=correlation,
        shared_recovery=True,
    )
    assert found.ratio == pytest.approx(0.042183622829, rel=0.03)
    assert found.low == pytest.approx(0.033735123818, rel=0.25)
    assert found.high == pytest.approx(0.052747932528, rel=0.25)
