"""The bags of many rounds in flat arrays, so that rounds are computed together."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from monitoring.estimation.validation import FloatArray, Places


@dataclass(frozen=True)
class Bags:
    """Bags of rounds, one round after another.

    counts: shape (bags,), animals seen. exposures: shape (bags,), units in the bag
    times the proportion counted, above 0. sizes: shape (rounds,), bags of each round.
    """

    counts: FloatArray
    exposures: FloatArray
    sizes: Places

    @cached_property
    def starts(self) -> Places:
        """Where each round begins."""
        return np.cumsum(self.sizes) - self.sizes

    def sums(self, values: FloatArray) -> FloatArray:
        """Add up values of bags, shape (bags, ...), by round."""
        total: FloatArray = np.add.reduceat(values, self.starts, axis=0)
        return total

    def take(self, rows: Places) -> "Bags":
        """Give the bags of some rounds."""
        chosen = _places(self.sizes, rows)
        return Bags(self.counts[chosen], self.exposures[chosen], self.sizes[rows])

    def kinds(self) -> "Kinds":
        """Group each round's bags by exposure."""
        rounds = np.repeat(np.arange(self.sizes.size), self.sizes)
        order = np.lexsort((self.exposures, rounds))
        of_round, exposure = rounds[order], self.exposures[order]
        new = np.ones(order.size, dtype=bool)
        new[1:] = (np.diff(of_round) != 0) | (np.diff(exposure) != 0)
        first = np.flatnonzero(new)
        per_round = np.bincount(of_round[first], minlength=self.sizes.size)
        return Kinds(
            exposures=exposure[first],
            bags=np.diff(np.append(first, order.size)).astype(np.float64),
            seen=np.add.reduceat(self.counts[order], first),
            per_round=per_round,
        )


@dataclass(frozen=True)
class Kinds:
    """Bags of one exposure taken together, round after round.

    exposures, bags, seen: shape (kinds,): their exposure, how many bags, animals seen.
    per_round: shape (rounds,), how many kinds a round has.
    """

    exposures: FloatArray
    bags: FloatArray
    seen: FloatArray
    per_round: Places

    def take(self, rows: Places) -> "Kinds":
        """Give the kinds of some rounds."""
        chosen = _places(self.per_round, rows)
        return Kinds(
            self.exposures[chosen],
            self.bags[chosen],
            self.seen[chosen],
            self.per_round[rows],
        )

    def columns(self) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
        """Give the first kind of every round, then the second, ...: all (rounds,).

        A round that has no more kinds stands with no bags.
        """
        starts = np.cumsum(self.per_round) - self.per_round
        for place in range(int(self.per_round.max())):
            there = self.per_round > place
            at = np.where(there, starts + place, starts)
            yield (
                self.exposures[at],
                np.where(there, self.bags[at], 0.0),
                np.where(there, self.seen[at], 0.0),
            )


def _places(sizes: Places, rows: Places) -> Places:
    """Say where the entries of some rows stand, of rows one after another."""
    wanted = sizes[rows]
    first = (np.cumsum(sizes) - sizes)[rows]
    behind = first - (np.cumsum(wanted) - wanted)
    return np.repeat(behind, wanted) + np.arange(wanted.sum())
