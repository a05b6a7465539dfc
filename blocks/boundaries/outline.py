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
from blocks.boundaries.crossings import tangled

ELLIPSOID = Geod(ellps="WGS84")
# 1e-7 degrees is about a centimetre, finer than any boundary is known.
DECIMALS = 7
SQUARE_METRES_PER_HECTARE = 10_000.0
OTHER_SHAPES = {"LineString": "line", "MultiLineString": "line", "LinearRing": "line"}

# What GEOS calls it: our code, and a sentence with the place.
BEYOND_REPAIR = {
    "Hole lies outside shell": (
        "hole-outside",
        "A hole lies outside its outline at {}. Take it out, or draw it inside.",
    ),
    "Too few points in geometry component": (
        "too-few-corners",
        "A ring at {} has fewer than three corners. Draw it again.",
    ),
}


@dataclass(slots=True)
class Outline:
    """What became of one feature's geometry.

    Problems are triples of level (error or warning), code and sentence.
    """

    whole: MultiPolygon | None = None
    before: dict[str, Any] | None = None
    area_m2: float = 0.0
    # Longitude and latitude of a point within, and of one with axes exchanged.
    place: tuple[float, float] | None = None
    place_if_swapped: tuple[float, float] | None = None
    problems: list[tuple[str, str, str]] = field(default_factory=list)

    @property
    def geometry(self) -> dict[str, Any] | None:
        """The outline as GeoJSON."""
        return None if self.whole is None else mapping(self.whole)

    def error(self, code: str, sentence: str) -> "Outline":
        """Refuse the outline."""
        self.problems.append(("error", code, sentence))
        return self

    def warn(self, code: str, sentence: str) -> None:
        """Note something that was done or looks odd."""
        self.problems.append(("warning", code, sentence))


def shape_of(wkb: bytes | None, outline: Outline) -> BaseGeometry | None:
    """Read a feature's shape without heights; None if it cannot be one at all."""
    try:
        shape = None if wkb is None else shapely.from_wkb(wkb)
    except shapely.errors.ShapelyError:
        # Rings that do not end where they began: the last edge is drawn.
        shape = shapely.from_wkb(wkb, on_invalid="fix")
        outline.warn(
            "ring-closed", "A ring did not end where it began; its last edge was drawn."
        )
    if shape is None or shape.is_empty:
        outline.error(
            "no-geometry",
            "The feature has no outline that can be read. Draw it, or leave it out.",
        )
        return None
    corners = shapely.get_num_coordinates(shape)
    if corners > limits.VERTICES:
        _too_many(corners, _rings_of(shape), outline)
        return None
    if shapely.has_z(shape):
        outline.warn("heights-dropped", "Heights were left out; an outline is flat.")
        shape = shapely.force_2d(shape)
    return shape


def judge(shape: BaseGeometry, outline: Outline) -> Outline:
    """Turn a shape in longitude and latitude into a valid outline, or say why not."""
    polygons = list(_polygons(shape))
    if not polygons:
        kind = OTHER_SHAPES.get(shape.geom_type, "point")
        return outline.error(
            "not-an-area",
            f"This is a {kind}, not an area. Draw the block's outline as a polygon.",
        )
    if shape.geom_type == "GeometryCollection":
        outline.warn("areas-kept", "Only the areas of a mixed collection were kept.")
    if not _within_limits(polygons, outline):
        return outline
    west, south, east, north = MultiPolygon(polygons).bounds
    outline.place_if_swapped = _swapped_place(west, south, east, north)
    if not _on_the_earth(polygons, outline):
        return outline
    whole = MultiPolygon(polygons)
    if not shapely.is_valid(whole):
        repaired = _repair(whole, outline)
        if repaired is None:
            return outline
        whole = repaired
    return _measure(_rounded(whole), outline)


def _polygons(shape: BaseGeometry) -> Iterable[Polygon]:
    if isinstance(shape, Polygon):
        yield shape
        return
    for part in getattr(shape, "geoms", []):
        yield from _polygons(part)


def _rings_of(shape: BaseGeometry) -> int:
    return sum(1 + len(part.interiors) for part in _polygons(shape))


def _too_many(corners: int, rings: int, outline: Outline) -> None:
    outline.error(
        "too-many-corners",
        f"The outline has {corners:,} corners in {rings} rings; at most"
        f" {limits.VERTICES:,} in {limits.RINGS} are taken. Simplify it first.",
    )


def _swapped_place(
    west: float, south: float, east: float, north: float
) -> tuple[float, float] | None:
    """Give the middle with axes exchanged, if that is a place on the Earth."""
    if west >= -90 and east <= 90 and south >= -180 and north <= 180:
        return ((south + north) / 2, (west + east) / 2)
    return None


def _rounded(whole: MultiPolygon) -> MultiPolygon:
    """Round corners; where that makes rings touch, let GEOS set them right."""
    rounded = _round(whole)
    if not shapely.is_valid(rounded):
        fine = shapely.set_precision(whole, 10**-DECIMALS)
        rounded = _round(MultiPolygon(list(_polygons(fine))))
    return MultiPolygon([shapely.orient_polygons(part) for part in rounded.geoms])


def _round(shape: MultiPolygon) -> MultiPolygon:
    rounded: MultiPolygon = shapely.transform(
        shape, lambda points: np.round(points, DECIMALS)
    )
    return rounded


def _within_limits(polygons: list[Polygon], outline: Outline) -> bool:
    points = np.concatenate([shapely.get_coordinates(part) for part in polygons])
    rings = sum(1 + len(part.interiors) for part in polygons)
    if len(points) > limits.VERTICES or rings > limits.RINGS:
        _too_many(len(points), rings, outline)
        return False
    if not np.isfinite(points).all():
        outline.error(
            "not-a-place", "A corner is not a number. Draw the outline again."
        )
        return False
    return True


def _on_the_earth(polygons: list[Polygon], outline: Outline) -> bool:
    west, south, east, north = MultiPolygon(polygons).bounds
    if west < -180 or east > 180 or south < -90 or north > 90:
        outline.error(
            "beyond-the-earth",
            f"Corners lie at {west:.6g}, {south:.6g}, beyond ±180 and ±90 degrees: the"
            " numbers are in another coordinate system than the file says. Save it with"
            " its system, or as longitude and latitude.",
        )
        return False
    # Parts on both sides of the meridian are how RFC 7946 3.1.9 wants them.
    if any(part.bounds[2] - part.bounds[0] > 180 for part in polygons):
        outline.error(
            "across-180",
            "The outline reaches across the 180th meridian. Split it there.",
        )
        return False
    return True


def _repair(whole: MultiPolygon, outline: Outline) -> MultiPolygon | None:
    reason = shapely.is_valid_reason(whole)
    corners = len(shapely.get_coordinates(whole))
    if whole.convex_hull.area == 0:
        _no_area(outline)
        return None
    kind, _, place = reason.partition("[")
    if kind in BEYOND_REPAIR:
        code, sentence = BEYOND_REPAIR[kind]
        outline.error(code, sentence.format(place.rstrip("]")))
        return None
    if corners > limits.REPAIRED_VERTICES and tangled(whole):
        outline.error(
            "crossing-outline",
            f"The outline crosses itself ({reason}) and in more places, at {corners:,}"
            " corners: too many to repair here. Mend it where you drew it.",
        )
        return None
    parts = _mended_parts(whole)
    reach = sum(part.convex_hull.area for part in whole.geoms)
    kept = sum(part.area for part in parts) / reach if reach else 0.0
    corners_now = sum(len(shapely.get_coordinates(part)) for part in parts)
    scattered = (
        corners_now > corners + limits.CROSSINGS or len(parts) > limits.MOST_PIECES
    )
    if not parts or scattered or kept < limits.KEPT_SHARE:
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


def _mended_parts(whole: MultiPolygon) -> list[Polygon]:
    """Give what GEOS makes of an outline; nothing where it finds no way."""
    try:
        fixed = shapely.make_valid(whole, method="structure", keep_collapsed=False)
    except shapely.errors.ShapelyError:
        return []
    return list(_polygons(fixed))


def _no_area(outline: Outline) -> Outline:
    return outline.error(
        "no-area", "The outline encloses no area. Draw it with three corners or more."
    )


def _measure(whole: MultiPolygon, outline: Outline) -> Outline:
    area = sum(abs(ELLIPSOID.geometry_area_perimeter(part)[0]) for part in whole.geoms)
    if whole.is_empty or area <= 0:
        return _no_area(outline)
    hectares = area / SQUARE_METRES_PER_HECTARE
    if hectares < limits.SMALL_HA or hectares > limits.LARGE_HA:
        outline.warn(
            "odd-size",
            f"{hectares:.3g} ha is an unusual size for a block. Is it right?",
        )
    outline.whole = whole
    outline.area_m2 = area
    point = shapely.point_on_surface(whole.geoms[0])
    outline.place = (point.x, point.y)
    return outline
