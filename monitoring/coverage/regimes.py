"""The worlds in which intervals are tried: how leaves differ, how they are counted."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from monitoring.estimation import BetaRecovery
from monitoring.estimation.validation import FloatArray

# The recovery of a wash and what is held of it: 80 to 90 percent, common practice.
RECOVERY = 0.85
HELD_RECOVERY = BetaRecovery(162.15, 27.83)
# Beyond this many animals in the wash, a tenth of the dish is looked at.
MANY_ANIMALS, PART = 200, 0.1
# Cells looked at of those of the dish, and how clumped animals lie in them.
CELLS, CELLS_IN_DISH, CELL_K = 20, 208, 2.0
EMPTY_SHARE = 0.4
# Recovery from leaf to leaf: mean 0.85, deviation 0.08.
UNLIKE_RECOVERY = (16.08, 2.84)
LEAVES = (5, 10, 20, 40)
KS = (0.15, 0.5, 1.0, 3.0)

Animals: TypeAlias = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Regime:
    """One world: leaves, their mean, how they are washed and counted.

    family: the table's heading. shape: "clumped" (negative binomial), "lognormal" or
    "empty leaves" (clumped, and a share empty for another reason). clumping: k, or
    sigma of lognormal leaves. mean: animals on a leaf.
    """

    family: str
    shape: str
    clumping: float
    leaves: int
    mean: float
    counting: str = "whole dish"
    recovery: str = "known"

    @property
    def name(self) -> str:
        """A text by which the regime is known, also to the seed."""
        parts = [self.family, self.shape, self.clumping, self.leaves, self.mean]
        return " / ".join(map(str, [*parts, self.counting, self.recovery]))


@dataclass(frozen=True)
class Counted:
    """Counts of many sets of leaves; both arrays are of shape (sets, leaves)."""

    counts: FloatArray
    proportions: FloatArray


# Heading, shape, leaves, k or sigma, means, and ways of counting with recoveries.
FAMILIES = (
    (
        "clumped leaves",
        "clumped",
        (LEAVES, KS, (5.0, 50.0, 100.0, 1000.0)),
        (("whole dish", "known"), ("whole dish", "held")),
    ),
    ("sparse", "clumped", (LEAVES, KS, (0.05, 0.5)), (("whole dish", "known"),)),
    (
        "clumped in the dish",
        "clumped",
        ((10, 20), KS, (50.0, 1000.0)),
        (("some cells", "known"),),
    ),
    (
        "part chosen after a look",
        "clumped",
        (LEAVES, KS, (50.0, 200.0, 1000.0)),
        (("after a look", "known"),),
    ),
    (
        "recovery unlike from leaf to leaf",
        "clumped",
        ((10, 40), KS, (50.0, 1000.0)),
        (("whole dish", "unlike"),),
    ),
    (
        "lognormal leaves",
        "lognormal",
        ((8, 10, 20, 40), (0.8, 1.3), (5.0, 50.0, 1000.0)),
        (("whole dish", "known"),),
    ),
    (
        "leaves empty for another reason",
        "empty leaves",
        (LEAVES, (0.5, 1.0), (5.0, 50.0)),
        (("whole dish", "known"),),
    ),
)


def every_regime() -> Iterator[Regime]:
    """Give all regimes of the table, family by family."""
    for family, shape, sizes, ways in FAMILIES:
        for leaves, clumping, mean, (counting, recovery) in product(*sizes, ways):
            yield Regime(
                family=family,
                shape=shape,
                clumping=clumping,
                leaves=leaves,
                mean=mean,
                counting=counting,
                recovery=recovery,
            )


def count_sets(
    regime: Regime,
    sets: int,
    chance: np.random.Generator,
    *,
    means: FloatArray | None = None,
) -> Counted:
    """Make up sets of leaves of a regime, wash and count them.

    means: shape (sets,), of each set in place of the regime's.
    """
    of_set = np.full(sets, regime.mean) if means is None else means
    on_leaf = _on_leaves(regime, of_set[:, None], chance)
    washed = chance.binomial(on_leaf, _recoveries(regime, on_leaf.shape, chance))
    if regime.counting == "after a look":
        proportions = np.where(washed > MANY_ANIMALS, PART, 1.0)
        seen = chance.binomial(washed, proportions)
    elif regime.counting == "some cells":
        proportions = np.full(washed.shape, CELLS / CELLS_IN_DISH)
        rest = CELL_K * (CELLS_IN_DISH - CELLS)
        seen = chance.binomial(washed, chance.beta(CELL_K * CELLS, rest, washed.shape))
    else:
        proportions = np.ones(washed.shape)
        seen = washed
    return Counted(seen.astype(np.float64), proportions)


def _on_leaves(
    regime: Regime, means: FloatArray, chance: np.random.Generator
) -> Animals:
    shape = (means.shape[0], regime.leaves)
    if regime.shape == "lognormal":
        sigma = regime.clumping
        deviates = chance.normal(0.0, sigma, shape)
        return chance.poisson(means * np.exp(deviates - sigma**2 / 2))
    k = regime.clumping
    if regime.shape == "empty leaves":
        there = chance.random(shape) >= EMPTY_SHARE
        full = chance.poisson(chance.gamma(k, means / (1 - EMPTY_SHARE) / k, shape))
        return full * there
    return chance.poisson(chance.gamma(k, means / k, shape))


def _recoveries(
    regime: Regime, shape: tuple[int, int], chance: np.random.Generator
) -> FloatArray:
    """Give each leaf's recovery; where it is held only, one for a set's leaves."""
    if regime.recovery == "held":
        of_set = chance.beta(HELD_RECOVERY.a, HELD_RECOVERY.b, (shape[0], 1))
        return np.broadcast_to(of_set, shape)
    if regime.recovery == "unlike":
        return chance.beta(*UNLIKE_RECOVERY, shape)
    return np.full(shape, RECOVERY)
