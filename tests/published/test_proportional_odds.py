"""The proportional-odds fit and its intervals, by the bitterness of wine.

Data: Randall 1989, Biometrical J. 7:781-793, as printed in table 1 of Christensen's
tutorial of the R package ordinal (2016; read). Values of `clm(rating ~ temp +
contact)`: coefficients, thresholds and log likelihood as quoted from its output by a
public repository that compares with it, p-values likewise (read); standard errors and
profile intervals as in the package's vignettes (from memory).
"""

import numpy as np
import pytest
from scipy import optimize, stats
from scipy.special import expit
from statsmodels.discrete.discrete_model import Logit

from monitoring.symptoms.proportional_odds import (
    fit_proportional_odds,
    profile_interval,
    standard_errors,
)

# Nine judges' ratings of each bottle: (warm, contact), ratings.
BOTTLES = (
    ((0, 0), "212323121"),
    ((0, 0), "323232122"),
    ((0, 1), "313343223"),
    ((0, 1), "432232232"),
    ((1, 0), "425332233"),
    ((1, 0), "435234332"),
    ((1, 1), "554535234"),
    ((1, 1), "544334344"),
)
RATINGS = np.array([int(sign) - 1 for _, row in BOTTLES for sign in row])
COLUMNS = np.array([pair for pair, row in BOTTLES for _ in row], dtype=float)
JUDGES = np.array([judge for _, row in BOTTLES for judge in range(len(row))])


def test_the_wine_slopes() -> None:
    fit = fit_proportional_odds(RATINGS, COLUMNS)
    assert fit.converged
    assert fit.slopes == pytest.approx([2.503102008, 1.527797658], abs=1e-4)
    assert fit.log_likelihood == pytest.approx(-86.49192337, abs=1e-7)


def test_the_wine_standard_errors() -> None:
    fit = fit_proportional_odds(RATINGS, COLUMNS)
    errors = standard_errors(fit)
    assert errors == pytest.approx([0.5287, 0.4766], abs=1e-4)
    p_values = 2 * stats.norm.sf(fit.slopes / errors)
    assert p_values == pytest.approx([2.1946e-06, 0.0013484], rel=2e-3)


def test_the_wine_profile_intervals() -> None:
    fit = fit_proportional_odds(RATINGS, COLUMNS)
    found = [profile_interval(fit, RATINGS, COLUMNS, place) for place in (0, 1)]
    assert found[0] == pytest.approx((1.5097627, 3.595225), abs=1e-3)
    assert found[1] == pytest.approx((0.6157925, 2.492404), abs=1e-3)


def test_judges_as_clusters_agree_with_the_librarys_own_sandwich() -> None:
    """Statsmodels 0.15, cov_type="cluster" (computed in the same run)."""
    fit = fit_proportional_odds(RATINGS, COLUMNS)
    theirs = fit.model.fit(
        method="bfgs", disp=0, cov_type="cluster", cov_kwds={"groups": JUDGES}
    )
    assert standard_errors(fit, JUDGES) == pytest.approx(theirs.bse[:2], rel=1e-3)


def test_an_independent_maximum_of_the_same_likelihood() -> None:
    """Written out here and maximised by another method (Nelder & Mead)."""

    def minus(parameters: np.ndarray) -> float:
        ends = np.concatenate([[-np.inf], np.sort(parameters[2:]), [np.inf]])
        line = COLUMNS @ parameters[:2]
        chance = expit(ends[RATINGS + 1] - line) - expit(ends[RATINGS] - line)
        return -float(np.log(chance).sum())

    best = optimize.minimize(
        minus,
        np.array([2.0, 1.0, -1.0, 1.0, 3.0, 5.0]),
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 20_000, "maxfev": 20_000},
    )
    fit = fit_proportional_odds(RATINGS, COLUMNS)
    assert fit.slopes == pytest.approx(best.x[:2], abs=1e-4)


def test_two_levels_are_a_logistic_regression() -> None:
    """Statsmodels' Logit, another implementation (computed in the same run)."""
    above = (RATINGS >= 2).astype(np.int64)
    theirs = Logit(above, np.column_stack([np.ones(len(above)), COLUMNS])).fit(disp=0)
    fit = fit_proportional_odds(above, COLUMNS)
    assert fit.slopes == pytest.approx(theirs.params[1:], abs=1e-4)
    errors = np.sqrt(np.diag(theirs.cov_params()))[1:]
    assert standard_errors(fit) == pytest.approx(errors, rel=1e-3)
