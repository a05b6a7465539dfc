"""The order in which points are walked to."""

import numpy as np
from scipy.spatial.distance import cdist

from monitoring.estimation.validation import EstimationError, FloatArray


def walk_along_rows(places: FloatArray) -> list[int]:
    """Order places by row, up one row and down the next.

    places: shape (n, 2), along the rows and across them; places of one row have the
    same number across. Returns the places' indices, 0 to n - 1, in walking order.

    Raises EstimationError if there is no place.
    Source: by definition: rows in turn, every second one backwards.
    """
    if not len(places):
        raise EstimationError("places", "must be one or more")
    order: list[int] = []
    for turn, across in enumerate(np.unique(places[:, 1])):
        row = np.flatnonzero(places[:, 1] == across)
        row = row[np.argsort(places[row, 0], kind="stable")]
        order += (row[::-1] if turn % 2 else row).tolist()
    return order


def walk_nearest(points: FloatArray) -> list[int]:
    """Order points from nearest to nearest, then undo crossings.

    points: shape (n, 2), in metres, one or more. Begins at the point furthest from the
    middle. Returns the points' indices, 0 to n - 1, in walking order.

    Raises EstimationError if there is no point.
    Source: the nearest-neighbour tour; two-edge exchanges of Croes 1958, Oper. Res.
    6:791-812 (from memory).
    """
    if not len(points):
        raise EstimationError("points", "must be one or more")
    apart = cdist(points, points)
    middle = points.mean(axis=0)
    order = [int(np.argmax(np.linalg.norm(points - middle, axis=1)))]
    left = set(range(len(points))) - set(order)
    while left:
        here = order[-1]
        order.append(min(left, key=lambda one: (apart[here, one], one)))
        left.remove(order[-1])
    while _shorten(order, apart):
        pass
    return order


def _shorten(order: list[int], apart: FloatArray) -> bool:
    """Turn round the stretch that shortens the walk most; tell whether one did."""
    n = len(order)
    best, at = -1e-9, (0, 0)
    for first in range(n - 1):
        for last in range(first + 1, n):
            before = after = 0.0
            if first > 0:
                before += apart[order[first - 1], order[first]]
                after += apart[order[first - 1], order[last]]
            if last < n - 1:
                before += apart[order[last], order[last + 1]]
                after += apart[order[first], order[last + 1]]
            if after - before < best:
                best, at = after - before, (first, last)
    first, last = at
    order[first : last + 1] = order[first : last + 1][::-1]
    return at != (0, 0)


def walk_length(points: FloatArray) -> float:
    """Give how long a walk is from point to point as they stand.

    points: shape (n, 2), in metres, in walking order. Raises nothing; 0 for one point.
    Source: by definition: the sum of the straight lines between them.
    """
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())
