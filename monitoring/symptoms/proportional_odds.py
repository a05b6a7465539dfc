"""The proportional-odds model of scores, fitted by statsmodels; no other room uses it.

P(score above level j) = expit(columns . slopes - threshold j): one odds ratio for
every step of the scale. Source: McCullagh 1980, J. R. Stat. Soc. B 42:109-142.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from math import inf, isfinite, nan, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats
from scipy.optimize import brentq
from scipy.special import expit, logit

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
# Beyond these log odds a slope says no more than "very large".
FURTHEST_SLOPE = 60.0
FIRST_STEP, GROWTH = 0.5, 1.5


class _Logistic(stats.rv_continuous):
    """The logistic distribution without scipy's checks, dearer than what they check."""

    def cdf(self, x: Any, *_args: Any, **_kwds: Any) -> Any:
        """Give the chance below."""
        return expit(x)

    def pdf(self, x: Any, *_args: Any, **_kwds: Any) -> Any:
        """Give the density."""
        return expit(x) * expit(-x)

    def ppf(self, q: Any, *_args: Any, **_kwds: Any) -> Any:
        """Give the point with that chance below."""
        return logit(q)


LOGISTIC = _Logistic(name="logistic")


@cache
def _library() -> Any:
    """Load the library when first wanted: it brings pandas, 100 MB and 2 seconds."""
    return import_module("statsmodels.miscmodels.ordinal_model")


@dataclass(frozen=True, slots=True)
class ProportionalOddsFit:
    """Slopes (log odds a unit of each column) at the highest likelihood."""

    slopes: FloatArray
    parameters: FloatArray
    log_likelihood: float
    converged: bool
    model: Any


def fit_proportional_odds(
    levels: IntArray,
    columns: FloatArray,
    offset: FloatArray | None = None,
    *,
    start: FloatArray | None = None,
) -> ProportionalOddsFit:
    """Fit the model.

    levels: (n,), 0, 1, ...; every level up to the highest occurs. columns: (n, p),
    none constant; p may be 0. offset: (n,), added to the linear predictor.
    start: parameters to begin the search at.

    Raises what statsmodels raises where the columns are constant.
    Source: statsmodels' OrderedModel, quasi-Newton.
    """
    with np.errstate(all="ignore"):
        model = _library().OrderedModel(levels, columns, offset=offset, distr=LOGISTIC)
        result = model.fit(
            start_params=start,
            method="bfgs",
            disp=0,
            skip_hessian=True,
            warn_convergence=False,
        )
        parameters = np.asarray(result.params, dtype=float)
        likelihood = float(model.loglike(parameters))
    return ProportionalOddsFit(
        slopes=parameters[: columns.shape[1]],
        parameters=parameters,
        log_likelihood=likelihood,
        converged=bool(result.mle_retvals["converged"]) and isfinite(likelihood),
        model=model,
    )


def standard_errors(
    fit: ProportionalOddsFit, clusters: IntArray | None = None
) -> FloatArray:
    """Give the slopes' standard errors; nan where the likelihood is flat.

    clusters: (n,), labels of leaves that belong together; the scores are then summed
    within each (sandwich, with the factor G/(G-1) (n-1)/(n-p)).

    Source: Liang & Zeger 1986, Biometrika 73:13-22.
    """
    with np.errstate(all="ignore"):
        information = -np.asarray(fit.model.hessian(fit.parameters), dtype=float)
        try:
            bread = np.linalg.inv(information)
        except np.linalg.LinAlgError:
            return np.full(fit.slopes.size, nan)
        covariance = bread
        if clusters is not None:
            covariance = bread @ _meat(fit, clusters) @ bread
        variances = np.diag(covariance)[: fit.slopes.size]
        return np.sqrt(np.where(variances > 0, variances, nan))


def _meat(fit: ProportionalOddsFit, clusters: IntArray) -> FloatArray:
    scores = np.asarray(fit.model.score_obs(fit.parameters), dtype=float)
    _, places = np.unique(clusters, return_inverse=True)
    groups = int(places.max()) + 1
    summed = np.zeros((groups, scores.shape[1]))
    np.add.at(summed, places, scores)
    n, p = scores.shape
    factor = groups / (groups - 1) * (n - 1) / max(n - p, 1)
    meat: FloatArray = factor * summed.T @ summed
    return meat


def profile_interval(
    fit: ProportionalOddsFit,
    levels: IntArray,
    columns: FloatArray,
    place: int,
    *,
    confidence: float = 0.95,
) -> tuple[float, float]:
    """Give the slopes at one column that the likelihood does not rule out.

    place: which column. An end that the likelihood does not bound is infinite.

    Source: Venzon & Moolgavkar 1988, Appl. Stat. 37:87-94.
    """
    others = np.delete(columns, place, axis=1)
    start = np.delete(fit.parameters, place)
    drop = float(stats.chi2.ppf(confidence, 1)) / 2

    def above(slope: float) -> float:
        held = fit_proportional_odds(
            levels, others, slope * columns[:, place], start=start
        )
        return held.log_likelihood - fit.log_likelihood + drop

    centre = float(fit.slopes[place])
    error = float(standard_errors(fit)[place])
    # The ends lie near two standard errors; where there is none, anywhere.
    step = sqrt(2 * drop) * error if isfinite(error) else FIRST_STEP
    return _end(above, centre, -step), _end(above, centre, step)


def _end(above: Callable[[float], float], centre: float, step: float) -> float:
    inner, outer = centre, centre + step
    while above(outer) > 0:
        if abs(outer - centre) > FURTHEST_SLOPE:
            return inf if step > 0 else -inf
        inner, outer = outer, centre + GROWTH * (outer - centre)
    return float(brentq(above, inner, outer, xtol=1e-3, rtol=1e-4))
