"""What a plan would have done on leaves that were really counted."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitoring.estimation.sequential import Lines
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    Places,
    each_bag,
    whole_counts,
)

Marks: TypeAlias = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class StopLineRuns:
    """What a fixed-precision stop line gave over many runs.

    `precision` is the runs' standard deviation of the mean over their average, `bias`
    their average over the true mean, less 1.
    """

    runs: int
    average_units: float
    precision: float
    bias: float
    unfinished: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SequentialRuns:
    """What a sequential test decided over many runs.

    `lower` and `upper` are shares of all runs, those that came to the last unit
    undecided told by the nearer line; `unfinished` is the share of these.
    """

    runs: int
    lower: float
    upper: float
    unfinished: float
    average_units: float


def resample_units(
    counts: Numbers,
    *,
    keep: Numbers | float = 1.0,
    runs: int,
    units: int,
    seed: int | Sequence[int],
) -> FloatArray:
    """Draw units with replacement from those of one round; shape (runs, units).

    counts: shape (n,), whole. keep: one value or one a unit, above 0: what share of a
    unit's animals the plan would have counted of those counted. Up to 1 each animal is
    kept by chance, anew in every draw, which keeps k; above 1 counts are scaled up and
    rounded by chance, which leaves the noise of the smaller share in them. seed: of the
    generator.

    Raises EstimationError if a precondition fails.
    Source: resampling of counted units to validate plans, Naranjo & Hutchison 1997,
    Am. Entomol. 43:48-57 (from memory).
    """
    seen = whole_counts("counts", counts)
    shares = each_bag("keep", [keep], np.array([seen.size]))
    if (shares <= 0).any():
        raise EstimationError("keep", "must be above 0")
    if runs < 1 or units < 1:
        raise EstimationError("runs", "and units must be 1 or more")
    chance = np.random.default_rng(seed)
    picked = chance.integers(0, seen.size, size=(runs, units))
    drawn, kept = seen[picked], shares[picked]
    if (shares < 1).any():
        drawn = np.where(
            kept < 1,
            chance.binomial(drawn.astype(np.int64), np.minimum(kept, 1)),
            drawn,
        ).astype(np.float64)
    if (shares > 1).any():
        scaled = np.where(kept > 1, drawn * kept, drawn)
        floor = np.floor(scaled)
        drawn = floor + (chance.random(scaled.shape) < scaled - floor)
    return drawn


def follow_stop_line(
    draws: FloatArray, line: FloatArray, *, minimum_units: int, true_mean: float
) -> StopLineRuns:
    """Stop each run at the first unit from the least number on at or above the line.

    draws: shape (runs, units). line: shape (units,), running totals at 1, 2, ... units.
    minimum_units: 1 or more. true_mean: of what was drawn from, above 0.

    Raises EstimationError if line and draws do not fit.
    Source: resampling to validate stop lines, Naranjo & Hutchison 1997 (from memory).
    """
    runs, units = draws.shape
    if line.shape != (units,) or not 1 <= minimum_units <= units:
        raise EstimationError("line", "must have an entry for each unit drawn")
    totals = np.cumsum(draws, axis=1)
    done = totals >= line
    done[:, : minimum_units - 1] = False
    at, finished = _first(done)
    means = totals[np.arange(runs), at] / (at + 1)
    average = float(means.mean())
    return StopLineRuns(
        runs=runs,
        average_units=float((at + 1).mean()),
        precision=float(means.std(ddof=1)) / average if average > 0 else nan,
        bias=average / true_mean - 1,
        unfinished=float((~finished).mean()),
    )


def follow_test(
    draws: FloatArray, test: Lines, *, minimum_units: int = 1
) -> SequentialRuns:
    """Let a sequential test decide each run; at the last unit by the nearer line.

    draws: shape (runs, units). test: its lines. minimum_units: no decision before it.

    Raises EstimationError if the least number is not among the units drawn.
    Source: resampling to validate plans, Naranjo & Hutchison 1997 (from memory).
    """
    runs, units = draws.shape
    if not 1 <= minimum_units <= units:
        raise EstimationError("minimum_units", "must be among the units drawn")
    totals = np.cumsum(test.scores(draws), axis=1)
    lower, upper = test.lines_at(np.arange(1.0, units + 1))
    out = (totals <= lower) | (totals >= upper)
    out[:, : minimum_units - 1] = False
    at, finished = _first(out)
    reached = totals[np.arange(runs), at]
    is_lower = reached - lower[at] < upper[at] - reached
    return SequentialRuns(
        runs=runs,
        lower=float(is_lower.mean()),
        upper=float((~is_lower).mean()),
        unfinished=float((~finished).mean()),
        average_units=float((at + 1).mean()),
    )


def _first(done: Marks) -> tuple[Places, Marks]:
    """Give each run's first place that is done, the last where none is."""
    finished: Marks = np.asarray(done.any(axis=1))
    at: Places = np.where(finished, done.argmax(axis=1), done.shape[1] - 1)
    return at, finished
