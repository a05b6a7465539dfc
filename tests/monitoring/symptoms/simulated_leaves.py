"""Leaves with a known cause of their damage."""

import numpy as np
from numpy.typing import NDArray
from scipy import stats

# What is seen: recovery times the part of the dish counted. Of rust mites a few cells
# are counted, of thrips the whole dish; as laboratories do, and unequal on purpose.
SEEN = np.array([0.085, 0.85])
# Log odds of a higher score for ten times the animals that cause it.
EFFECT = 2.5


def simulate(
    rng: np.random.Generator,
    causes: tuple[int, int],
    *,
    together: float,
    rounds: int = 12,
    leaves: int = 15,
) -> tuple[
    NDArray[np.int64], NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]
]:
    """Draw scores, counts of rust mites and thrips, shares seen, and rounds.

    causes: which organisms cause damage, 1 or 0 each. together: correlation of the two
    on leaves of a round. Both organisms and other damage grow through the season, so
    rounds alone would mislead.
    """
    place = np.repeat(np.arange(rounds), leaves)
    season = rng.uniform(0, 1, rounds)
    middle = np.column_stack([np.log(5) + 4 * season, 2 * season])
    middle += rng.normal(0, 0.7, (rounds, 2))
    shared = rng.multivariate_normal(
        [0, 0], [[1, together], [together, 1]], size=len(place)
    )
    # Clumped within the round: a gamma of shape 1 on each leaf (k = 1).
    living = rng.poisson(np.exp(middle)[place] * stats.expon.isf(stats.norm.sf(shared)))
    felt = EFFECT * np.log10(1 + living) @ np.array(causes) + 2 * season[place]
    felt += rng.normal(0, 0.5, rounds)[place] + rng.logistic(size=len(place))
    scores = np.digitize(felt, np.quantile(felt, [0.35, 0.6, 0.8, 0.93]))
    seen = rng.binomial(living, SEEN).astype(float)
    return scores, seen, np.tile(SEEN, (len(place), 1)), place
