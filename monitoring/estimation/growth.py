"""How fast numbers grow from round to round: a log-linear fit to the bags' counts."""

from dataclasses import dataclass
from math import exp, inf, log, sqrt

import numpy as np
from scipy import optimize, stats

from monitoring.estimation.dispersion import log_likelihood
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    each_bag,
    numbers,
    positive,
    proportion,
    whole_counts,
)

# ln k is sought from clumped beyond use to as good as Poisson.
LOG_K_ENDS = (log(1e-4), log(1e6))
FEWEST_DAYS = 3
MOST_STEPS = 200
# A step of the linear predictor is cut to this, so that sparse counts do not run off.
LONGEST_STEP = 5.0
NEXT_TO_NOTHING = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """When a fitted line reaches a threshold, in days; None throughout, with a reason.

    The interval is Fieller's. It says nothing of growth that slows or stops.
    """

    day: float | None
    low: float | None
    high: float | None
    confidence: float
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeanForecast:
    """The mean per unit that a fitted line gives for a day, with its interval."""

    median: float
    low: float
    high: float
    confidence: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthFit:
    """ln(mean per unit) = intercept + slope x day; negative binomial with one k.

    covariance: shape (2, 2), of intercept and slope for the k found. k is inf where the
    counts are no more clumped than Poisson's. `doubling_days` is inf without growth.
    """

    intercept: float
    slope: float
    k: float
    log_likelihood: float
    covariance: FloatArray
    days: int
    bags: int

    @property
    def doubling_days(self) -> float:
        """Days in which the numbers double."""
        return log(2) / self.slope if self.slope > 0 else inf

    @property
    def slope_standard_error(self) -> float:
        """Standard error of the slope, per day."""
        return sqrt(float(self.covariance[1, 1]))

    def slope_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Give the slope's interval of a confidence in (0, 1), per day."""
        reach = _deviate(confidence) * self.slope_standard_error
        return self.slope - reach, self.slope + reach

    def crossing(self, threshold: float, confidence: float = 0.95) -> Crossing:
        """Give the day on which the line reaches a threshold per unit, above 0."""
        level, z = log(positive("threshold", threshold)), _deviate(confidence)
        reason = self._no_crossing(z)
        if reason:
            return Crossing(
                day=None, low=None, high=None, confidence=confidence, reason=reason
            )
        (v00, v01), (_, v11) = self.covariance
        apart = level - self.intercept
        a = self.slope**2 - z**2 * v11
        b = apart * self.slope + z**2 * v01
        c = apart**2 - z**2 * v00
        reach = sqrt(max(b**2 - a * c, 0.0))
        return Crossing(
            day=apart / self.slope,
            low=float((b - reach) / a),
            high=float((b + reach) / a),
            confidence=confidence,
        )

    def forecast(self, day: float, confidence: float = 0.95) -> MeanForecast:
        """Give the mean per unit on a day; its interval is the fitted line's own."""
        z = _deviate(confidence)
        at = np.array([1.0, float(numbers("day", day)[0])])
        middle = float(at @ np.array([self.intercept, self.slope]))
        reach = z * sqrt(float(at @ self.covariance @ at))
        return MeanForecast(
            median=exp(middle),
            low=exp(middle - reach),
            high=exp(middle + reach),
            confidence=confidence,
        )

    def _no_crossing(self, z: float) -> str:
        if self.days < FEWEST_DAYS:
            return f"{self.days} rounds are too few: a date needs {FEWEST_DAYS}"
        if abs(self.slope) <= z * self.slope_standard_error:
            return "growth is not significant"
        return "numbers are falling" if self.slope < 0 else ""


def fit_growth(
    days: Numbers, counts: Numbers, *, exposures: Numbers | float = 1.0
) -> GrowthFit:
    """Fit exponential growth to bags of several days, by maximum likelihood.

    days: shape (bags,), when each bag was collected, in days (or degree-days) since a
    common date; two different ones or more. counts: shape (bags,), animals seen, whole.
    exposures: recovery times proportion counted, above 0; one value or one a bag.

    Raises EstimationError if a precondition fails, and where animals were seen on the
    first or the last day alone: no rate can be told then. Holds for exponential growth
    with independent bags; noise common to a day's bags makes its intervals too narrow.
    Source: negative binomial generalised linear model with log link, one k (Lawless
    1987, Can. J. Statist. 15:209-225); covariance from the expected information, as
    glm.nb in Venables & Ripley's MASS.
    """
    when, seen = numbers("days", days), whole_counts("counts", counts)
    if when.size != seen.size:
        raise EstimationError(
            "counts", f"has {seen.size} entries where {when.size} fit"
        )
    exposed = each_bag("exposures", [exposures], np.array([seen.size]))
    if (exposed <= 0).any():
        raise EstimationError("exposures", "must be above 0")
    _check_days(when, seen)
    middle = float(when.mean())
    bags = _Bags(when - middle, seen, np.log(exposed))
    k = _best_k(bags)
    line = bags.line(k)
    (v00, v01), (_, v11) = np.linalg.inv(bags.information(line, k))
    off = v01 - middle * v11
    return GrowthFit(
        intercept=float(line[0] - middle * line[1]),
        slope=float(line[1]),
        k=k,
        log_likelihood=log_likelihood(seen, bags.means(line), k),
        covariance=np.array([[v00 - middle * (v01 + off), off], [off, v11]]),
        days=np.unique(when).size,
        bags=seen.size,
    )


def _check_days(when: FloatArray, seen: FloatArray) -> None:
    if when.min() == when.max():
        raise EstimationError("days", "needs bags of two different days")
    with_animals = when[seen > 0]
    if not with_animals.size:
        raise EstimationError("counts", "hold no animal: no rate can be told")
    only = with_animals.min() == with_animals.max()
    if only and with_animals[0] in {when.min(), when.max()}:
        raise EstimationError(
            "counts", "hold animals on the first or last day alone: no rate can be told"
        )


def _deviate(confidence: float) -> float:
    return float(stats.norm.isf((1 - proportion("confidence", confidence)) / 2))


@dataclass(frozen=True, slots=True)
class _Bags:
    """Bags with days from their mean, animals, and logarithms of exposures."""

    days: FloatArray
    seen: FloatArray
    log_exposures: FloatArray

    def means(self, line: FloatArray) -> FloatArray:
        expected: FloatArray = np.exp(
            self.log_exposures + line[0] + line[1] * self.days
        )
        return np.maximum(expected, NEXT_TO_NOTHING)

    def information(self, line: FloatArray, k: float) -> FloatArray:
        means = self.means(line)
        weights = means / (1 + means / k)
        design = np.vstack([np.ones_like(self.days), self.days])
        expected: FloatArray = (design * weights) @ design.T
        return expected

    def line(self, k: float) -> FloatArray:
        """Find intercept and slope for a k, by Fisher scoring with short steps."""
        rate = log(self.seen.sum() / np.exp(self.log_exposures).sum())
        line = np.array([rate, 0.0])
        design = np.vstack([np.ones_like(self.days), self.days])
        for _ in range(MOST_STEPS):
            means = self.means(line)
            score = design @ ((self.seen - means) / (1 + means / k))
            step = np.linalg.solve(self.information(line, k), score)
            longest = float(np.abs(design.T @ step).max())
            line = line + step * min(1.0, LONGEST_STEP / max(longest, 1e-300))
            if longest < NEXT_TO_NOTHING:
                break
        return line


def _best_k(bags: _Bags) -> float:
    """Find k by its profile likelihood; inf where clumping does not help."""

    def minus(log_k: float) -> float:
        k = exp(log_k)
        return -log_likelihood(bags.seen, bags.means(bags.line(k)), k)

    grid = np.linspace(*LOG_K_ENDS, 24)
    values = [minus(at) for at in grid]
    start = int(np.argmin(values))
    near = (grid[max(start - 1, 0)], grid[min(start + 1, grid.size - 1)])
    best = optimize.minimize_scalar(
        minus, bounds=near, method="bounded", options={"xatol": 1e-9}
    )
    poisson = log_likelihood(bags.seen, bags.means(bags.line(inf)), inf)
    # A likelihood that still rises at the end of the search has no k of its own.
    clumped = best.x < LOG_K_ENDS[1] - 1 and -best.fun > poisson
    return exp(float(best.x)) if clumped else inf
