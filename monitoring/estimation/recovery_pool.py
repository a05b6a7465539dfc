"""Recovery pooled over a laboratory's calibration runs, with what differs between runs.

The recovery of a run is taken from a beta of mean m around which runs scatter. Both
kinds of run speak of it: of `added` animals `recovered` were found again (binomial), or
successive washes brought off fewer and fewer (the chance of the catches given their
total, which holds the recovery alone). The posterior of m and of the scatter is summed
over a grid; what a new run will have is its predictive distribution.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp

from monitoring.estimation.recovery import BetaRecovery, recovery_from_washes
from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    Places,
    positive,
    proportion,
    whole_counts,
)

# Recovery r as the angle whose squared sine is r: there, a count tells it alike
# everywhere, and a flat prior is Jeffreys's.
ANGLES, FINER = 400, 25
# Scatter is the standard deviation between runs over the largest it could be,
# sqrt(m (1 - m)). Beforehand it is half-normal: at m = 0.85 its median is a standard
# deviation of 0.06, and 0.18 is passed one time in twenty.
SCATTER_BEFOREHAND = 0.25
LEAST_SCATTER, MOST_SCATTER = 0.02, 0.9
MEANS, SCATTERS, NARROWINGS = 80, 50, 2
# Parts of the grid this much less likely (log) than the best are left out.
NEGLIGIBLE = 18.0
MOST_ANIMALS = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SpikeRun:
    """Animals added on purpose, and how many of them one wash brought off."""

    recovered: int
    added: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WashRun:
    """Animals that each wash of the same tissue brought off, the first wash first."""

    catches: tuple[int, ...]


CalibrationRun: TypeAlias = SpikeRun | WashRun


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRecovery:
    """What one run says by itself: median and interval of its recovery."""

    median: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PooledRecovery:
    """The recovery over runs.

    mean, low, high: of the recovery over all runs there could be, with its interval.
    between_runs, between_runs_low, between_runs_high: standard deviation from run to
    run. new_run: the recovery of a run to come, as the beta of the same mean and
    variance; that is what a round's bags share. runs: each by itself, as given.
    """

    mean: float
    low: float
    high: float
    between_runs: float
    between_runs_low: float
    between_runs_high: float
    new_run: BetaRecovery
    runs: tuple[RunRecovery, ...]


def pool_recoveries(
    runs: Sequence[CalibrationRun],
    *,
    confidence: float = 0.95,
    scatter_beforehand: float = SCATTER_BEFOREHAND,
) -> PooledRecovery:
    """Pool the recoveries of calibration runs, with variation between runs.

    runs: one or more, spikes and repeat washes alike, at most a million animals each.
    confidence: of all intervals, in (0, 1). scatter_beforehand: scale of the
    half-normal prior of the scatter, above 0.

    Raises EstimationError naming the run that is impossible or tells nothing.
    Source: beta-binomial hierarchy, Gelman et al. 2013, Bayesian Data Analysis, 3rd
    ed., sec. 5.3; half-normal scatter, Gelman 2006, Bayesian Analysis 1:515-534;
    catches given their total, Seber 1982, Estimation of Animal Abundance, ch. 7 (from
    memory). Jeffreys's prior of the mean.
    """
    proportion("confidence", confidence)
    positive("scatter_beforehand", scatter_beforehand)
    if not runs:
        raise EstimationError("runs", "holds no run")
    likelihoods = [run_likelihood(run, number=i + 1) for i, run in enumerate(runs)]
    by_cell = np.array([_over_cells(one) for one in likelihoods])
    means, scatters, weights = _posterior(by_cell, scatter_beforehand)
    tails = (1 - confidence) / 2, 0.5, (1 + confidence) / 2
    low, _, high = _quantiles(means, weights.sum(axis=1), tails)
    between = np.sqrt(means[:, None] * (1 - means[:, None])) * scatters
    spread = _quantiles(between.ravel(), weights.ravel(), tails)
    mean = float((means * weights.sum(axis=1)).sum())
    squares = between**2 + means[:, None] ** 2
    variance = float((squares * weights).sum()) - mean**2
    size = mean * (1 - mean) / variance - 1
    return PooledRecovery(
        mean=mean,
        low=low,
        high=high,
        between_runs=spread[1],
        between_runs_low=spread[0],
        between_runs_high=spread[2],
        new_run=BetaRecovery(mean * size, (1 - mean) * size),
        runs=tuple(_alone(one, tails) for one in likelihoods),
    )


def run_likelihood(run: CalibrationRun, *, number: int = 1) -> FloatArray:
    """Give the log-likelihood of one run over the fine grid of recoveries.

    number: what an error calls the run. Shape (ANGLES x FINER,), the best at 0.

    Raises EstimationError for counts that cannot be or that tell nothing.
    Source: binomial; catches given their total: p^T q^X / (1 - q^K)^T with T caught in
    K washes and X = sum of (j - 1) c_j, Seber 1982, ch. 7 (from memory).
    """
    recovered = np.sin(_angles(ANGLES * FINER) / 2) ** 2
    try:
        if isinstance(run, SpikeRun):
            found, lost = _spike(run)
            return _at_best(found * np.log(recovered) + lost * np.log1p(-recovered))
        catches = _catches(run.catches)
    except EstimationError as error:
        raise EstimationError("runs", f"run {number}: {error.sentence}") from error
    washes = catches.size
    left = np.log1p(-recovered)
    caught_at_all = np.log(-np.expm1(washes * left))
    late = float((np.arange(washes) * catches).sum())
    total = float(catches.sum())
    return _at_best(total * (np.log(recovered) - caught_at_all) + late * left)


def _at_best(log_likelihood: FloatArray) -> FloatArray:
    best: FloatArray = log_likelihood - log_likelihood.max()
    return best


def _spike(run: SpikeRun) -> tuple[int, int]:
    if not 1 <= run.added <= MOST_ANIMALS:
        raise EstimationError(
            "added", f"{run.added} animals added is not within 1 to {MOST_ANIMALS:,}"
        )
    if not 0 <= run.recovered <= run.added:
        raise EstimationError(
            "recovered", f"{run.recovered} found again of {run.added} added cannot be"
        )
    return run.recovered, run.added - run.recovered


def _catches(catches: Numbers) -> FloatArray:
    caught = whole_counts("catches", catches)
    # Refuses what tells nothing, in the words of a run by itself.
    recovery_from_washes(catches, method="two_pass")
    if caught.sum() > MOST_ANIMALS:
        raise EstimationError(
            "catches", f"more than {MOST_ANIMALS:,} animals were caught"
        )
    return caught


def _angles(count: int) -> FloatArray:
    """Give the middles of equal parts of 0 to pi."""
    return (np.arange(count) + 0.5) * pi / count


def _over_cells(log_likelihood: FloatArray) -> FloatArray:
    """Average a likelihood over the coarse cells, as logs."""
    cells = log_likelihood.reshape(ANGLES, FINER)
    averages: FloatArray = logsumexp(cells, axis=1) - np.log(FINER)
    return averages


@dataclass(frozen=True, slots=True)
class _Grid:
    """Nodes of the mean (as angles) and of the scatter, midway in equal steps."""

    angles: FloatArray
    scatters: FloatArray

    @property
    def means(self) -> FloatArray:
        means: FloatArray = np.sin(self.angles / 2) ** 2
        return means

    def around(self, likely: NDArray[np.bool_]) -> "_Grid":
        """Narrow down on nodes, with one more to either side of them."""
        rows = np.flatnonzero(likely.any(axis=1))
        columns = np.flatnonzero(likely.any(axis=0))
        return _Grid(
            _narrowed(self.angles, rows, (0.0, pi)),
            _narrowed(self.scatters, columns, (LEAST_SCATTER, MOST_SCATTER)),
        )


def _nodes(low: float, high: float, count: int) -> FloatArray:
    return low + (np.arange(count, dtype=np.float64) + 0.5) * (high - low) / count


def _narrowed(
    nodes: FloatArray, likely: Places, ends: tuple[float, float]
) -> FloatArray:
    step, kept = float(nodes[1] - nodes[0]), nodes[likely]
    low = max(float(kept[0]) - 1.5 * step, ends[0])
    high = min(float(kept[-1]) + 1.5 * step, ends[1])
    return _nodes(low, high, nodes.size)


def _posterior(
    by_cell: FloatArray, scatter_beforehand: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sum the posterior of mean (rows) and scatter, narrowing down on its bulk."""
    likelihood: FloatArray = np.exp(by_cell)
    grid = _Grid(_nodes(0.0, pi, MEANS), _nodes(LEAST_SCATTER, MOST_SCATTER, SCATTERS))
    log_weights = _log_weights(grid, likelihood, scatter_beforehand)
    for _ in range(NARROWINGS):
        grid = grid.around(log_weights > log_weights.max() - NEGLIGIBLE)
        log_weights = _log_weights(grid, likelihood, scatter_beforehand)
    weights: FloatArray = np.exp(log_weights - log_weights.max())
    return grid.means, grid.scatters, weights / weights.sum()


def _log_weights(
    grid: _Grid, likelihood: FloatArray, scatter_beforehand: float
) -> FloatArray:
    beforehand = -0.5 * (grid.scatters / scatter_beforehand) ** 2
    return _log_chance(grid.means, grid.scatters, likelihood) + beforehand


def _log_chance(
    means: FloatArray, scatters: FloatArray, likelihood: FloatArray
) -> FloatArray:
    """Give the log-chance of all runs at each mean and scatter."""
    recovered = np.sin(_angles(ANGLES) / 2) ** 2
    logs = np.log(recovered), np.log1p(-recovered)
    size = (1 / scatters**2 - 1)[None, :, None]
    a = means[:, None, None] * size
    b = size - a
    # The angle's own density takes half a power off either end.
    beta = (a - 0.5) * logs[0] + (b - 0.5) * logs[1]
    beta += gammaln(size) - gammaln(a) - gammaln(b)
    beta -= beta.max(axis=2, keepdims=True)
    np.exp(beta, out=beta)
    beta /= beta.sum(axis=2, keepdims=True)
    chance = np.log(np.maximum(beta @ likelihood.T, 1e-300))
    total: FloatArray = chance.sum(axis=2)
    return total


def _quantiles(
    values: FloatArray, weights: FloatArray, at: tuple[float, ...]
) -> list[float]:
    """Read quantiles off weighted values, midway through each weight."""
    order = np.argsort(values)
    middle = np.cumsum(weights[order]) - weights[order] / 2
    return [float(np.interp(p, middle, values[order])) for p in at]


def _alone(log_likelihood: FloatArray, tails: tuple[float, ...]) -> RunRecovery:
    weights = np.exp(log_likelihood)
    recovered = np.sin(_angles(weights.size) / 2) ** 2
    low, median, high = _quantiles(recovered, weights / weights.sum(), tails)
    return RunRecovery(median=median, low=low, high=high)
