"""The invented farm group: three farms, eighteen blocks and where they lie.

The coordinates fall on upland pasture; no vineyard, farm or name here is a real one.
Cultivars are real ones, because their names mean something to a grower.
"""

import json
from dataclasses import dataclass
from functools import cache

import numpy as np

from deploy.demo.parcels import (
    FloatArray,
    Hillside,
    Outline,
    axis,
    draw,
    ellipse,
    on_slope,
    to_degrees,
)

GROUP_NAME = "Orrenvale Farm Group"
GROUP_SLUG = "orrenvale"
TIME_ZONE = "Europe/Paris"

HILLSIDES = {
    "Tolbeck": Hillside(
        longitude=2.0505,
        latitude=46.0292,
        heading_deg=72,
        swing_deg=14,
        wave_m=900,
        phase=0.4,
    ),
    "Hesmoor": Hillside(
        longitude=2.0575,
        latitude=46.0262,
        heading_deg=118,
        swing_deg=16,
        wave_m=1100,
        phase=2.2,
    ),
    "Cindry": Hillside(
        longitude=2.0480,
        latitude=46.0215,
        heading_deg=35,
        swing_deg=12,
        wave_m=760,
        phase=4.1,
    ),
}
FARM_NAMES = tuple(HILLSIDES)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockPlace:
    """A block of the demo: what is planted, and its outline."""

    farm: str
    name: str
    code: str
    cultivar: str
    planting_year: int
    row_spacing_m: float
    vine_spacing_m: float
    outlines: tuple[Outline, ...]
    rows_along_contour: bool = True
    # A pond or copse inside: along the axis, up the slope, and its two half-axes.
    hole: tuple[float, float, float, float] | None = None

    @property
    def hillside(self) -> Hillside:
        """The slope the block lies on."""
        return HILLSIDES[self.farm]

    @property
    def row_direction_deg(self) -> float:
        """Direction of the rows, degrees clockwise from north, 0 to below 180."""
        outline = self.outlines[0]
        _, direction = axis(self.hillside, np.array([sum(outline.along_m) / 2]))
        azimuth = 90 - float(np.degrees(direction[0]))
        return (
            round((azimuth if self.rows_along_contour else azimuth + 90) % 180, 0) % 180
        )


def _strip(
    along_m: tuple[float, float],
    up_m: tuple[float, float],
    seed: int,
    *,
    skew: tuple[float, float] = (0.0, 0.0),
    bite: tuple[float, float, float] | None = None,
) -> Outline:
    return Outline(along_m=along_m, up_m=up_m, seed=seed, skew=skew, bite=bite)


def _block(
    farm: str,
    name: str,
    planted: tuple[str, int],
    spacings_m: tuple[float, float],
    *outlines: Outline,
    down_slope: bool = False,
    hole: tuple[float, float, float, float] | None = None,
) -> BlockPlace:
    return BlockPlace(
        farm=farm,
        name=name,
        code="".join(word[0] for word in name.split()),
        cultivar=planted[0],
        planting_year=planted[1],
        row_spacing_m=spacings_m[0],
        vine_spacing_m=spacings_m[1],
        outlines=outlines,
        rows_along_contour=not down_slope,
        hole=hole,
    )


BLOCKS = (
    _block(
        "Tolbeck",
        "Long Bend",
        ("Pinot Noir", 1998),
        (2.0, 1.0),
        _strip((0, 325), (0, 118), 1, skew=(0.1, -0.3)),
    ),
    _block(
        "Tolbeck",
        "Owl Field",
        ("Chardonnay", 2006),
        (2.0, 1.0),
        _strip((345, 520), (0, 108), 2, skew=(-0.2, 0.2)),
    ),
    _block(
        "Tolbeck",
        "Ford Piece",
        ("Gamay", 2015),
        (1.8, 0.9),
        _strip((548, 655), (5, 80), 3, skew=(0.3, -0.2)),
    ),
    _block(
        "Tolbeck",
        "Upper Hatch",
        ("Pinot Noir", 2011),
        (2.0, 1.0),
        _strip((15, 215), (138, 245), 4, skew=(-0.1, 0.1), bite=(120, 32, 26)),
    ),
    _block(
        "Tolbeck",
        "Stony Rise",
        ("Riesling", 2003),
        (2.2, 1.1),
        _strip((238, 430), (132, 228), 5, skew=(0.1, 0.3)),
        down_slope=True,
    ),
    _block(
        "Tolbeck",
        "Thorn Corner",
        ("Chardonnay", 2019),
        (2.0, 1.0),
        _strip((468, 575), (124, 196), 6, skew=(0.3, -0.4)),
    ),
    _block(
        "Hesmoor",
        "Big Terrace",
        ("Cabernet Franc", 1994),
        (2.5, 1.2),
        _strip((0, 325), (0, 165), 7, skew=(0.1, 0.15)),
        hole=(210, 95, 16, 11),
    ),
    _block(
        "Hesmoor",
        "Kiln Ground",
        ("Merlot", 2001),
        (2.5, 1.2),
        _strip((350, 525), (0, 118), 8, skew=(0.15, -0.1)),
    ),
    _block(
        "Hesmoor",
        "Beech Side",
        ("Sauvignon Blanc", 2013),
        (2.2, 1.0),
        _strip((552, 765), (-5, 92), 9, skew=(-0.1, -0.4), bite=(690, 30, 22)),
    ),
    _block(
        "Hesmoor",
        "Nettle Top",
        ("Viognier", 2020),
        (2.2, 1.0),
        _strip((25, 125), (190, 248), 10, skew=(0.3, 0.0)),
    ),
    _block(
        "Hesmoor",
        "Wren Slope",
        ("Syrah", 2008),
        (2.2, 1.0),
        _strip((150, 330), (188, 292), 11, skew=(-0.1, 0.2)),
        down_slope=True,
    ),
    _block(
        "Hesmoor",
        "Rook Slope",
        ("Syrah", 2009),
        (2.2, 1.0),
        _strip((362, 452), (142, 232), 12, skew=(0.2, 0.1)),
        _strip((474, 570), (140, 212), 13, skew=(0.1, -0.3)),
        down_slope=True,
    ),
    _block(
        "Cindry",
        "Lower Cleft",
        ("Riesling", 1989),
        (1.9, 1.1),
        _strip((0, 198), (0, 98), 14, skew=(-0.2, 0.1)),
    ),
    _block(
        "Cindry",
        "Upper Cleft",
        ("Riesling", 1991),
        (1.9, 1.1),
        _strip((5, 192), (118, 214), 15, skew=(0.1, -0.1), bite=(90, 28, 30)),
    ),
    _block(
        "Cindry",
        "Sheep Walk",
        ("Pinot Gris", 2004),
        (2.0, 1.0),
        _strip((222, 465), (0, 128), 16, skew=(0.1, 0.2)),
    ),
    _block(
        "Cindry",
        "Two Springs",
        ("Pinot Noir", 2012),
        (2.0, 1.0),
        _strip((218, 392), (150, 248), 17, skew=(-0.1, 0.2), bite=(300, 26, 24)),
    ),
    _block(
        "Cindry",
        "Dry Bank",
        ("Gamay", 2017),
        (1.8, 0.9),
        _strip((428, 508), (152, 212), 18, skew=(0.2, -0.3)),
    ),
    _block(
        "Cindry",
        "Far Meadow",
        ("Chardonnay", 2010),
        (2.0, 1.0),
        _strip((498, 765), (-8, 102), 19, skew=(0.2, -0.2)),
    ),
)


@cache
def parcels_m(block: BlockPlace) -> tuple[tuple[FloatArray, ...], ...]:
    """Give a block's parcels on its farm's plane: each an outer ring, then holes."""
    parcels: list[tuple[FloatArray, ...]] = [
        (draw(block.hillside, outline),) for outline in block.outlines
    ]
    if block.hole is not None:
        along, up, *half_axes = block.hole
        centre = on_slope(block.hillside, np.array([along]), np.array([up]))
        parcels[0] += (ellipse(centre, (half_axes[0], half_axes[1])),)
    return tuple(parcels)


def boundary(block: BlockPlace) -> list[list[list[list[float]]]]:
    """Give a block's boundary as a GeoJSON MultiPolygon's coordinates."""
    return [
        [_closed(to_degrees(block.hillside, ring)) for ring in parcel]
        for parcel in parcels_m(block)
    ]


def _closed(ring: FloatArray) -> list[list[float]]:
    points: list[list[float]] = ring.tolist()
    return [*points, points[0]]


def blocks_geojson() -> str:
    """Write all blocks as a GeoJSON feature collection (RFC 7946)."""
    features = [
        {
            "type": "Feature",
            "properties": {
                "farm": block.farm,
                "name": block.name,
                "cultivar": block.cultivar,
                "planting_year": block.planting_year,
                "row_spacing_m": block.row_spacing_m,
                "vine_spacing_m": block.vine_spacing_m,
                "row_direction_deg": block.row_direction_deg,
            },
            "geometry": {"type": "MultiPolygon", "coordinates": boundary(block)},
        }
        for block in BLOCKS
    ]
    lines = ",\n".join(json.dumps(feature) for feature in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'
