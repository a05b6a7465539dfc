"""Choose the vines of a round, share them out to canopy positions, order the walk."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from monitoring.estimation import EstimationError
from monitoring.estimation.balanced_sampling import (
    balanced_points,
    random_points,
    voronoi_balance,
)
from monitoring.estimation.validation import FloatArray
from monitoring.estimation.walking_order import (
    walk_along_rows,
    walk_length,
    walk_nearest,
)
from monitoring.planning.errors import PlanError
from monitoring.planning.ground import Ground

# Fewer in a canopy position tell nothing of how bags of it differ.
FEWEST_IN_STRATUM = 2
METHODS = {"balanced": balanced_points, "random": random_points}


@dataclass(frozen=True, slots=True)
class DrawnPoint:
    """One vine: its place in the walk and in the draw, from 1, and where it stands."""

    number: int
    drawn: int
    position: str
    longitude: float
    latitude: float


@dataclass(frozen=True, slots=True)
class Draw:
    """The points of a round in walking order, and what they are like."""

    points: list[DrawnPoint]
    walk_m: float
    balance: float | None


def draw_points(
    ground: Ground, strata: Sequence[tuple[str, int]], *, method: str, seed: int
) -> Draw:
    """Draw a round's points; the same ground, strata, method and seed give the same.

    Canopy positions take runs of the draw, since any run of a balanced draw is spread
    evenly over the block, and every second or third of it is not.
    """
    count = sum(number for _, number in strata)
    vines = ground.vines(count)
    if vines is not None and vines < count:
        raise PlanError(
            f"Only {vines} vines stand where they may be sampled, and {count} bags are"
            " to come from as many vines. Take fewer bags, or go nearer to the edge.",
            field="bags",
        )
    rng = np.random.default_rng(seed)
    try:
        places = METHODS[method](count, box=ground.box, places=ground.places, rng=rng)
    except EstimationError as error:
        raise PlanError(
            "The block is so thin, or its parts lie so far apart, that the vines could"
            " not be drawn. Look at its boundary, or go nearer to the edge.",
            field="buffer_m",
        ) from error
    order = _walk(ground, places)
    positions = [name for name, number in strata for _ in range(number)]
    lonlat = ground.lonlat(places)
    return Draw(
        points=[
            DrawnPoint(
                number=number,
                drawn=one + 1,
                position=positions[one],
                longitude=float(lonlat[one, 0]),
                latitude=float(lonlat[one, 1]),
            )
            for number, one in enumerate(order, start=1)
        ],
        walk_m=walk_length(places[order]),
        balance=balance_of(ground, places),
    )


def taken_again(ground: Ground, points: list[DrawnPoint]) -> Draw:
    """Take points of an earlier draw, if all still lie inside the boundary."""
    lonlat = np.array([[one.longitude, one.latitude] for one in points])
    outside = len(points) - int(ground.holds(lonlat).sum())
    if outside:
        raise PlanError(
            f"{outside} of the earlier plan's {len(points)} vines lie outside the"
            " block's present boundary. Draw new vines.",
            field="same_as",
        )
    places = ground.frame(lonlat)
    return Draw(points, walk_length(places), balance_of(ground, places))


def balance_of(ground: Ground, places: FloatArray) -> float | None:
    """Measure how evenly places are spread; None for a single one."""
    laid = ground.laid_out()
    if len(places) < FEWEST_IN_STRATUM or not len(laid):
        return None
    return voronoi_balance(places, laid)


def _walk(ground: Ground, places: FloatArray) -> list[int]:
    if ground.rows:
        return walk_along_rows(ground.row_numbers(places))
    return walk_nearest(places)


def share_out(
    count: int, positions: Sequence[str], weights: Mapping[str, float]
) -> list[tuple[str, int]]:
    """Share bags out to canopy positions by their weights, two at least to each.

    Positions without a weight are taken alike. The largest remainders get what is left.
    """
    if not positions:
        return [("", count)]
    if any(position not in weights for position in positions):
        weights = dict.fromkeys(positions, 1.0)
    total = sum(weights[position] for position in positions)
    if total <= 0:
        weights, total = dict.fromkeys(positions, 1.0), float(len(positions))
    exact = [count * weights[position] / total for position in positions]
    given = [int(one) for one in exact]
    by_remainder = sorted(
        range(len(positions)), key=lambda at: (given[at] - exact[at], at)
    )
    for at in by_remainder[: count - sum(given)]:
        given[at] += 1
    shared = [max(one, FEWEST_IN_STRATUM) for one in given]
    while sum(shared) > max(count, FEWEST_IN_STRATUM * len(positions)):
        shared[int(np.argmax(shared))] -= 1
    return list(zip(positions, shared, strict=True))
