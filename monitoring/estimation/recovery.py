"""The share of animals that one wash brings off."""

from dataclasses import dataclass
from math import exp, expm1, log, log1p, sqrt
from typing import Literal, TypeAlias

import numpy as np
from scipy import optimize, stats
from scipy.special import gammaln

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    positive,
    proportion,
    whole_counts,
)

# How closely a fitted beta's interval must meet the stated range.
RANGE_SLACK = 1e-6
NARROWEST_RANGE = 1e-9
# Removal by likelihood looks for at most this many times the animals caught.
MOST_TIMES_CAUGHT = 1e9
TINY = 1e-300
# Of what a wash finds it leaves at most this share.
MOST_LEFT = 1 - 1e-6


@dataclass(frozen=True, slots=True)
class BetaRecovery:
    """A recovery known as Beta(a, b); a and b above 0."""

    a: float
    b: float

    def __post_init__(self) -> None:
        positive("a", self.a)
        positive("b", self.b)

    @property
    def mean(self) -> float:
        """Mean recovery."""
        return self.a / (self.a + self.b)

    @property
    def median(self) -> float:
        """Recovery that is as likely exceeded as not."""
        return float(stats.beta(self.a, self.b).median())

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Give the central interval of a confidence in (0, 1)."""
        proportion("confidence", confidence)
        tail = (1 - confidence) / 2
        beta = stats.beta(self.a, self.b)
        return float(beta.ppf(tail)), float(beta.isf(tail))


def recovery_from_range(
    low: float, high: float, *, confidence: float = 0.95
) -> BetaRecovery:
    """Find the beta whose central interval is a stated range.

    low, high: the range, 0 < low < high < 1. confidence: what it holds, in (0, 1).

    Raises EstimationError if a precondition fails or no beta fits.
    Source: quantile matching, solved numerically (Newton-type, MINPACK hybrd).
    """
    proportion("low", low)
    proportion("high", high)
    proportion("confidence", confidence)
    if low >= high:
        raise EstimationError("high", f"{high!r} is not above low, {low!r}")
    if high - low < NARROWEST_RANGE:
        raise EstimationError("high", f"{high!r} is too close to low, {low!r}")
    tail = (1 - confidence) / 2
    width = stats.norm.isf(tail)
    middle = (low + high) / 2
    spread = (high - low) / (2 * width)
    size = max(middle * (1 - middle) / spread**2 - 1, 0.5)

    def misfit(logs: FloatArray) -> FloatArray:
        beta = stats.beta(*np.exp(logs))
        return np.array([beta.ppf(tail) - low, beta.isf(tail) - high])

    start = np.log([middle * size, (1 - middle) * size])
    solution = optimize.root(misfit, start, tol=1e-12)
    if not solution.success or np.abs(misfit(solution.x)).max() > RANGE_SLACK:
        raise EstimationError("low", f"no beta has {low!r} to {high!r} as its interval")
    a, b = np.exp(solution.x)
    return BetaRecovery(float(a), float(b))


def recovery_from_spikes(recovered: int, added: int) -> BetaRecovery:
    """Learn the recovery from animals added on purpose.

    recovered: animals found again, 0 or more. added: animals added, 1 or more.

    Raises EstimationError if more came back than were added.
    Source: Jeffreys interval for a proportion, Beta(x + 1/2, n - x + 1/2); Brown, Cai
    & DasGupta 2001, Statistical Science 16:101-133.
    """
    if added < 1:
        raise EstimationError("added", "must be 1 or more")
    if not 0 <= recovered <= added:
        raise EstimationError("recovered", f"{recovered} is not within 0 to {added}")
    return BetaRecovery(recovered + 0.5, added - recovered + 0.5)


WashMethod: TypeAlias = Literal[
    "carle_strub", "maximum_likelihood", "given_total", "two_pass"
]


@dataclass(frozen=True, slots=True, kw_only=True)
class WashRecovery:
    """Animals there at first, and the share that one wash brings off."""

    initial: float
    initial_standard_error: float
    recovery: float
    recovery_standard_error: float
    first_wash_proportion: float


def recovery_from_washes(
    catches: Numbers, *, method: WashMethod = "carle_strub"
) -> WashRecovery:
    """Estimate the recovery from washing the same tissue again and again.

    catches: shape (washes,), animals each wash brought off, two washes or more.
    method: "carle_strub", "maximum_likelihood", "given_total" (likelihood of the
    catches given their sum: Seber's explicit form for three), or "two_pass" (first
    two catches).

    Raises EstimationError if nothing was caught or the second catch is not below the
    first. Assumes that every wash brings off the same share.
    Source: Zippin 1958, J. Wildl. Manage. 22:82-90; Seber & Le Cren 1967, J. Anim.
    Ecol. 36:631-643; Carle & Strub 1978, Biometrics 34:621-630; Seber 1982,
    Estimation of Animal Abundance, ch. 7 (from memory).
    """
    caught = whole_counts("catches", catches)
    if caught.size < 2:
        raise EstimationError("catches", "needs two washes or more")
    if caught.sum() == 0:
        raise EstimationError("catches", "no wash caught anything")
    if caught[1] >= caught[0]:
        raise EstimationError(
            "catches",
            f"the second wash caught {caught[1]:g}, not less than the first"
            f" ({caught[0]:g}): the recovery cannot be told from these",
        )
    if method == "two_pass":
        return _two_pass(float(caught[0]), float(caught[1]))
    solve = {
        "carle_strub": _carle_strub,
        "maximum_likelihood": _maximum_likelihood,
        "given_total": _given_total,
    }
    if method not in solve:
        raise EstimationError("method", f"{method!r} is not known")
    washes, total = caught.size, float(caught.sum())
    later = float((np.arange(washes - 1, -1, -1) * caught).sum())
    initial = solve[method](washes, total, later)
    share = total / (washes * initial - later)
    return _with_errors(initial, share, washes=washes, first=float(caught[0]))


def _two_pass(first: float, second: float) -> WashRecovery:
    gap = first - second
    initial = first**2 / gap
    variance = first**2 * second**2 * (first + second) / gap**4
    return WashRecovery(
        initial=initial,
        initial_standard_error=sqrt(variance),
        recovery=1 - second / first,
        recovery_standard_error=sqrt(second * (first + second) / first**3),
        first_wash_proportion=first / initial,
    )


def _carle_strub(washes: int, total: float, later: float) -> float:
    """Find the smallest whole N at which the weighted likelihood stops rising."""
    rest = np.arange(washes - 1, -1, -1, dtype=np.float64)

    def log_step(size: float) -> float:
        base = washes * size - later
        ratio = np.log(base - total + 1 + rest) - np.log(base + 2 + rest)
        return log((size + 1) / (size - total + 1)) + float(ratio.sum())

    low, high = total - 1, total
    while log_step(high) > 0:
        low, high = high, high * 2 + 1
    # Past 2^53 there are no whole numbers between some neighbours.
    while low < (middle := (low + high) // 2) < high:
        low, high = (middle, high) if log_step(middle) > 0 else (low, middle)
    return float(high)


def _given_total(washes: int, total: float, later: float) -> float:
    """Find the share at which a caught animal's mean wash is the one seen."""
    waited = washes - 1 - later / total

    def excess(left: float) -> float:
        after_all = left**washes
        mean = left / (1 - left) - washes * after_all / (1 - after_all)
        return mean - waited

    if waited == 0:
        return total
    if excess(MOST_LEFT) <= 0:
        raise EstimationError(
            "catches", "the washes do not bring off fewer and fewer animals"
        )
    left = float(optimize.brentq(excess, 0.0, MOST_LEFT, xtol=1e-14))
    return total / (1 - left**washes)


def _maximum_likelihood(washes: int, total: float, later: float) -> float:
    def minus_log_likelihood(log_times: float) -> float:
        excess = total * expm1(log_times)
        trials = washes * (total + excess) - later
        share = total / trials
        missed = trials - total
        log_missed = missed * log1p(-share) if missed > 0 else 0.0
        arrangements = gammaln(total + excess + 1) - gammaln(excess + 1)
        return -float(arrangements + total * log(share) + log_missed)

    best = optimize.minimize_scalar(
        minus_log_likelihood,
        bounds=(0.0, log(MOST_TIMES_CAUGHT)),
        method="bounded",
        options={"xatol": 1e-12},
    )
    return total * exp(float(best.x))


def _with_errors(
    initial: float, share: float, *, washes: int, first: float
) -> WashRecovery:
    """Add Zippin's large-sample standard errors."""
    left = 1 - share
    left_after_all = left**washes
    bottom = (1 - left_after_all) ** 2 - (share * washes) ** 2 * left ** (washes - 1)
    # It is positive, but where hardly anything comes off rounding can leave none of it.
    bottom = max(bottom, TINY)
    size_error = sqrt(initial * (1 - left_after_all) * left_after_all / bottom)
    share_error = share * sqrt(left * (1 - left_after_all) / (initial * bottom))
    return WashRecovery(
        initial=initial,
        initial_standard_error=size_error,
        recovery=share,
        recovery_standard_error=share_error,
        first_wash_proportion=first / initial,
    )
