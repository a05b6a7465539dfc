"""Judge, and where it can be done honestly repair, one outline."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from pyproj import Geod
from shapely.geometry import MultiPolygon, Polygon, mapping
from shapely.geometry.base import BaseGeometry

from blocks.boundaries import limits

ELLIPSOID = Geod(ellps="WGS84")
# 1e-7 degrees is about a centimetre, finer than any boundary is known.
DECIMALS = 7
SQUARE_METRES_PER_HECTARE = 10_000.0


@dataclass(slots=True)
class Outline:
    """What became of one feature's geometry.

    Problems are triples of level (error or warning), code and sentence.
    """

    geometry: dict[str, Any] | None = None
    before: dict[str, Any] | None = None
    area_m2: float = 0.0
    problems: list[tuple[str, str, str]] = field(default_factory=list)

    def error(self, code: str, sentence: str) -> "Outline":
        """Refuse the outline."""
        self.problems.append(("error", code, sentence))
        return self

    def warn(self, code: str, sentence: str) -> None:
        """Note something that was done or looks odd."""
        self.problems.append(("warning", code, sentence))


def judge(shape: BaseGeometry | None) -> Outline:
    """Turn a shape in longitude and latitude into a valid outline, or say why not."""
    outline = Outline()
    if shape is None or shape.is_empty:
        return outline.error(
            "no-geometry", "The feature has no outline. Draw it, or leave it out."
        )
    polygons = list(_polygons(shape, outline))
    if not polygons:
        kind = shape.geom_type.lower()
        return outline.error(
            "not-an-area",
            f"This is a {kind}, not an area. Draw the block's outline as a polygon.",
        )
    if not _within_limits(polygons, outline):
        return outline
    whole = MultiPolygon(polygons)
    if not shapely.is_valid(whole):
        repaired = _repair(whole, outline)
        if repaired is None:
            return outline
        whole = repaired
    whole = shapely.set_precision(whole, 10**-DECIMALS, mode="pointwise")
    whole = MultiPolygon([shapely.orient_polygons(part) for part in whole.geoms])
    return _measure(whole, outline)


def _polygons(shape: BaseGeometry, outline: Outline) -> Iterable[Polygon]:
    if shapely.has_z(shape):
        outline.warn("heights-dropped", "Heights were left out; an outline is flat.")
        shape = shapely.force_2d(shape)
    if isinstance(shape, Polygon):
        yield shape
        return
    parts = getattr(shape, "geoms", [])
    if shape.geom_type == "GeometryCollection":
        outline.warn("areas-kept", "Only the areas of a mixed collection were kept.")
    for part in parts:
        if isinstance(part, Polygon):
            yield part
        elif isinstance(part, MultiPolygon):
            yield from part.geoms


def _within_limits(polygons: list[Polygon], outline: Outline) -> bool:
    points = np.concatenate([shapely.get_coordinates(part) for part in polygons])
    rings = sum(1 + len(part.interiors) for part in polygons)
    if len(points) > limits.VERTICES or rings > limits.RINGS:
        outline.error(
            "too-many-corners",
            f"The outline has {len(points):,} corners in {rings} rings; at most"
            f" {limits.VERTICES:,} in {limits.RINGS} are taken. Simplify it first.",
        )
        return False
    if not np.isfinite(points).all():
        outline.error(
            "not-a-place", "A corner is not a number. Draw the outline again."
        )
        return False
    west, south, east, north = MultiPolygon(polygons).bounds
    if west < -180 or east > 180 or south < -90 or north > 90:
        outline.error(
            "beyond-the-earth",
            f"Corners lie at {west:.6g}, {south:.6g}, beyond ±180 and ±90 degrees: the"
            " numbers are in another coordinate system than the file says. Save it with"
            " its system, or as longitude and latitude.",
        )
        return False
    if east - west > 180:
        outline.error(
            "across-180",
            "The outline reaches across the 180th meridian. Split it there.",
        )
        return False
    return True


def _repair(whole: MultiPolygon, outline: Outline) -> MultiPolygon | None:
    reason = shapely.is_valid_reason(whole)
    corners = len(shapely.get_coordinates(whole))
    if corners > limits.REPAIRED_VERTICES:
        outline.error(
            "crossing-outline",
            f"The outline crosses itself ({reason}) and has {corners} corners, too many"
            " to repair here. Mend it where you drew it.",
        )
        return None
    fixed = shapely.make_valid(whole, method="structure", keep_collapsed=False)
    parts = [
        part for part in getattr(fixed, "geoms", [fixed]) if part.geom_type == "Polygon"
    ]
    reach = sum(part.convex_hull.area for part in whole.geoms)
    kept = sum(part.area for part in parts) / reach if reach else 0.0
    corners_now = sum(len(shapely.get_coordinates(part)) for part in parts)
    tangled = (
        corners_now > corners + limits.CROSSINGS or len(parts) > limits.MOST_PIECES
    )
    if not parts or tangled or kept < limits.KEPT_SHARE:
        outline.error(
            "crossing-outline",
            f"The outline crosses itself ({reason}); no repair keeps what was meant."
            " Mend it where you drew it.",
        )
        return None
    outline.before = mapping(whole)
    outline.warn(
        "repaired",
        f"The outline was not in order ({reason}) and was repaired; look at both.",
    )
    return MultiPolygon(parts)


def _measure(whole: MultiPolygon, outline: Outline) -> Outline:
    area = sum(abs(ELLIPSOID.geometry_area_perimeter(part)[0]) for part in whole.geoms)
    if whole.is_empty or area <= 0:
        return outline.error(
            "no-area",
            "The outline encloses no area. Draw it with three corners or more.",
        )
    hectares = area / SQUARE_METRES_PER_HECTARE
    if hectares < limits.SMALL_HA or hectares > limits.LARGE_HA:
        outline.warn(
            "odd-size",
            f"{hectares:.3g} ha is an unusual size for a block. Is it right?",
        )
    outline.geometry = mapping(whole)
    outline.area_m2 = area
    return outline
