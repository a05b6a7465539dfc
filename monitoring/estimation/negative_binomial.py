"""The posterior of what is washed off, for negative binomial counts."""

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from monitoring.estimation.posterior import GridPosterior
from monitoring.estimation.priors import KPrior
from monitoring.estimation.validation import FloatArray

MEAN_NODES = 560
# How far the grid of ln m goes below the counts' own mean; it goes up to the prior's
# end. The grid is closest where the posterior stands: this is its unit.
REACH_BELOW = 14.0
REACH_ABOVE = 18.0
CROWDING = 4.0


@dataclass(frozen=True)
class WashedOff:
    """The posterior of animals washed off per unit, and of k."""

    posterior: GridPosterior
    k_median: float


def washed_off_posterior(
    counts: FloatArray, exposures: FloatArray, k_prior: KPrior, top: float
) -> WashedOff:
    """Integrate the negative binomial likelihood over k on a grid.

    counts: shape (bags,), animals seen. exposures: shape (bags,), units in the bag
    times the proportion counted, above 0. k_prior: of the bags' k. top: largest mean
    per unit that can be.

    The prior of the mean m given k is Jeffreys', sqrt(sum e/(m (1 + m e/k))), up to
    `top`. Raises nothing: arguments were checked.
    Source: thinning keeps k (Poisson-gamma mixture); Jeffreys 1946, Proc. R. Soc. A
    186:453-461.
    """
    total = float(counts.sum())
    centre = np.log(max(total, 0.25) / float(exposures.sum()))
    log_m = _mean_nodes(float(centre), float(np.log(top)))
    log_k = k_prior.log_nodes()
    joint = _log_joint(counts, exposures, log_m, log_k)
    joint += k_prior.log_density(log_k)[None, :]
    density = np.exp(joint - joint.max())
    of_mean = density @ _trapezoid_weights(log_k)
    of_k = _trapezoid_weights(log_m) @ density
    return WashedOff(
        posterior=GridPosterior(log_m, _cumulative(of_mean, log_m)),
        k_median=_median_of_k(of_k, log_k),
    )


def _mean_nodes(centre: float, log_top: float) -> FloatArray:
    """Place nodes of ln m, crowded about the centre, up to the prior's end."""
    low, high = centre - REACH_BELOW, log_top
    turn = np.sinh(CROWDING)
    start = -np.arcsinh((centre - low) / REACH_ABOVE * turn) / CROWDING
    end = np.arcsinh((high - centre) / REACH_ABOVE * turn) / CROWDING
    steps = np.linspace(start, end, MEAN_NODES)
    nodes: FloatArray = centre + REACH_ABOVE * np.sinh(CROWDING * steps) / turn
    return nodes


def _log_joint(
    counts: FloatArray, exposures: FloatArray, log_m: FloatArray, log_k: FloatArray
) -> FloatArray:
    """Log likelihood plus log prior of ln m given k; shape (means, ks)."""
    m, k = np.exp(log_m)[:, None], np.exp(log_k)[None, :]
    bags = counts.size
    seen, times = np.unique(counts, return_counts=True)
    of_k = times @ gammaln(seen[:, None] + k) - bags * gammaln(k[0])
    joint = counts.sum() * log_m[:, None] + (of_k + bags * k[0] * log_k)[None, :]
    information = np.zeros((log_m.size, log_k.size))
    for exposure in np.unique(exposures):
        here = exposures == exposure
        spread = m * exposure + k
        joint -= (counts[here].sum() + here.sum() * k) * np.log(spread)
        information += here.sum() * exposure * k / spread
    # sqrt(information / m), times m for the step from m to ln m.
    joint += 0.5 * (np.log(information) + log_m[:, None])
    log_joint: FloatArray = joint
    return log_joint


def _trapezoid_weights(nodes: FloatArray) -> FloatArray:
    weights = np.empty_like(nodes)
    steps = np.diff(nodes)
    weights[0], weights[-1] = steps[0] / 2, steps[-1] / 2
    weights[1:-1] = (steps[:-1] + steps[1:]) / 2
    return weights


def _cumulative(density: FloatArray, nodes: FloatArray) -> FloatArray:
    slices = (density[1:] + density[:-1]) / 2 * np.diff(nodes)
    total = np.concatenate([[0.0], np.cumsum(slices)])
    scaled: FloatArray = total / total[-1]
    return scaled


def _median_of_k(density: FloatArray, log_k: FloatArray) -> float:
    return float(np.exp(np.interp(0.5, _cumulative(density, log_k), log_k)))
