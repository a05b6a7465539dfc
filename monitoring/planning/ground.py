"""A block's ground in metres: its boundary, the distance to the edge, its rows."""

from dataclasses import dataclass
from functools import cached_property
from math import ceil, cos, degrees, floor, radians, sin
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Transformer
from shapely import affinity

from monitoring.estimation.balanced_sampling import Box
from monitoring.estimation.validation import FloatArray
from monitoring.planning.errors import PlanError

# Smaller than a vine's own place, so that no vine is found at it.
LEAST_AREA_M2 = 0.1
# Places laid out to look at a whole block, along its longer side.
FINE, FINEST = 60, 480


@dataclass(frozen=True, slots=True)
class Rows:
    """How a block's vines stand: direction from north, clockwise, and spacings."""

    direction_deg: float
    row_spacing_m: float
    vine_spacing_m: float


class Ground:
    """Where a block's vines may be sampled, in metres along and across its rows.

    Metres are those of an azimuthal equidistant projection about the block's middle;
    over a few kilometres it is true to about a millimetre. Without rows known, the
    frame lies along the block's longer side.
    """

    def __init__(self, boundary_wkb: bytes, *, buffer_m: float, rows: Rows | None):
        outline = shapely.make_valid(shapely.from_wkb(boundary_wkb))
        middle = outline.centroid
        self._to_metres = Transformer.from_crs(
            "EPSG:4326",
            f"+proj=aeqd +lat_0={middle.y} +lon_0={middle.x} +datum=WGS84 +units=m",
            always_xy=True,
        )
        metres = shapely.transform(outline, self._project)
        self.rows = rows
        turned_deg = rows.direction_deg if rows else _longer_side(metres)
        # Its own inverse: along and across to east and north, and back.
        along, across = sin(radians(turned_deg)), cos(radians(turned_deg))
        self._turn = np.array([[along, across], [across, -along]])
        self.block = affinity.affine_transform(
            metres, [along, across, across, -along, 0, 0]
        )
        self.allowed = self.block.buffer(-buffer_m) if buffer_m else self.block
        if self.allowed.area < LEAST_AREA_M2:
            raise PlanError(self._no_room(buffer_m), field="buffer_m")
        shapely.prepare(self.allowed)

    def _project(self, lonlat: FloatArray) -> FloatArray:
        return np.column_stack(self._to_metres.transform(lonlat[:, 0], lonlat[:, 1]))

    def _no_room(self, buffer_m: float) -> str:
        if buffer_m == 0:
            return "The block's boundary encloses next to nothing. Look at it."
        widest = self.widest_m
        if widest < 1:
            return (
                "The block is less than 2 m wide everywhere, so no vine of it lies"
                f" {buffer_m:g} m from the edge. Write 0, or look at its boundary."
            )
        return (
            f"No place of the block lies {buffer_m:g} m from its edge: its middle is"
            f" {widest:.1f} m from it. Write less than {floor(widest * 10) / 10:g} m."
        )

    @property
    def widest_m(self) -> float:
        """How far from the edge the block's innermost place lies."""
        return float(shapely.maximum_inscribed_circle(self.block).length)

    @cached_property
    def box(self) -> Box:
        """The box that places are drawn in; with rows, of whole vines' places."""
        west, south, east, north = self.allowed.bounds
        if self.rows:
            x, y = self._corner
            vine, row = self.rows.vine_spacing_m, self.rows.row_spacing_m
            west, east = x + floor((west - x) / vine) * vine, _up(east, x, vine)
            south, north = y + floor((south - y) / row) * row, _up(north, y, row)
        return Box(west, south, east - west, north - south)

    @cached_property
    def _corner(self) -> tuple[float, float]:
        """Where rows and vines are counted from: the first row stands half a row in."""
        west, south, _, _ = self.block.bounds
        return float(west), float(south)

    def places(self, drawn: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Give the vine of each place, or the place itself, and whether it may be.

        A place is moved first and looked at then, so that each vine inside has the
        same area of places that lead to it.
        """
        moved = drawn
        if self.rows:
            each = np.array([self.rows.vine_spacing_m, self.rows.row_spacing_m])
            moved = (
                self._corner + (np.floor((drawn - self._corner) / each) + 0.5) * each
            )
        inside = shapely.contains_xy(self.allowed, moved[:, 0], moved[:, 1])
        return moved, np.asarray(inside)

    def vines(self, most: int) -> int | None:
        """Count the vines that may be sampled; None where they are many more."""
        if not self.rows:
            return None
        vine, row = self.rows.vine_spacing_m, self.rows.row_spacing_m
        box = self.box
        along, across = round(box.width / vine), round(box.height / row)
        if self.allowed.area > 4 * most * vine * row or along * across > 4_000_000:
            return None
        shares = np.stack(
            np.meshgrid(
                (np.arange(along) + 0.5) / along, (np.arange(across) + 0.5) / across
            ),
            axis=-1,
        ).reshape(-1, 2)
        return int(self.places(box.fill(shares))[1].sum())

    def laid_out(self) -> FloatArray:
        """Give places laid evenly over what may be sampled, to measure balance by."""
        coarse = self._laid_out(FINE)
        return coarse if len(coarse) > 20 * FINE else self._laid_out(FINEST)

    def _laid_out(self, along: int) -> FloatArray:
        box = self.box
        each = max(box.width, box.height) / along
        xs = np.arange(box.x + each / 2, box.x + box.width, each)
        ys = np.arange(box.y + each / 2, box.y + box.height, each)
        laid = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
        inside = shapely.contains_xy(self.allowed, laid[:, 0], laid[:, 1])
        kept: FloatArray = laid[inside]
        return kept

    def row_numbers(self, places: FloatArray) -> FloatArray:
        """Give places with their row's number instead of metres across."""
        if not self.rows:
            return places
        across = (places[:, 1] - self._corner[1]) / self.rows.row_spacing_m
        return np.column_stack([places[:, 0], np.floor(across)])

    def lonlat(self, places: FloatArray) -> FloatArray:
        """Bring places back to degrees east and north."""
        metres = places @ self._turn
        back = self._to_metres.transform(
            metres[:, 0], metres[:, 1], direction="INVERSE"
        )
        return np.column_stack(back)

    def frame(self, lonlat: FloatArray) -> FloatArray:
        """Bring degrees east and north to metres along and across."""
        turned: FloatArray = self._project(lonlat) @ self._turn
        return turned

    def holds(self, lonlat: FloatArray) -> NDArray[np.bool_]:
        """Tell which places lie inside the boundary, whatever the distance to it."""
        places = self.frame(lonlat)
        return np.asarray(shapely.contains_xy(self.block, places[:, 0], places[:, 1]))


def _up(end: float, corner: float, each: float) -> float:
    return corner + max(ceil((end - corner) / each), 1) * each


def _longer_side(metres: Any) -> float:
    """Give the direction, from north, of the longer side of the box around."""
    around = shapely.minimum_rotated_rectangle(metres)
    if around.geom_type != "Polygon":
        return 90.0
    corners = shapely.get_coordinates(around)[:3]
    sides = np.diff(corners, axis=0)
    east, north = sides[np.argmax(np.linalg.norm(sides, axis=1))]
    return degrees(float(np.arctan2(east, north))) % 180
