"""Degree-days from daily minima and maxima, and sums over days that may be missing."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    as_floats,
    numbers,
)

BoolArray: TypeAlias = NDArray[np.bool_]
DegreeDayMethod: TypeAlias = Literal[
    "average", "single_triangle", "single_sine", "double_sine"
]
DegreeDayCutoff: TypeAlias = Literal["horizontal", "vertical", "intermediate"]
# Of a day: degree-days above a threshold, and the share of the day spent above it.
_Above: TypeAlias = Callable[
    [FloatArray, FloatArray, float], tuple[FloatArray, FloatArray]
]
CUTOFFS = ("horizontal", "vertical", "intermediate")
VERSION = "1"


def degree_days(
    minimum_c: Numbers,
    maximum_c: Numbers,
    *,
    lower_c: float,
    upper_c: float | None = None,
    method: DegreeDayMethod = "single_sine",
    cutoff: DegreeDayCutoff = "horizontal",
) -> FloatArray:
    """Give the degree-days of each day, in C-days.

    minimum_c, maximum_c: shape (days,), lowest and highest air temperature, C, no
    gaps. lower_c: development begins above it. upper_c: above it the cut-off works;
    None for no upper threshold.
    method: "average" (the mean of both, limited to the thresholds),
    "single_triangle", "single_sine", or "double_sine" (the second half of a day falls
    to the next day's minimum; the last day uses its own).
    cutoff: above upper_c development goes on no faster ("horizontal"), stands still
    ("vertical"), or slows down as it rose ("intermediate": may fall below 0, and is
    not floored). "average" takes "horizontal" only.

    Raises EstimationError if a precondition fails.
    Source: Baskerville & Emin 1969, Ecology 50:514-517 (sine); Allen 1976, Environ.
    Entomol. 5:388-396 (double sine); Zalom, Goodell, Wilson, Barnett & Bentley 1983,
    Univ. of California leaflet 21373 (triangle and cut-offs); bibliography from memory.
    """
    lows, highs = numbers("minimum_c", minimum_c), numbers("maximum_c", maximum_c)
    _check_days(lows, highs)
    _check_rule(lower_c, upper_c, method, cutoff)
    if method == "average":
        top = np.inf if upper_c is None else upper_c
        return np.clip((lows + highs) / 2, lower_c, top) - lower_c
    above = _triangle_above if method == "single_triangle" else _sine_above
    found = _cut(above, lows, highs, (lower_c, upper_c, cutoff))
    if method != "double_sine":
        return found
    next_lows = np.append(lows[1:], lows[-1])
    # The evening falls to the next day's minimum, which a cold front may put above
    # the day's maximum: then the day had no evening fall.
    evening = _cut(
        above, np.minimum(next_lows, highs), highs, (lower_c, upper_c, cutoff)
    )
    return np.asarray((found + evening) / 2)


def _check_days(lows: FloatArray, highs: FloatArray) -> None:
    if lows.size != highs.size:
        raise EstimationError(
            "maximum_c", f"has {highs.size} days where minimum_c has {lows.size}"
        )
    wrong = np.flatnonzero(lows > highs)
    if wrong.size:
        at = wrong[0]
        raise EstimationError(
            "minimum_c",
            f"day {at + 1}: {lows[at]:g} C is above that day's maximum,"
            f" {highs[at]:g} C",
        )


def _check_rule(
    lower_c: float, upper_c: float | None, method: str, cutoff: str
) -> None:
    if not np.isfinite(lower_c):
        raise EstimationError("lower_c", f"{lower_c!r} is not a temperature in C")
    if upper_c is not None and not (np.isfinite(upper_c) and upper_c > lower_c):
        raise EstimationError("upper_c", f"{upper_c!r} is not above lower_c")
    if method not in {"average", "single_triangle", "single_sine", "double_sine"}:
        raise EstimationError("method", f"{method!r} is not known")
    if cutoff not in CUTOFFS:
        raise EstimationError("cutoff", f"{cutoff!r} is not known")
    if method == "average" and cutoff != "horizontal":
        raise EstimationError("cutoff", "average takes a horizontal cut-off only")


def _cut(
    above: _Above,
    lows: FloatArray,
    highs: FloatArray,
    rule: tuple[float, float | None, str],
) -> FloatArray:
    """Take what lies above the upper threshold away, as the cut-off says."""
    lower, upper, cutoff = rule
    whole, _ = above(lows, highs, lower)
    if upper is None:
        return whole
    beyond, share = above(lows, highs, upper)
    if cutoff == "horizontal":
        return whole - beyond
    if cutoff == "intermediate":
        return whole - 2 * beyond
    # While it is too hot, neither what is beyond the upper threshold nor what lies
    # between the two counts.
    return np.maximum(whole - beyond - (upper - lower) * share, 0.0)


def _sine_above(
    lows: FloatArray, highs: FloatArray, threshold: float
) -> tuple[FloatArray, FloatArray]:
    middle, half = (lows + highs) / 2, (highs - lows) / 2
    crosses = (lows < threshold) & (threshold < highs)
    ratio = np.where(crosses, (threshold - middle) / np.where(crosses, half, 1.0), 0.0)
    angle = np.arcsin(np.clip(ratio, -1.0, 1.0))
    warm = np.pi / 2 - angle
    partly = ((middle - threshold) * warm + half * np.cos(angle)) / np.pi
    always = lows >= threshold
    degrees = np.where(crosses, partly, np.where(always, middle - threshold, 0.0))
    share = np.where(crosses, warm / np.pi, np.where(always, 1.0, 0.0))
    return degrees, share


def _triangle_above(
    lows: FloatArray, highs: FloatArray, threshold: float
) -> tuple[FloatArray, FloatArray]:
    crosses = (lows < threshold) & (threshold < highs)
    warm = np.where(
        crosses, (highs - threshold) / np.where(crosses, highs - lows, 1.0), 0.0
    )
    always = lows >= threshold
    partly = warm * (highs - threshold) / 2
    degrees = np.where(
        crosses, partly, np.where(always, (lows + highs) / 2 - threshold, 0.0)
    )
    return degrees, np.where(always, 1.0, warm)


@dataclass(frozen=True, kw_only=True)
class FilledDays:
    """Daily minima and maxima with short gaps filled.

    minimum_c, maximum_c: shape (days,), NaN where a day is still missing. filled,
    missing: shape (days,), which days were filled and which are missing.
    """

    minimum_c: FloatArray
    maximum_c: FloatArray
    filled: BoolArray
    missing: BoolArray


def fill_gaps(
    minimum_c: Numbers, maximum_c: Numbers, *, longest_gap: int = 3
) -> FilledDays:
    """Fill short gaps along a straight line from the day before to the day after.

    minimum_c, maximum_c: shape (days,), C, of days that follow each other; NaN in
    either for a missing day. longest_gap: gaps of more days stay missing, and so do
    gaps at the beginning and the end, which have one neighbour only; 0 or more.

    Raises EstimationError if a precondition fails.
    Source: linear interpolation; that three days may be bridged is common practice,
    without a source.
    """
    lows = np.atleast_1d(as_floats("minimum_c", minimum_c)).copy()
    highs = np.atleast_1d(as_floats("maximum_c", maximum_c)).copy()
    if lows.ndim != 1 or lows.shape != highs.shape or lows.size == 0:
        raise EstimationError("maximum_c", "needs one entry a day, as minimum_c")
    if longest_gap < 0:
        raise EstimationError("longest_gap", f"{longest_gap!r} is below 0")
    if np.isinf(lows).any() or np.isinf(highs).any():
        raise EstimationError("minimum_c", "must hold finite numbers, or NaN")
    there = ~(np.isnan(lows) | np.isnan(highs))
    _check_days(lows[there], highs[there])
    filled = _short_gaps(there, longest_gap)
    known = np.flatnonzero(there)
    for values in (lows, highs):
        values[~there] = np.nan
        if filled.any():
            values[filled] = np.interp(np.flatnonzero(filled), known, values[known])
    return FilledDays(
        minimum_c=lows, maximum_c=highs, filled=filled, missing=~(there | filled)
    )


def _short_gaps(there: BoolArray, longest: int) -> BoolArray:
    """Find missing days in gaps of few days, with a known day on both sides."""
    filled = np.zeros(there.size, dtype=np.bool_)
    known = np.flatnonzero(there)
    for before, after in pairwise(known):
        if 1 < after - before <= longest + 1:
            filled[before + 1 : after] = True
    return filled


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatRule:
    """How degree-days are made: thresholds in C, method and cut-off."""

    lower_c: float
    upper_c: float | None = None
    method: DegreeDayMethod = "single_sine"
    cutoff: DegreeDayCutoff = "horizontal"

    def __post_init__(self) -> None:
        _check_rule(self.lower_c, self.upper_c, self.method, self.cutoff)


@dataclass(frozen=True, kw_only=True)
class DegreeDaySum:
    """Degree-days added up from a first day on, with what they were made by.

    minimum_c, maximum_c: shape (days,), C, as used; NaN on missing days. daily,
    cumulative: shape (days,), C-days; NaN in `daily` on missing days, over which
    `cumulative` stands still. `at_least`: shape (days,), whether missing days
    lie before or on that day, so that the true sum is the figure or more.
    """

    minimum_c: FloatArray
    maximum_c: FloatArray
    daily: FloatArray
    cumulative: FloatArray
    at_least: BoolArray
    filled: BoolArray
    missing: BoolArray
    rule: HeatRule
    longest_gap: int
    version: str = VERSION

    @property
    def total(self) -> float:
        """The sum over all days; NaN where missing days leave nothing to say."""
        return float(self.cumulative[-1])

    def days_until(self, target: float) -> int | None:
        """Give how many days it took to reach a sum; None if it was not reached."""
        reached = np.flatnonzero(self.cumulative >= target)
        return int(reached[0]) + 1 if reached.size else None


def sum_degree_days(
    minimum_c: Numbers,
    maximum_c: Numbers,
    *,
    rule: HeatRule,
    longest_gap: int = 3,
) -> DegreeDaySum:
    """Add up degree-days over days that may be missing; long gaps are never invented.

    minimum_c, maximum_c: shape (days,), C, NaN for a missing day. rule: thresholds,
    method and cut-off. longest_gap: gaps of so many days are filled, as fill_gaps does.

    After a day that is still missing the sum is "at least": degree-days are not
    negative. With the intermediate cut-off they may be, so there the sum is NaN from
    that day on.
    Raises EstimationError if a precondition fails.
    Source: as degree_days; the bound is own reasoning.
    """
    days = fill_gaps(minimum_c, maximum_c, longest_gap=longest_gap)
    daily = np.full(days.missing.size, np.nan)
    for first, after in _runs(~days.missing):
        daily[first:after] = degree_days(
            days.minimum_c[first:after],
            days.maximum_c[first:after],
            lower_c=rule.lower_c,
            upper_c=rule.upper_c,
            method=rule.method,
            cutoff=rule.cutoff,
        )
    at_least = np.logical_or.accumulate(days.missing)
    cumulative = np.cumsum(np.where(days.missing, 0.0, daily))
    if rule.upper_c is not None and rule.cutoff == "intermediate":
        cumulative = np.where(at_least, np.nan, cumulative)
    return DegreeDaySum(
        minimum_c=days.minimum_c,
        maximum_c=days.maximum_c,
        daily=daily,
        cumulative=cumulative,
        at_least=at_least,
        filled=days.filled,
        missing=days.missing,
        rule=rule,
        longest_gap=longest_gap,
    )


def _runs(there: BoolArray) -> list[tuple[int, int]]:
    """Give the stretches of days that follow each other without a gap."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], there.astype(np.int8), [0]])))
    return [
        (int(first), int(after))
        for first, after in zip(edges[::2], edges[1::2], strict=True)
    ]
