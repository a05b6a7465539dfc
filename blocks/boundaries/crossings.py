"""Tell early whether an outline crosses itself too often to be repaired."""

import numpy as np
import shapely
from shapely.geometry import MultiPolygon

from blocks.boundaries import limits

# Edges looked at in one go, so that a hostile outline is found out by its first ones.
STEP = 100


def tangled(whole: MultiPolygon) -> bool:
    """Tell whether more edges meet than ends that follow one another explain."""
    edges = _edges(whole)
    tree = shapely.STRtree(edges)
    beyond = 0
    for start in range(0, len(edges), STEP):
        some = edges[start : start + STEP]
        # Each edge meets itself and both that share its ends.
        beyond += tree.query(some, predicate="intersects").shape[1] - 3 * len(some)
        # A crossing is met from both of its edges.
        if beyond > 2 * limits.CROSSINGS:
            return True
    return False


def _edges(whole: MultiPolygon) -> np.ndarray:
    rings = shapely.get_rings(shapely.get_parts(whole))
    edges = []
    for ring in rings:
        corners = shapely.get_coordinates(ring)
        ends = np.stack([corners[:-1], corners[1:]], axis=1)
        # A corner drawn twice is no edge.
        apart = (ends[:, 0] != ends[:, 1]).any(axis=1)
        edges.append(shapely.linestrings(ends[apart]))
    return np.concatenate(edges)
