"""Draw an outline before and after repair, as paths for an SVG picture."""

from dataclasses import dataclass
from itertools import chain
from math import cos, radians
from typing import Any

WIDTH, HEIGHT, MARGIN = 160.0, 120.0, 6.0
HALF_TURN, TURN = 180.0, 360.0
Ring = list[list[float]]


@dataclass(frozen=True, slots=True)
class Drawing:
    """Paths in a picture of 160 by 120."""

    after: str
    before: str


def drawing_of(
    geometry: dict[str, Any] | None, before: dict[str, Any] | None
) -> Drawing | None:
    """Fit an outline into the picture, north up; None without an outline."""
    rings, rings_before = _rings(geometry), _rings(before)
    if not rings:
        return None
    points = list(chain.from_iterable(rings))
    west, east = min(p[0] for p in points), max(p[0] for p in points)
    south, north = min(p[1] for p in points), max(p[1] for p in points)
    # A degree of longitude is shorter than one of latitude.
    squeeze = max(cos(radians((south + north) / 2)), 0.01)
    span_x = max((east - west) * squeeze, 1e-9)
    span_y = max(north - south, 1e-9)
    scale = min((WIDTH - 2 * MARGIN) / span_x, (HEIGHT - 2 * MARGIN) / span_y)

    def path(of: list[Ring]) -> str:
        return " ".join(
            "M"
            + " L".join(
                f"{MARGIN + (x - west) * squeeze * scale:.1f}"
                f" {HEIGHT - MARGIN - (y - south) * scale:.1f}"
                for x, y in (point[:2] for point in ring)
            )
            + "Z"
            for ring in of
        )

    return Drawing(after=path(rings), before=path(rings_before))


def _rings(geometry: dict[str, Any] | None) -> list[Ring]:
    if geometry is None:
        return []
    rings = [list(ring) for part in geometry["coordinates"] for ring in part]
    longitudes = [point[0] for ring in rings for point in ring]
    if max(longitudes) - min(longitudes) <= HALF_TURN:
        return rings
    # Split at the 180th meridian: draw the halves side by side.
    return [[[x % TURN, y] for x, y, *_ in ring] for ring in rings]
