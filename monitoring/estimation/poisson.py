"""Limits of a count whose only uncertainty is chance."""

from scipy import stats

from monitoring.estimation.validation import proportion, whole_counts


def poisson_limits(count: float, *, confidence: float = 0.95) -> tuple[float, float]:
    """Give the exact limits of the mean of a Poisson count.

    count: animals seen, whole and 0 or more. confidence: of both limits together, in
    (0, 1).

    They hold the mean at least as often as `confidence` says, whatever it is. Raises
    EstimationError if a precondition fails.
    Source: Garwood 1936, Biometrika 28:437-442; by quantiles of the gamma distribution.
    """
    whole_counts("count", [count])
    tail = (1 - proportion("confidence", confidence)) / 2
    # Nothing seen has no lower quantile; its limit is 0.
    low = float(stats.gamma.ppf(tail, count)) if count else 0.0
    return low, float(stats.gamma.isf(tail, count + 1))
