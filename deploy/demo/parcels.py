"""Draw natural parcels along a hillside's contours, and find vines inside them.

Everything is in metres on a local plane until the last step; the plane is small enough
(under 3 km) for a tangent at its origin.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# WGS 84, NGA.STND.0036: semi-major axis and first eccentricity squared.
SEMI_MAJOR_AXIS_M = 6_378_137.0
ECCENTRICITY_SQUARED = 0.006_694_379_990_141
# Vertices are about this far apart before corners are rounded.
STEP_M = 22.0
# Vines at the very edge differ from the others and are passed by (common practice).
EDGE_M = 6.0
# GeoJSON (RFC 7946, section 11.2): 7 decimals are about 1 cm.
DECIMALS = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class Hillside:
    """A farm's slope: an axis that swings with the contours, and where it lies."""

    longitude: float
    latitude: float
    heading_deg: float
    swing_deg: float
    wave_m: float
    phase: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline:
    """A parcel on a hillside: from and to along the axis, and up the slope.

    skew: how far the ends lean along the axis for each metre up the slope.
    bite: centre, width and depth of a gully in the upper edge, metres; or None.
    seed: of the small irregularities of its edges.
    """

    along_m: tuple[float, float]
    up_m: tuple[float, float]
    skew: tuple[float, float] = (0.0, 0.0)
    bite: tuple[float, float, float] | None = None
    seed: int = 0


def axis(hillside: Hillside, along_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give points on the axis, shape (n, 2), and its direction there in radians.

    Directions run anticlockwise from east.
    """
    fine = np.linspace(0.0, 1500.0, 3001)
    direction = _direction(hillside, fine)
    step = fine[1] - fine[0]
    east = np.concatenate([[0.0], np.cumsum(np.cos(direction[:-1]) * step)])
    north = np.concatenate([[0.0], np.cumsum(np.sin(direction[:-1]) * step)])
    points = np.column_stack(
        [np.interp(along_m, fine, east), np.interp(along_m, fine, north)]
    )
    return points, _direction(hillside, along_m)


def _direction(hillside: Hillside, along_m: FloatArray) -> FloatArray:
    swing = np.sin(2 * np.pi * along_m / hillside.wave_m + hillside.phase)
    return np.asarray(
        np.radians(90 - hillside.heading_deg + hillside.swing_deg * swing)
    )


def on_slope(hillside: Hillside, along_m: FloatArray, up_m: FloatArray) -> FloatArray:
    """Give plane points from distances along the axis and up the slope."""
    points, direction = axis(hillside, along_m)
    uphill = np.column_stack([-np.sin(direction), np.cos(direction)])
    return np.asarray(points + up_m[:, None] * uphill)


def draw(hillside: Hillside, outline: Outline) -> FloatArray:
    """Draw a parcel's closed ring on the plane, anticlockwise, corners rounded."""
    (start, end), (low, high) = outline.along_m, outline.up_m
    lower, upper = _edges(outline)
    middle = (low + high) / 2
    corners = []
    for share, edge in ((lower[0], lower[1]), (upper[0][::-1], upper[1][::-1])):
        lean = np.interp(share, [0, 1], outline.skew) * (edge - middle)
        corners.append(on_slope(hillside, start + share * (end - start) + lean, edge))
    return _round_corners(_round_corners(np.concatenate(corners)))


def _edges(
    outline: Outline,
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Give lower and upper edge as (share along the parcel, metres up the slope)."""
    rng = np.random.default_rng([7, outline.seed])
    start, end = outline.along_m
    pieces = max(int((end - start) / STEP_M), 3)
    edges = []
    for level, wobble_m in zip(outline.up_m, (2.5, 4.0), strict=True):
        share = np.linspace(0.0, 1.0, pieces + 1)
        share[1:-1] += rng.normal(0.0, 0.15 / pieces, pieces - 1)
        edges.append((share, level + _wobble(share, wobble_m, rng)))
    if outline.bite is not None:
        centre, width, depth = outline.bite
        share, up = edges[1]
        away = (start + share * (end - start) - centre) / width
        edges[1] = (share, up - depth * np.exp(-(away**2)))
    return edges[0], edges[1]


def _wobble(share: FloatArray, size_m: float, rng: np.random.Generator) -> FloatArray:
    """Let an edge stray: two slow waves and a little roughness, within 2 x size."""
    waves = sum(
        np.sin(2 * np.pi * (count * share + rng.uniform())) / count for count in (1, 2)
    )
    rough = rng.normal(0.0, 0.25, share.size)
    return np.clip(size_m * (waves / 1.5 + rough), -2 * size_m, 2 * size_m)


def _round_corners(ring: FloatArray) -> FloatArray:
    """Cut each corner at a quarter of its sides (Chaikin 1974, one pass)."""
    following = np.roll(ring, -1, axis=0)
    cut = np.stack([0.75 * ring + 0.25 * following, 0.25 * ring + 0.75 * following], 1)
    return cut.reshape(-1, 2)


def ellipse(centre: FloatArray, half_axes_m: tuple[float, float]) -> FloatArray:
    """Draw a small pond or copse, clockwise, as holes are."""
    angles = -np.linspace(0.0, 2 * np.pi, 15)[:-1]
    stretch = 1 + 0.12 * np.sin(3 * angles)
    across, along = half_axes_m
    return centre + np.column_stack(
        [across * np.cos(angles) * stretch, along * np.sin(angles) * stretch]
    )


def to_degrees(hillside: Hillside, points_m: FloatArray) -> FloatArray:
    """Turn plane points, shape (n, 2), into longitude and latitude."""
    latitude = np.radians(hillside.latitude)
    bend = 1 - ECCENTRICITY_SQUARED * np.sin(latitude) ** 2
    meridian_m = SEMI_MAJOR_AXIS_M * (1 - ECCENTRICITY_SQUARED) / bend**1.5
    parallel_m = SEMI_MAJOR_AXIS_M / np.sqrt(bend) * np.cos(latitude)
    shifts = np.degrees(points_m / np.array([parallel_m, meridian_m]))
    origin = np.array([hillside.longitude, hillside.latitude])
    return np.asarray(np.round(origin + shifts, DECIMALS))


def inside(points_m: FloatArray, rings: list[FloatArray]) -> npt.NDArray[np.bool_]:
    """Tell which points lie inside the rings, holes not (even-odd rule)."""
    crossings = np.zeros(len(points_m), dtype=np.int64)
    for ring in rings:
        start, end = ring, np.roll(ring, -1, axis=0)
        x, y = points_m[:, :1], points_m[:, 1:]
        spans = (start[:, 1] > y) != (end[:, 1] > y)
        rise = np.where(end[:, 1] == start[:, 1], 1.0, end[:, 1] - start[:, 1])
        reach = start[:, 0] + (y - start[:, 1]) / rise * (end[:, 0] - start[:, 0])
        crossings += (spans & (x < reach)).sum(axis=1)
    return np.asarray(crossings % 2 == 1)


def well_inside(
    points_m: FloatArray, rings: list[FloatArray], *, margin_m: float
) -> npt.NDArray[np.bool_]:
    """Tell which points lie inside, and not within a margin of the edge."""
    kept = inside(points_m, rings)
    for turn in np.arange(8) * np.pi / 4:
        shift = margin_m * np.array([np.cos(turn), np.sin(turn)])
        kept &= inside(points_m + shift, rings)
    return kept


def vines_along_rows(
    rings: list[FloatArray],
    *,
    row_direction_deg: float,
    spacing_m: tuple[float, float],
    count: int,
    rng: np.random.Generator,
) -> FloatArray:
    """Pick vines spread over a block's rows, one from each of `count` bands of rows.

    row_direction_deg: clockwise from north. spacing_m: between rows, between vines.
    """
    angle = np.radians(90 - row_direction_deg)
    along = np.array([np.cos(angle), np.sin(angle)])
    across = np.array([-along[1], along[0]])
    corners = np.concatenate(rings)
    row_m, vine_m = spacing_m
    low, high = (corners @ across).min(), (corners @ across).max()
    left, right = (corners @ along).min(), (corners @ along).max()
    picked: list[FloatArray] = []
    bands = np.linspace(low, high, count + 1)
    while len(picked) < count:
        band = len(picked)
        # A band at the very edge may hold no vine: then any row will do.
        for bounds in [(bands[band], bands[band + 1])] * 3 + [(low, high)]:
            row = np.floor(rng.uniform(*bounds, 40) / row_m) * row_m + row_m / 2
            vine = np.floor(rng.uniform(left, right, 40) / vine_m) * vine_m
            tries = row[:, None] * across + vine[:, None] * along
            found = tries[well_inside(tries, rings, margin_m=EDGE_M)]
            if found.size:
                picked.append(found[0])
                break
    return np.array(picked)
