"""Which organism goes with the damage, and when the scores cannot tell."""

from dataclasses import dataclass
from enum import StrEnum
from math import exp, inf, isfinite, nan

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from monitoring.estimation import EstimationError
from monitoring.symptoms.calibration import calibrate
from monitoring.symptoms.proportional_odds import (
    FloatArray,
    IntArray,
    ProportionalOddsFit,
    fit_proportional_odds,
    profile_interval,
    standard_errors,
)
from monitoring.symptoms.separation import unbounded_slopes

# Leaves that count, for each slope: Harrell 2015, Regression Modeling Strategies, 2nd
# ed., ch. 4 (10 to 20; from memory). n - sum n_j^3 / n^2 leaves count of an ordinal
# score (same place).
LEAVES_A_SLOPE = 15
# An organism on fewer bags than this cannot be judged; chosen.
FEWEST_BAGS_WITH = 5
# With fewer rounds a sandwich is not to be trusted: rounds then have effects of their
# own and intervals are the likelihood's.
FEWEST_ROUNDS_ROBUST = 8
# Two organisms that rise and fall together this closely on leaves of a round are not
# told apart; measured by simulation (tests/monitoring/symptoms).
HIGHEST_CORRELATION = 0.7


class Why(StrEnum):
    """Why the scores cannot tell, or leave an organism out."""

    ONE_LEVEL = "one_level"
    TOO_FEW_BAGS = "too_few_bags"
    ALIKE_IN_ROUNDS = "alike_in_rounds"
    RARE = "rare"
    SEPARATED = "separated"
    TOGETHER = "together"
    NEITHER = "neither"


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """One organism's part: odds of a higher score for ten times the animals.

    `odds_ratio`, `low` and `high` are nan where it was left out, with `why`.
    """

    odds_ratio: float
    low: float
    high: float
    bags_with: int
    why: Why | None = None

    @property
    def goes_with(self) -> bool:
        """Whether more animals surely go with higher scores."""
        return self.low > 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Association:
    """What the scores say of each organism, in the order given.

    `named` are the places of the organisms that the damage goes with; empty with
    `why` where the scores cannot tell. `correlation` is that of the two organisms on
    leaves of the same round, nan for one organism.
    """

    effects: tuple[Effect, ...]
    named: tuple[int, ...]
    why: Why | None
    bags: int
    bags_counting: float
    rounds: int
    correlation: float
    by_likelihood: bool


def associate(
    scores: NDArray[np.int64],
    counts: FloatArray,
    shares: FloatArray,
    rounds: NDArray[np.int64],
    *,
    confidence: float = 0.95,
) -> Association:
    """Set symptom scores against animals, leaves of the same round compared.

    scores: (n,), levels of one scale. counts: (n, m), animals seen of m organisms on
    one leaf each. shares: (n, m), the share of a leaf's animals that is seen: recovery
    times proportion counted, in (0, 1]. rounds: (n,), which visit to which block a bag
    is of. confidence: of the intervals, in (0, 1).

    Columns are what is expected of log10(1 + animals), less its mean in the round; what
    rounds differ in is held by further columns. Raises EstimationError if a
    precondition fails.
    Source: proportional odds (McCullagh 1980); within and between groups as Mundlak
    1978, Econometrica 46:69-85 (from memory); calibration.py.
    """
    _look_at(scores, counts, shares, rounds, confidence=confidence)
    levels = np.unique(scores, return_inverse=True)[1].astype(np.int64)
    places = np.unique(rounds, return_inverse=True)[1].astype(np.int64)
    facts = _Facts(levels, counts, shares, places, (counts > 0).sum(axis=0))
    why = facts.too_little()
    if why is not None:
        return facts.cannot_tell(why)
    if facts.by_likelihood:
        facts = facts.informative()
    return _judged(facts, confidence)


def _look_at(
    scores: NDArray[np.int64],
    counts: FloatArray,
    shares: FloatArray,
    rounds: NDArray[np.int64],
    *,
    confidence: float,
) -> None:
    if counts.ndim != 2 or counts.shape[1] < 1:
        raise EstimationError("counts", "must have a row a bag, a column an organism")
    if not (np.isfinite(counts).all() and (counts >= 0).all()):
        raise EstimationError("counts", "must be finite, 0 or more")
    if shares.shape != counts.shape or not ((shares > 0) & (shares <= 1)).all():
        raise EstimationError("shares", "must be as counts, above 0 and at most 1")
    if scores.shape != counts.shape[:1] or rounds.shape != scores.shape:
        raise EstimationError("scores", "must be as many as counts and rounds")
    if not 0 < confidence < 1:
        raise EstimationError("confidence", "must lie between 0 and 1")


@dataclass(frozen=True, slots=True)
class _Facts:
    """Levels 0, 1, ..., counts and shares (n, m), places of rounds, bags with each."""

    levels: IntArray
    counts: FloatArray
    shares: FloatArray
    places: IntArray
    bags_with: NDArray[np.int64]

    @property
    def counting(self) -> float:
        """How many leaves the scores are worth (Harrell, as above)."""
        sizes = np.bincount(self.levels).astype(float)
        n = float(sizes.sum())
        return n - float((sizes**3).sum()) / n**2 if n else 0.0

    @property
    def rounds(self) -> int:
        return int(np.unique(self.places).size)

    @property
    def telling(self) -> NDArray[np.bool_]:
        """Which leaves are of a round whose leaves do not all score alike."""
        highest = np.full(int(self.places.max(initial=0)) + 1, -1)
        lowest = np.full(highest.size, np.iinfo(np.int64).max)
        np.maximum.at(highest, self.places, self.levels)
        np.minimum.at(lowest, self.places, self.levels)
        return (highest > lowest)[self.places]

    @property
    def by_likelihood(self) -> bool:
        return np.unique(self.places[self.telling]).size < FEWEST_ROUNDS_ROBUST

    def informative(self) -> "_Facts":
        """Keep rounds whose leaves differ; own effects take all that others say."""
        kept = self.telling
        return _Facts(
            np.unique(self.levels[kept], return_inverse=True)[1].astype(np.int64),
            self.counts[kept],
            self.shares[kept],
            np.unique(self.places[kept], return_inverse=True)[1].astype(np.int64),
            (self.counts[kept] > 0).sum(axis=0),
        )

    def too_little(self) -> Why | None:
        if np.unique(self.levels).size < 2:
            return Why.ONE_LEVEL
        if not self.telling.any():
            return Why.ALIKE_IN_ROUNDS
        judged = self.informative() if self.by_likelihood else self
        wanted = LEAVES_A_SLOPE * self.counts.shape[1]
        return Why.TOO_FEW_BAGS if judged.counting < wanted else None

    def cannot_tell(self, why: Why) -> Association:
        return Association(
            effects=tuple(_left_out(int(number), why) for number in self.bags_with),
            named=(),
            why=why,
            bags=self.levels.size,
            bags_counting=self.counting,
            rounds=self.rounds,
            correlation=nan,
            by_likelihood=self.by_likelihood,
        )


def _judged(facts: _Facts, confidence: float) -> Association:
    judged = [
        place
        for place, number in enumerate(facts.bags_with)
        if number >= FEWEST_BAGS_WITH
    ]
    if not judged:
        return facts.cannot_tell(Why.RARE)
    known = calibrate(facts.counts[:, judged], facts.shares[:, judged], facts.places)
    columns = np.hstack([known.within, _of_rounds(facts, known.means)])
    found = _effects(facts, judged, columns, confidence)
    effects = tuple(
        found.get(place, _left_out(int(number), Why.RARE))
        for place, number in enumerate(facts.bags_with)
    )
    why = _why(effects, known.correlation)
    return Association(
        effects=effects,
        named=()
        if why
        else tuple(place for place, one in enumerate(effects) if one.goes_with),
        why=why,
        bags=facts.levels.size,
        bags_counting=facts.counting,
        rounds=facts.rounds,
        correlation=known.correlation,
        by_likelihood=facts.by_likelihood,
    )


def _effects(
    facts: _Facts, judged: list[int], columns: FloatArray, confidence: float
) -> dict[int, Effect]:
    slopes = list(range(len(judged)))
    endless = unbounded_slopes(facts.levels, columns, slopes)
    fit = fit_proportional_odds(facts.levels, columns)
    robust = None if facts.by_likelihood else _robust_errors(fit, facts.places)
    found = {}
    for slope, place in enumerate(judged):
        number = int(facts.bags_with[place])
        if endless[slope]:
            found[place] = _left_out(number, Why.SEPARATED)
            continue
        low, high = _interval(
            fit, facts, columns, slope, robust=robust, confidence=confidence
        )
        found[place] = Effect(
            odds_ratio=_odds(float(fit.slopes[slope])),
            low=_odds(low),
            high=_odds(high),
            bags_with=number,
        )
    return found


def _of_rounds(facts: _Facts, means: FloatArray) -> FloatArray:
    """Give the columns that hold what rounds differ in; none for one round."""
    if not facts.by_likelihood:
        varied: FloatArray = means[:, np.ptp(means, axis=0) > 0]
        return varied
    first_left_out = np.arange(1, facts.rounds)
    own: FloatArray = (facts.places[:, None] == first_left_out).astype(np.float64)
    return own


def _robust_errors(fit: ProportionalOddsFit, places: IntArray) -> FloatArray:
    """Give the larger of the sandwich's and the model's errors, for few rounds."""
    both = np.vstack([standard_errors(fit, places), standard_errors(fit)])
    largest: FloatArray = both.max(axis=0)
    return largest


def _interval(
    fit: ProportionalOddsFit,
    facts: _Facts,
    columns: FloatArray,
    slope: int,
    *,
    robust: FloatArray | None,
    confidence: float,
) -> tuple[float, float]:
    if robust is None or not isfinite(robust[slope]):
        return profile_interval(
            fit, facts.levels, columns, slope, confidence=confidence
        )
    reach = float(stats.t.ppf((1 + confidence) / 2, facts.rounds - 1)) * robust[slope]
    centre = float(fit.slopes[slope])
    return centre - reach, centre + reach


def _left_out(bags_with: int, why: Why) -> Effect:
    return Effect(odds_ratio=nan, low=nan, high=nan, bags_with=bags_with, why=why)


def _odds(slope: float) -> float:
    return exp(slope) if slope < 700 else inf


def _why(effects: tuple[Effect, ...], correlation: float) -> Why | None:
    if any(one.why is Why.SEPARATED for one in effects):
        return Why.SEPARATED
    if abs(correlation) > HIGHEST_CORRELATION:
        return Why.TOGETHER
    return None if any(one.goes_with for one in effects) else Why.NEITHER
