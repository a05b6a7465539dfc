"""Exponential growth between rounds, and when a threshold is reached.

Invented counts of 8 leaves in each of 5 weekly rounds; computed with R 4.2.2,
MASS::glm.nb (Venables & Ripley 2002, Modern Applied Statistics with S). statsmodels,
run beside, gives the same estimates; its covariance is from the full information.
"""

from math import exp, log

import numpy as np
import pytest
import statsmodels.api as sm

from monitoring.estimation import fit_growth

DAYS = [day for day in (0, 7, 14, 21, 28) for _ in range(8)]
COUNTS = [
    *(0, 1, 0, 3, 2, 0, 1, 0),
    *(2, 0, 5, 1, 0, 4, 1, 3),
    *(6, 2, 0, 9, 3, 12, 1, 4),
    *(15, 3, 22, 8, 0, 11, 30, 6),
    *(40, 12, 5, 66, 25, 18, 9, 51),
]
# Relative, as far as the sources agree among themselves.
CLOSE = 0.002


def test_t16_01_line_k_doubling_and_covariance() -> None:
    found = fit_growth(DAYS, COUNTS)
    assert found.intercept == pytest.approx(-0.1788907314, rel=CLOSE)
    assert found.slope == pytest.approx(0.12549161247, rel=CLOSE)
    assert found.k == pytest.approx(1.6508779175, rel=CLOSE)
    assert found.doubling_days == pytest.approx(5.5234542525, rel=CLOSE)
    assert found.log_likelihood == pytest.approx(-108.4782035686, rel=CLOSE)
    published = [
        [0.099326848823, -0.0045181571332],
        [-0.0045181571332, 0.00026377002374],
    ]
    assert found.covariance == pytest.approx(np.array(published), rel=CLOSE)


def test_t16_01_by_statsmodels_in_the_same_run() -> None:
    design = sm.add_constant(np.array(DAYS, dtype=float))
    theirs = sm.NegativeBinomial(np.array(COUNTS), design).fit(disp=False, maxiter=500)
    ours = fit_growth(DAYS, COUNTS)
    assert ours.intercept == pytest.approx(theirs.params[0], rel=1e-4)
    assert ours.slope == pytest.approx(theirs.params[1], rel=1e-5)
    assert ours.k == pytest.approx(1 / theirs.params[2], rel=1e-4)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-7)


def test_exposures_are_an_offset_as_in_statsmodels() -> None:
    shares = np.where(np.array(DAYS) >= 21, 0.85 * 0.1, 0.85)
    design = sm.add_constant(np.array(DAYS, dtype=float))
    theirs = sm.NegativeBinomial(np.array(COUNTS), design, exposure=shares).fit(
        disp=False, maxiter=500
    )
    ours = fit_growth(DAYS, COUNTS, exposures=shares)
    assert ours.intercept == pytest.approx(theirs.params[0], rel=1e-4)
    assert ours.slope == pytest.approx(theirs.params[1], rel=1e-5)
    assert ours.k == pytest.approx(1 / theirs.params[2], rel=1e-4)


def test_the_crossing_is_fiellers_from_the_published_fit() -> None:
    """Fieller 1954, J. R. Statist. Soc. B 16:175-185, written out by hand.

    The days for which (ln 100 - b0 - b1 d)^2 <= z^2 Var(b0 + b1 d), from R's b0, b1
    and covariance; found here by walking along the days.
    """
    found = fit_growth(DAYS, COUNTS).crossing(100, confidence=0.8)
    b0, b1 = -0.1788907314, 0.12549161247
    v00, v01, v11 = 0.099326848823, -0.0045181571332, 0.00026377002374
    days = np.linspace(0, 120, 1_200_001)
    inside = days[
        (log(100) - b0 - b1 * days) ** 2
        <= 1.2815515655**2 * (v00 + 2 * v01 * days + v11 * days**2)
    ]
    assert found.day == pytest.approx((log(100) - b0) / b1, rel=CLOSE)
    assert found.low == pytest.approx(inside[0], rel=CLOSE)
    assert found.high == pytest.approx(inside[-1], rel=CLOSE)


def test_the_mean_of_a_day_and_its_interval() -> None:
    found = fit_growth(DAYS, COUNTS).forecast(35, confidence=0.95)
    middle = -0.1788907314 + 35 * 0.12549161247
    error = (
        0.099326848823 - 2 * 35 * 0.0045181571332 + 35**2 * 0.00026377002374
    ) ** 0.5
    assert found.median == pytest.approx(exp(middle), rel=CLOSE)
    assert found.low == pytest.approx(exp(middle - 1.959964 * error), rel=CLOSE)
    assert found.high == pytest.approx(exp(middle + 1.959964 * error), rel=CLOSE)
