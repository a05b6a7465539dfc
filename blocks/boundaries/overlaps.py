"""Find outlines of one file that lie over one another."""

import shapely
from shapely.geometry import MultiPolygon

# More pairs than this are not a plan of blocks.
MOST_PAIRS = 20_000
# A common border, drawn twice, is no overlap.
LEAST_SHARE = 0.001


def overlaps_of(
    shapes: dict[int, MultiPolygon], areas_m2: dict[int, float]
) -> list[tuple[int, int, float]]:
    """Give pairs of indexes, smaller first, with the area in m2 that both cover.

    Areas are shared out by the plane's proportions, which hold within one block.
    """
    indexes = list(shapes)
    tree = shapely.STRtree([shapes[index] for index in indexes])
    found: list[tuple[int, int, float]] = []
    looked_at = 0
    for place, index in enumerate(indexes):
        shape = shapes[index]
        for other_place in sorted(tree.query(shape, predicate="intersects").tolist()):
            if other_place <= place:
                continue
            looked_at += 1
            if looked_at > MOST_PAIRS:
                return found
            other = indexes[other_place]
            share = shape.intersection(shapes[other]).area / shape.area
            shared_m2 = share * areas_m2[index]
            if shared_m2 > LEAST_SHARE * min(areas_m2[index], areas_m2[other]):
                found.append((index, other, shared_m2))
    return found
