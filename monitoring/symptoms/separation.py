"""Tell which slopes the scores bound at all."""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

# Slopes are held within -1 and 1; a larger reach than this is no rounding.
REACH = 1e-6


def unbounded_slopes(
    levels: NDArray[np.int64], columns: NDArray[np.float64], places: list[int]
) -> list[bool]:
    """Tell of each slope whether the likelihood may rise, or stay, without end.

    levels: (n,), 0, 1, ... columns: (n, p). places: the columns asked about.

    A direction in which no leaf's probability falls leaves its slopes unbounded: the
    scores are separated, or columns say the same. Found by linear programming.
    Source: Albert & Anderson 1984, Biometrika 71:1-10; the programme after Konis 2007
    (thesis, from memory).
    """
    spread = columns.std(axis=0)
    scaled = (columns - columns.mean(axis=0)) / np.where(spread > 0, spread, 1.0)
    steps = int(levels.max())
    rows = np.vstack(
        [
            _no_worse(levels[levels < steps], scaled[levels < steps], steps, sign=1),
            _no_worse(levels[levels > 0] - 1, scaled[levels > 0], steps, sign=-1),
        ]
    )
    p = columns.shape[1]
    bounds = [(-1.0, 1.0)] * p + [(None, None)] * steps
    found = []
    for place in places:
        reached = 0.0
        for sign in (1.0, -1.0):
            aim = np.zeros(p + steps)
            aim[place] = -sign
            answer = linprog(aim, A_ub=rows, b_ub=np.zeros(len(rows)), bounds=bounds)
            # Without an answer nothing is known to bound it.
            end = -float(answer.fun) if answer.fun is not None else 1.0
            reached = max(reached, end)
        found.append(reached > REACH)
    return found


def _no_worse(
    thresholds: NDArray[np.int64],
    columns: NDArray[np.float64],
    steps: int,
    *,
    sign: int,
) -> NDArray[np.float64]:
    """Write: the linear predictor lies below (1) or above (-1) a leaf's threshold."""
    ends = np.zeros((len(thresholds), steps))
    ends[np.arange(len(thresholds)), thresholds] = 1.0
    return sign * np.hstack([columns, -ends])
