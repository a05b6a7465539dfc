"""The path of growth by plain summation over a grid: slow, and written independently.

Three rounds, one noise after another: ln means of the three days on a grid, the prior
of the path by quadrature of the rate's covariance, counts summed leaf by leaf.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import integrate, stats

FloatArray = NDArray[np.float64]


def likelihood(
    counts: list[int],
    exposure: float,
    log_means: FloatArray,
    k_ends: tuple[float, float],
) -> FloatArray:
    log_k = np.linspace(np.log(k_ends[0]), np.log(k_ends[1]), 400)
    total = np.zeros_like(log_means)
    for k in np.exp(log_k):
        mean = np.exp(log_means) * exposure
        chance = np.ones_like(log_means)
        for count in counts:
            chance = chance * stats.nbinom.pmf(count, k, k / (k + mean))
        total += chance
    return total


def through_noise(values: FloatArray, log_means: FloatArray, sd: float) -> FloatArray:
    apart = log_means[:, None] - log_means[None, :]
    return np.asarray(stats.norm.pdf(apart, scale=sd) @ values)


def grown(u: float, v: float, *, sd: float, keeps: float) -> float:
    """Covariance of what is grown from day 0 to u and to v, by quadrature."""
    steps = np.linspace(0, 1, 801)
    one, other = u * steps, v * steps
    rates = sd**2 * np.exp(-np.abs(one[:, None] - other[None, :]) / keeps)
    inner = integrate.simpson(rates, x=other, axis=1) if v else np.zeros(801)
    return float(integrate.simpson(inner, x=one)) if u else 0.0


def covariance(
    days: list[float], *, level: float, sd: float, keeps: float
) -> FloatArray:
    return np.array(
        [[level + grown(u, v, sd=sd, keeps=keeps) for v in days] for u in days]
    )
