"""How clumped the counts of many rounds are, each bag with its own counted share."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, isnan, nan, sqrt

import numpy as np
from scipy import stats
from scipy.special import gammaincc, gammainccinv, gammaln

from monitoring.estimation.validation import (
    EstimationError,
    FloatArray,
    Numbers,
    each_bag,
    positive,
    proportion,
    whole_counts,
)

# ln k is sought within these ends: clumped beyond use, and as good as Poisson's.
LOG_K_LOW, LOG_K_HIGH = float(np.log(1e-4)), float(np.log(1e5))
FIRST_NODES, ZOOM_NODES, ZOOMS = 71, 9, 9
# Half the step at which the curvature of the likelihood is taken, in ln k.
CURVATURE_STEP = 0.02
# Newton's steps for ln m, and how small the last one is.
NEWTON_STEPS, SMALLEST_STEP = 40, 1e-10


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundFit:
    """Mean, variance and k of one round's bags, per unit and with all counted.

    k is inf where the bags differ no more than chance makes them, nan where no animal
    was counted. `variance` is what whole counts would show; it is below 0 where counts
    of parts differ less than parts must.
    """

    bags: int
    animals: int
    mean: float
    variance: float
    k: float
    k_standard_error: float
    k_by_moments: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Clumping:
    """Many rounds, and the one k that fits them together.

    `alike` is the chance of rounds that differ so much in k if all had the common one;
    nan for fewer than two rounds with animals.
    """

    rounds: tuple[RoundFit, ...]
    common_k: float
    common_k_standard_error: float
    alike: float


def held_by_fullest(k: float, *, share: float = 0.2) -> float:
    """Give what share of all animals the fullest units hold, where animals are many.

    k: above 0, inf for animals that do not clump. share: of the units, in (0, 1).

    Raises EstimationError if a precondition fails.
    Source: Lorenz curve of the gamma distribution that a negative binomial mixes.
    """
    proportion("share", share)
    if k == inf:
        return share
    positive("k", k)
    least_held = float(gammainccinv(k, share))
    return float(gammaincc(k + 1, least_held))


def fit_clumping(
    rounds: Sequence[Numbers],
    *,
    exposures: Sequence[Numbers | float] | float = 1.0,
) -> Clumping:
    """Fit mean and k to each round, and one k to all of them.

    rounds: count arrays, whole, 0 or more. exposures: one value, or a list by round of
    one value or one a bag: units in the bag times the share of the wash looked at,
    above 0. Means and variances are per unit of exposure.

    Raises EstimationError for no rounds, none with an animal, or exposures that do not
    fit.
    Source: counting a share c of a negative binomial with mean m and k leaves one with
    mean m c and the same k (Poisson-gamma mixture), so each bag's likelihood holds its
    own share; Bliss & Owen 1958, Biometrika 45:37-58, for one k of several samples,
    here by maximum likelihood.
    """
    seen, shares = _padded(rounds, exposures)
    used = seen.sum(axis=1) > 0
    if not used.any():
        raise EstimationError("rounds", "hold no animal: k cannot be told from zeros")
    fits = _moments(seen, shares)
    log_k, errors, tops = _best_by_round(seen[used], shares[used])
    for row, at, error in zip(np.flatnonzero(used), log_k, errors, strict=True):
        fits[row] = _with_k(fits[row], float(at), float(error))
    return _together(fits, seen[used], shares[used], tops)


def _padded(
    rounds: Sequence[Numbers], exposures: Sequence[Numbers | float] | float
) -> tuple[FloatArray, FloatArray]:
    """Lay rounds in rows as long as the longest; what is added is not exposed."""
    counts = [whole_counts("rounds", one) for one in rounds]
    if not counts:
        raise EstimationError("rounds", "must hold one round or more")
    sizes = np.array([one.size for one in counts])
    by_round = (
        [exposures] * len(counts) if isinstance(exposures, int | float) else exposures
    )
    if len(by_round) != len(counts):
        raise EstimationError(
            "exposures", f"has {len(by_round)} entries for {len(counts)} rounds"
        )
    row = each_bag("exposures", list(by_round), sizes)
    if (row <= 0).any():
        raise EstimationError("exposures", "must be above 0")
    place = np.arange(sizes.max()) < sizes[:, None]
    seen, shares = np.zeros(place.shape), np.zeros(place.shape)
    seen[place], shares[place] = np.concatenate(counts), row
    return seen, shares


def _moments(seen: FloatArray, shares: FloatArray) -> list[RoundFit]:
    """Give rounds' means, variances and k by moments, freed of what parts add.

    With all of a round's shares alike this is the usual unbiased variance, less the
    part that thinning gave: V = m + p where a bag of share c varies by c m + c^2 p.
    """
    exposed = shares.sum(axis=1)
    means = seen.sum(axis=1) / exposed
    residuals = ((seen - shares * means[:, None]) ** 2).sum(axis=1)
    squares = (shares**2).sum(axis=1)
    lost = 1 - 2 * shares / exposed[:, None] + (squares / exposed**2)[:, None]
    room = (shares**2 * lost).sum(axis=1)
    bags = (shares > 0).sum(axis=1)
    chance = means * (shares * lost).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        extra = np.where(bags > 1, (residuals - chance) / room, nan)
    return [
        RoundFit(
            bags=int(bags[row]),
            animals=int(seen[row].sum()),
            mean=float(means[row]),
            variance=float(means[row] + extra[row]),
            k=nan,
            k_standard_error=nan,
            k_by_moments=_ratio(float(means[row]), float(extra[row])),
        )
        for row in range(bags.size)
    ]


def _ratio(mean: float, extra: float) -> float:
    if mean == 0 or isnan(extra):
        return nan
    return mean**2 / extra if extra > 0 else inf


def _with_k(fit: RoundFit, log_k: float, error: float) -> RoundFit:
    k = inf if log_k == inf else exp(log_k)
    return RoundFit(
        bags=fit.bags,
        animals=fit.animals,
        mean=fit.mean,
        variance=fit.variance,
        k=k,
        # The error of ln k, carried over.
        k_standard_error=inf if k == inf else k * error,
        k_by_moments=fit.k_by_moments,
    )


def _profile(seen: FloatArray, shares: FloatArray, log_k: FloatArray) -> FloatArray:
    """Give each round's log likelihood at nodes of ln k, the mean at its best.

    seen, shares: shape (rounds, bags). log_k: shape (rounds, nodes). Terms without k or
    mean are left out.
    """
    k = np.exp(log_k)[:, :, None]
    counts, exposed = seen[:, None, :], shares[:, None, :]
    log_mean = _best_log_means(seen, shares, np.exp(log_k))
    odds = np.exp(log_mean)[:, :, None] * exposed / k
    known = np.where(exposed > 0, odds, 1.0)
    terms = (
        gammaln(counts + k)
        - gammaln(k)
        + counts * np.log(known)
        - (counts + k) * np.log1p(odds)
    )
    total: FloatArray = terms.sum(axis=2)
    return total


def _best_log_means(seen: FloatArray, shares: FloatArray, k: FloatArray) -> FloatArray:
    """Solve for the best ln m given k; the likelihood is concave in it.

    shape (rounds, nodes). With all of a round's shares alike the start is the answer.
    """
    counts, exposed = seen[:, None, :], shares[:, None, :]
    start = np.log(seen.sum(axis=1) / shares.sum(axis=1))
    log_mean: FloatArray = np.repeat(start[:, None], k.shape[1], axis=1)
    for _ in range(NEWTON_STEPS):
        expected = np.exp(log_mean)[:, :, None] * exposed
        weight = k[:, :, None] / (k[:, :, None] + expected)
        slope = ((counts - expected) * weight).sum(axis=2)
        curve = ((counts + k[:, :, None]) * (1 - weight) * weight).sum(axis=2)
        step = np.clip(slope / curve, -1, 1)
        log_mean += step
        if np.abs(step).max() < SMALLEST_STEP:
            break
    return log_mean


def _best_by_round(
    seen: FloatArray, shares: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Find each round's ln k, the error of it, and the likelihood there.

    ln k is inf where counts differ no more than Poisson's, or so little more that no k
    within reach says so.
    """
    best = _zoom(seen, shares)
    middle = best[:, None] + np.array([-1, 0, 1]) * 2 * CURVATURE_STEP
    heights = _profile(seen, shares, middle)
    bend = heights[:, 0] - 2 * heights[:, 1] + heights[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        errors = np.where(bend < 0, 2 * CURVATURE_STEP / np.sqrt(-bend), inf)
    means = (seen.sum(axis=1) / shares.sum(axis=1))[:, None] * shares
    even = ((seen - means) ** 2 - seen).sum(axis=1) <= 0
    without = even | (best > LOG_K_HIGH - 0.5)
    return np.where(without, inf, best), errors, heights[:, 1]


def _zoom(seen: FloatArray, shares: FloatArray) -> FloatArray:
    nodes = np.linspace(LOG_K_LOW, LOG_K_HIGH, FIRST_NODES)
    step = nodes[1] - nodes[0]
    every = np.repeat(nodes[None, :], seen.shape[0], axis=0)
    best = nodes[_profile(seen, shares, every).argmax(axis=1)]
    around = np.linspace(-1, 1, ZOOM_NODES)
    for _ in range(ZOOMS):
        every = best[:, None] + step * around
        heights = _profile(seen, shares, every)
        best = every[np.arange(best.size), heights.argmax(axis=1)]
        step *= 2 / (ZOOM_NODES - 1)
    within: FloatArray = np.clip(best, LOG_K_LOW, LOG_K_HIGH)
    return within


def _together(
    fits: list[RoundFit], seen: FloatArray, shares: FloatArray, tops: FloatArray
) -> Clumping:
    """Find the k at which the rounds' likelihoods together are highest."""

    def height(log_k: FloatArray) -> FloatArray:
        every = np.repeat(log_k[None, :], seen.shape[0], axis=0)
        together: FloatArray = _profile(seen, shares, every).sum(axis=0)
        return together

    nodes = np.linspace(LOG_K_LOW, LOG_K_HIGH, FIRST_NODES)
    best, step = float(nodes[height(nodes).argmax()]), float(nodes[1] - nodes[0])
    for _ in range(ZOOMS):
        at = best + step * np.linspace(-1, 1, ZOOM_NODES)
        best = float(at[height(at).argmax()])
        step *= 2 / (ZOOM_NODES - 1)
    low, top, high = height(best + np.array([-1, 0, 1]) * 2 * CURVATURE_STEP)
    bend = float(low - 2 * top + high)
    clumped = best < LOG_K_HIGH - 0.5
    error = exp(best) * 2 * CURVATURE_STEP / sqrt(-bend) if bend < 0 else inf
    drop = max(0.0, 2 * float(tops.sum() - top))
    freedom = seen.shape[0] - 1
    return Clumping(
        rounds=tuple(fits),
        common_k=exp(best) if clumped else inf,
        common_k_standard_error=error if clumped else inf,
        alike=float(stats.chi2.sf(drop, freedom)) if freedom else nan,
    )
