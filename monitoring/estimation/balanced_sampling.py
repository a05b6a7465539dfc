"""Points spread evenly over an area, and how evenly points are spread."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from monitoring.estimation.validation import EstimationError, FloatArray

BoolArray: TypeAlias = NDArray[np.bool_]
# From places drawn, to the places that can be sampled and whether each may be.
Places: TypeAlias = Callable[[FloatArray], tuple[FloatArray, BoolArray]]
BASES = (2, 3)
# Of the random starts, so that starts alike are rare; as in the paper.
STARTS = 10_000_000
BATCH, MOST_TRIED = 4_096, 262_144
# Places this near, in metres, are one and the same vine.
SAME_M = 0.01


@dataclass(frozen=True, slots=True)
class Box:
    """The box that places are drawn in: its corner and its sides, in metres."""

    x: float
    y: float
    width: float
    height: float

    def fill(self, shares: FloatArray) -> FloatArray:
        """Bring places of the unit square, shape (n, 2), into the box."""
        corner, sides = (self.x, self.y), (self.width, self.height)
        spread: FloatArray = np.asarray(corner) + shares * np.asarray(sides)
        return spread


def halton_points(count: int, *, starts: tuple[int, int] = (1, 1)) -> FloatArray:
    """Give places of the unit square by the Halton sequence in bases 2 and 3.

    count: places wanted, 1 or more. starts: the whole numbers, 0 or more, that the two
    sequences begin at. Returns shape (count, 2), in [0, 1).

    Raises EstimationError if a precondition fails.
    Source: Halton 1960, Numer. Math. 2:84-90 (from memory); the random starts of
    Robertson, Brown, McDonald & Jaksons 2013, Biometrics 69:776-784 (from memory).
    """
    if count < 1:
        raise EstimationError("count", f"{count!r} is not a number of 1 or more")
    if min(starts) < 0:
        raise EstimationError("starts", f"{starts!r} must be 0 or more")
    steps = np.arange(count, dtype=np.int64)
    columns = [
        _radical_inverse(steps + start, base)
        for start, base in zip(starts, BASES, strict=True)
    ]
    return np.column_stack(columns)


def _radical_inverse(whole: NDArray[np.int64], base: int) -> FloatArray:
    """Mirror numbers' digits at the point: 6 = 110 in base 2 becomes 0.011."""
    left, weight = whole.copy(), 1.0
    mirrored = np.zeros(whole.shape)
    while left.any():
        weight /= base
        mirrored += weight * (left % base)
        left //= base
    return mirrored


def balanced_points(
    count: int, *, box: Box, places: Places, rng: np.random.Generator
) -> FloatArray:
    """Draw distinct places, spread evenly, by balanced acceptance sampling.

    count: places wanted, 1 or more. box: around all that may be sampled. places: gives
    for each place of the box the one that would be sampled, as its vine, and whether it
    may be. Every one that may be has the same chance where those that share it have the
    same area. rng: what chooses the starts. Any run of places of the draw is spread
    evenly as well. Returns shape (count, 2), in the box's metres.

    Raises EstimationError if the places are not found in a quarter of a million tries.
    Source: Robertson et al. 2013, Biometrics 69:776-784; that the first place of the
    sequence must be accepted, else another start is drawn, so that chances are equal:
    Robertson, McDonald, Price & Brown 2017, Stat. Probab. Lett. 129:107-112 (both from
    memory).
    """
    first = _accepted_start(box, places, rng)
    found: list[FloatArray] = []
    tried, batch = 0, BATCH
    while tried < MOST_TRIED:
        starts = (first[0] + tried, first[1] + tried)
        shares = halton_points(batch, starts=starts)
        found.append(_accepted(box.fill(shares), places))
        distinct = _distinct(np.concatenate(found), count)
        if len(distinct) == count:
            return distinct
        found = [distinct]
        tried += batch
        batch = min(2 * batch, MOST_TRIED)
    raise EstimationError("count", f"{count} places were not found in so many tries")


def _accepted_start(
    box: Box, places: Places, rng: np.random.Generator
) -> tuple[int, int]:
    """Draw starts until the first place of the sequence may be sampled."""
    for _ in range(MOST_TRIED // BATCH):
        starts = rng.integers(0, STARTS, size=(BATCH, 2))
        columns = [_radical_inverse(starts[:, i], base) for i, base in enumerate(BASES)]
        _, may_be = places(box.fill(np.column_stack(columns)))
        if may_be.any():
            x, y = starts[int(np.argmax(may_be))]
            return int(x), int(y)
    raise EstimationError("places", "none was found in so many tries")


def random_points(
    count: int, *, box: Box, places: Places, rng: np.random.Generator
) -> FloatArray:
    """Draw distinct places, each independently of the others.

    count, box, places, rng and what is returned: as for `balanced_points`.

    Raises EstimationError if the places are not found in a quarter of a million tries.
    Source: by definition: uniform places, kept where they may be.
    """
    found = np.empty((0, 2))
    for _ in range(MOST_TRIED // BATCH):
        drawn = _accepted(box.fill(rng.random((BATCH, 2))), places)
        found = _distinct(np.concatenate([found, drawn]), count)
        if len(found) == count:
            return found
    raise EstimationError("count", f"{count} places were not found in so many tries")


def _accepted(drawn: FloatArray, places: Places) -> FloatArray:
    sampled, may_be = places(drawn)
    return sampled[may_be]


def _distinct(points: FloatArray, count: int) -> FloatArray:
    """Keep the first of places that are alike, and no more than are wanted."""
    keys = np.round(points / SAME_M).astype(np.int64)
    _, first = np.unique(keys, axis=0, return_index=True)
    return points[np.sort(first)[:count]]


def voronoi_balance(points: FloatArray, area: FloatArray) -> float:
    """Measure how evenly points are spread over an area: 0 is perfect.

    points: shape (n, 2), two or more. area: shape (m, 2), places laid evenly over the
    area, many times n. It is the variance of what each point stands for: the shares of
    the area nearest to it, times n, which are 1 on average.

    Raises EstimationError if there are fewer than two points or no places.
    Source: Stevens & Olsen 2004, J. Am. Stat. Assoc. 99:262-278 (from memory): zeta,
    the variance of the sums of inclusion probabilities over Voronoi polygons.
    """
    n = len(points)
    if n < 2 or not len(area):
        raise EstimationError("points", "must be two or more, over an area")
    _, nearest = cKDTree(points).query(area)
    sums = np.bincount(nearest, minlength=n) * (n / len(area))
    return float(np.mean((sums - 1) ** 2))
