"""A small map of a block with its sample points, as lengths of an SVG drawing."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, floor, log10, radians
from typing import Any, Protocol

# Of the drawing, in its own units; points keep their size whatever the block's.
WIDTH, TALLEST, MARGIN = 400.0, 460.0, 22.0
FOOT = 34.0
METRES_PER_DEGREE = 111_320.0
# A scale bar takes up to this share of the width.
BAR_SHARE = 0.3


class Placed(Protocol):
    """A point as drawn or as stored."""

    @property
    def number(self) -> int:
        """Its place in the walk."""

    @property
    def position(self) -> str:
        """Its canopy position."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A point of the drawing."""

    number: int
    position: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class PlanMap:
    """What the drawing holds: outline, walk, points, and how long its bar is."""

    height: float
    outline: str
    walk: str
    marks: list[Mark]
    bar: float
    bar_words: str

    @property
    def view_box(self) -> str:
        """The drawing's frame."""
        return f"0 0 {WIDTH:.0f} {self.height:.0f}"

    @property
    def foot(self) -> float:
        """Where the scale bar stands."""
        return self.height - FOOT / 2


def plan_map(boundary: Any, points: Sequence[tuple[Placed, float, float]]) -> PlanMap:
    """Draw a boundary (degrees) with points (longitude, latitude), north up."""
    west, south, east, north = boundary.extent
    metres_x = METRES_PER_DEGREE * cos(radians((south + north) / 2))
    wide = max((east - west) * metres_x, 1.0)
    tall = max((north - south) * METRES_PER_DEGREE, 1.0)
    scale = min((WIDTH - 2 * MARGIN) / wide, (TALLEST - 2 * MARGIN - FOOT) / tall)
    left = (WIDTH - wide * scale) / 2

    def at(longitude: float, latitude: float) -> tuple[float, float]:
        return (
            left + (longitude - west) * metres_x * scale,
            MARGIN + (north - latitude) * METRES_PER_DEGREE * scale,
        )

    marks = [
        Mark(one.number, one.position, *at(longitude, latitude))
        for one, longitude, latitude in points
    ]
    metres = _round_length(BAR_SHARE * WIDTH / scale)
    return PlanMap(
        height=tall * scale + 2 * MARGIN + FOOT,
        outline=_outline(boundary, at),
        walk=" ".join(f"{one.x:.1f},{one.y:.1f}" for one in marks),
        marks=_apart(marks),
        bar=metres * scale,
        bar_words=f"{metres:g} m",
    )


def _outline(boundary: Any, at: Any) -> str:
    """Write all rings as one path; holes are cut by the even-odd rule."""
    path = []
    for polygon in boundary:
        for ring in polygon:
            places = [at(place[0], place[1]) for place in ring.coords]
            path.append("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in places) + "Z")
    return "".join(path)


def _apart(marks: list[Mark]) -> list[Mark]:
    """Draw the first points last, so that the walk's beginning lies on top."""
    return sorted(marks, key=lambda one: -one.number)


def _round_length(metres: float) -> float:
    """Round down to 1, 2 or 5 times a power of ten."""
    power = 10.0 ** floor(log10(metres))
    steps = [step * power for step in (1, 2, 5, 10)]
    return max(
        (low for low, high in pairwise(steps) if low <= metres < high), default=power
    )
