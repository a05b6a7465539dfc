"""How numbers may have run between rounds and may run on: a smooth path with a rate.

ln(mean per unit) is a path whose rate of growth wanders slowly about what is usual. A
round sees the path through its counts and through noise of its own day. Both are
integrated: rounds by expectation propagation, the noise over a few values.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from monitoring.estimation.round_likelihoods import LOG_MEAN_STEP, LOG_MEANS
from monitoring.estimation.validation import FloatArray

# Noise of a day (standard deviation of its ln mean about the path) and how likely each
# is held beforehand: leaves of one day have more in common than clumping alone.
NOISES: FloatArray = np.array([0.05, 0.15, 0.30, 0.60])
NOISE_WEIGHTS: FloatArray = np.array([0.20, 0.35, 0.35, 0.10])
# What is held of the path's level: as good as nothing, about the newest round's mean.
LEVEL_VARIANCE = 16.0
SWEEPS, DAMPING = 8, 0.8
LEAST_PRECISION = 1e-5
# Quantiles are sought so far out, by halving so often.
FARTHEST_DEVIATE, HALVINGS = 8.0, 30
TINY = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualGrowth:
    """What is held of the rate of growth before a season's counts are seen.

    mean, sd: of the rate, per day. keeps_for_days: rates of two days so far apart are
    correlated by exp(-1).
    """

    mean: float
    sd: float
    keeps_for_days: float


@dataclass(frozen=True, slots=True)
class Outlook:
    """Normal distributions of something on some days, one set for each noise.

    weights: shape (noises,). means, deviations: shape (noises, days).
    """

    weights: FloatArray
    means: FloatArray
    deviations: FloatArray

    def chance_above(self, level: float) -> FloatArray:
        """Give the chance of being above a level; shape (days,)."""
        chance: FloatArray = self.weights @ ndtr((self.means - level) / self.deviations)
        return chance

    def quantiles(self, probabilities: FloatArray) -> FloatArray:
        """Give what is not exceeded with probabilities; (probabilities, days)."""
        wanted = probabilities[:, None]
        shape = (probabilities.size, self.means.shape[1])
        reach = FARTHEST_DEVIATE * self.deviations
        low = np.broadcast_to((self.means - reach).min(axis=0), shape)
        high = np.broadcast_to((self.means + reach).max(axis=0), shape)
        means, deviations = self.means[:, None, :], self.deviations[:, None, :]
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            chances = ndtr((middle - means) / deviations)
            below = np.tensordot(self.weights, chances, axes=1) < wanted
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        found: FloatArray = (low + high) / 2
        return found


@dataclass(frozen=True, slots=True)
class GrowthPaths:
    """The path given all rounds, ready to be looked at on any day.

    days: shape (rounds,), from the newest round, so that the last is 0.
    weights: shape (noises,). covariances: shape (noises, rounds, rounds), of the path
    at the rounds with what the rounds leave open. solved: shape (noises, rounds).
    """

    usual: UsualGrowth
    days: FloatArray
    level: float
    weights: FloatArray
    covariances: FloatArray
    solved: FloatArray

    def log_means(self, ahead_days: FloatArray) -> Outlook:
        """Give ln of the mean per unit on days from the newest round."""
        across = _level_and_growth(self.usual, self.days, ahead_days)
        alone = LEVEL_VARIANCE + _grown_alone(self.usual, ahead_days)
        return self._outlook(self.level + self.usual.mean * ahead_days, across, alone)

    def rate_now(self) -> Outlook:
        """Give the rate of growth at the newest round, per day."""
        keeps = self.usual.keeps_for_days
        reach = keeps * (1 - np.exp(-np.abs(self.days) / keeps))
        across = self.usual.sd**2 * np.sign(self.days) * reach
        alone = np.array([self.usual.sd**2])
        return self._outlook(np.array([self.usual.mean]), across[:, None], alone)

    def _outlook(
        self, middle: FloatArray, across: FloatArray, alone: FloatArray
    ) -> Outlook:
        means = middle + self.solved @ across
        known = np.linalg.solve(
            self.covariances,
            np.broadcast_to(across, (len(self.weights), *across.shape)),
        )
        variances = alone - np.einsum("ru,nru->nu", across, known)
        return Outlook(self.weights, means, np.sqrt(np.maximum(variances, 1e-12)))


def follow_growth(
    days: FloatArray, likelihoods: FloatArray, usual: UsualGrowth
) -> GrowthPaths:
    """Find the path of ln(mean per unit) through the rounds of a season.

    days: shape (rounds,), rising, in days. likelihoods: shape (rounds, nodes), of the
    means at LOG_MEANS. usual: what is held of the rate beforehand.

    Raises nothing: arguments were checked.
    Source: Gaussian process whose rate is an Ornstein-Uhlenbeck process, with
    expectation propagation (Rasmussen & Williams 2006, Gaussian Processes for Machine
    Learning, ch. 3.6), run in parallel over noises.
    """
    back = days - days[-1]
    level = float(likelihoods[-1] @ LOG_MEANS / likelihoods[-1].sum())
    prior = _level_and_growth(usual, back, back)
    middle = level + usual.mean * back
    seen = _through_noise(likelihoods)
    sites = _first_sites(seen)
    last = _Tilted.of(prior, middle, sites, seen)
    for sweep in range(SWEEPS):
        sites = sites.moved_to(last.sites(), 1.0 if sweep == 0 else DAMPING)
        last = _Tilted.of(prior, middle, sites, seen)
    covariances = prior + sites.variances()
    apart = sites.centres() - middle
    solved = np.linalg.solve(covariances, apart[..., None])[..., 0]
    evidence = last.evidence(sites) - (apart * solved).sum(axis=1) / 2
    evidence -= np.linalg.slogdet(covariances)[1] / 2
    logs = np.log(NOISE_WEIGHTS) + evidence
    weights = np.exp(logs - logs.max())
    return GrowthPaths(usual, back, level, weights / weights.sum(), covariances, solved)


def _level_and_growth(
    usual: UsualGrowth, rows: FloatArray, columns: FloatArray
) -> FloatArray:
    """Covariances of the path between days, both counted from the newest round."""
    keeps = usual.keeps_for_days
    one, other = rows[:, None], columns[None, :]
    far, away = np.abs(one), np.abs(other)
    gone, left = np.exp(-far / keeps), np.exp(-away / keeps)
    same_side = 2 * np.minimum(far, away) / keeps - 1 + gone + left
    same_side -= np.exp(-np.abs(one - other) / keeps)
    growth = np.where(one * other >= 0, same_side, -(1 - gone) * (1 - left))
    covariance: FloatArray = LEVEL_VARIANCE + (usual.sd * keeps) ** 2 * growth
    return covariance


def _grown_alone(usual: UsualGrowth, ahead: FloatArray) -> FloatArray:
    """Variance of what is grown from the newest round to each day."""
    share = np.abs(ahead) / usual.keeps_for_days
    grown: FloatArray = (usual.sd * usual.keeps_for_days) ** 2 * (
        2 * share - 2 + 2 * np.exp(-share)
    )
    return grown


@lru_cache(maxsize=1)
def _smoothing() -> FloatArray:
    """Weights that spread a likelihood by each noise; (noises, nodes, nodes)."""
    apart = LOG_MEANS[:, None] - LOG_MEANS[None, :]
    weights = np.exp(-((apart / NOISES[:, None, None]) ** 2) / 2)
    spread: FloatArray = weights / weights.sum(axis=1, keepdims=True)
    return spread


def _through_noise(likelihoods: FloatArray) -> FloatArray:
    """Likelihoods of the path itself; shape (noises, rounds, nodes)."""
    seen: FloatArray = np.matmul(likelihoods[None], _smoothing())
    return seen


@dataclass(frozen=True, slots=True)
class _Sites:
    """Each round as a normal distribution about the path; shape (noises, rounds)."""

    precisions: FloatArray
    shifts: FloatArray

    def centres(self) -> FloatArray:
        return self.shifts / self.precisions

    def variances(self) -> FloatArray:
        size = self.precisions.shape[1]
        diagonal: FloatArray = np.eye(size) / self.precisions[:, None, :]
        return diagonal

    def moved_to(self, other: "_Sites", share: float) -> "_Sites":
        return _Sites(
            (1 - share) * self.precisions + share * other.precisions,
            (1 - share) * self.shifts + share * other.shifts,
        )


def _first_sites(seen: FloatArray) -> _Sites:
    shares = seen / seen.sum(axis=-1, keepdims=True)
    centres = shares @ LOG_MEANS
    variances = shares @ LOG_MEANS**2 - centres**2
    return _Sites(1 / variances, centres / variances)


@dataclass(frozen=True, slots=True)
class _Tilted:
    """Each round's own likelihood against what all others say of its day."""

    cavity_means: FloatArray
    cavity_variances: FloatArray
    means: FloatArray
    variances: FloatArray
    masses: FloatArray

    @classmethod
    def of(
        cls, prior: FloatArray, middle: FloatArray, sites: _Sites, seen: FloatArray
    ) -> "_Tilted":
        total = prior + sites.variances()
        known = np.linalg.solve(total, np.broadcast_to(prior, total.shape))
        spread = np.diagonal(prior - prior @ known, axis1=1, axis2=2)
        apart = (sites.centres() - middle)[..., None]
        found = middle + (prior @ np.linalg.solve(total, apart))[..., 0]
        precisions = np.maximum(1 / spread - sites.precisions, 1e-4)
        cavity_means = (found / spread - sites.shifts) / precisions
        away = LOG_MEANS - cavity_means[..., None]
        tilted = np.exp(-(away**2) * precisions[..., None] / 2) * seen
        sums = tilted.sum(axis=-1)
        masses = sums * LOG_MEAN_STEP * np.sqrt(precisions / (2 * np.pi))
        shares = tilted / (sums[..., None] + TINY)
        means = shares @ LOG_MEANS
        variances = np.maximum(shares @ LOG_MEANS**2 - means**2, 1e-6)
        return cls(cavity_means, 1 / precisions, means, variances, masses)

    def sites(self) -> _Sites:
        """Give the normal distributions that would leave the same two moments."""
        # A round whose likelihood is wide and skewed moves the mean, and is not
        # allowed to take from what the others say of the spread.
        held = 1 / self.cavity_variances
        found = np.maximum(1 / self.variances - held, LEAST_PRECISION)
        # Where that was cut the mean is kept all the same.
        return _Sites(found, self.means * (held + found) - self.cavity_means * held)

    def evidence(self, sites: _Sites) -> FloatArray:
        """Give the rounds' part of the logarithm of the evidence; shape (noises,)."""
        both = self.cavity_variances + 1 / sites.precisions
        apart = (self.cavity_means - sites.centres()) ** 2
        parts = np.log(self.masses + TINY) + np.log(both) / 2 + apart / both / 2
        total: FloatArray = parts.sum(axis=1)
        return total
