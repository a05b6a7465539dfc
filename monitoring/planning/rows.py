"""Where a point stands among the rows, as a walker counts them."""

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
import shapely

from monitoring.estimation.validation import FloatArray
from monitoring.planning.ground import Ground, Rows

COMPASS = (
    "north",
    "north-east",
    "east",
    "south-east",
    "south",
    "south-west",
    "west",
    "north-west",
)


@dataclass(frozen=True, slots=True)
class RowPlace:
    """A point's row, from 1, and how far into it the point stands, in metres."""

    row: int
    metres_in: float


@dataclass(frozen=True, slots=True)
class Sides:
    """The sides that rows, and metres along them, are counted from."""

    rows_from: str
    metres_from: str


def sides_of(rows: Rows) -> Sides:
    """Name the sides by the compass."""
    along = np.array(
        [sin(radians(rows.direction_deg)), cos(radians(rows.direction_deg))]
    )
    across = np.array([along[1], -along[0]])
    return Sides(rows_from=_compass(-across), metres_from=_compass(-along))


def _compass(towards: FloatArray) -> str:
    degrees = np.degrees(np.arctan2(towards[0], towards[1])) % 360
    return COMPASS[round(degrees / 45) % 8]


def row_places(ground: Ground, lonlat: FloatArray) -> list[RowPlace]:
    """Give each point's row and its metres from the row's end, or the part's end."""
    places = ground.frame(lonlat)
    numbers = ground.row_numbers(places)[:, 1]
    return [
        RowPlace(int(number) + 1, _metres_in(ground, place))
        for number, place in zip(numbers, places, strict=True)
    ]


def _metres_in(ground: Ground, place: FloatArray) -> float:
    """Measure from where the row enters the part of the block that it stands in."""
    west, _, east, _ = ground.block.bounds
    row = shapely.LineString([(west - 1, place[1]), (east + 1, place[1])])
    stretches = shapely.get_parts(shapely.intersection(ground.block, row))
    starts = [
        one.bounds[0] for one in stretches if one.bounds[0] <= place[0] <= one.bounds[2]
    ]
    return float(place[0] - max(starts, default=west))
