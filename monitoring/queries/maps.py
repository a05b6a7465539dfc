"""Boundaries as vector tiles and bounds, and bags as points."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib.gis.db.models import Extent
from django.db import connection

from blocks.models import Block, BlockBoundary
from monitoring.models import Round

# Below this zoom a pixel is wider than a row of vines, and outlines are simplified.
FINE_ZOOM = 13
HIGHEST_ZOOM = 22
# Row-level security keeps the spatial index out of use for `&&` (its operator is not
# leakproof), so a farm group's few thousand boundaries are looked through; boxes are
# compared first, and whether a boundary is the one in force is asked of those left.
TILE = """
WITH tile AS MATERIALIZED (
    SELECT ST_TileEnvelope(%(z)s, %(x)s, %(y)s) AS envelope,
        ST_Transform(ST_TileEnvelope(%(z)s, %(x)s, %(y)s, margin => 64.0 / 4096), 4326)
        AS around
),
shape AS MATERIALIZED (
    SELECT k.uuid::text AS uuid, k.name, ST_AsMVTGeom(
        ST_Simplify(ST_Transform(b.geometry, 3857), %(tolerance)s, true),
        tile.envelope, 4096, 64, true) AS geom
    FROM tile JOIN blocks_blockboundary b ON b.geometry && tile.around
    JOIN blocks_block k ON k.farm_group_id = %(group)s AND k.id = b.block_id
    WHERE b.farm_group_id = %(group)s AND b.block_id = ANY(%(blocks)s) AND NOT EXISTS (
        SELECT FROM blocks_blockboundary o
        WHERE o.farm_group_id = %(group)s AND o.block_id = b.block_id AND CASE
            WHEN b.valid_from <= %(on)s
            THEN o.valid_from > b.valid_from AND o.valid_from <= %(on)s
            ELSE o.valid_from < b.valid_from END
    )
)
SELECT ST_AsMVT(shape, 'blocks', 4096, 'geom') FROM shape WHERE geom IS NOT NULL
"""


@dataclass(frozen=True, slots=True)
class TileAddress:
    """A tile of the usual web map grid."""

    z: int
    x: int
    y: int

    @property
    def exists(self) -> bool:
        """Whether the grid has such a tile."""
        # The zoom is looked at first: two to the power of a huge one takes forever.
        return self.z <= HIGHEST_ZOOM and max(self.x, self.y) < 2**self.z


def blocks_tile(
    farm_group_id: int, blocks: Iterable[int], address: TileAddress, *, on: date
) -> bytes:
    """Draw blocks as a vector tile; 1 query.

    Each has the boundary in force on the date, or its first one if that is later.
    """
    # Half a pixel of a tile drawn 512 pixels wide, in metres of the map's projection.
    tolerance = 0.0 if address.z >= FINE_ZOOM else 39_000.0 / 2**address.z
    with connection.cursor() as cursor:
        cursor.execute(
            TILE,
            {
                "z": address.z,
                "x": address.x,
                "y": address.y,
                "group": farm_group_id,
                "blocks": list(blocks),
                "on": on,
                "tolerance": tolerance,
            },
        )
        (tile,) = cursor.fetchone()
    return bytes(tile or b"")


def bounds_of(
    farm_group_id: int, blocks: Iterable[int]
) -> tuple[float, float, float, float] | None:
    """Give west, south, east and north of blocks; None without boundaries; 1 query."""
    found = (
        BlockBoundary.objects.for_group(farm_group_id)
        .filter(block__in=list(blocks))
        .aggregate(extent=Extent("geometry"))
    )
    extent: tuple[float, float, float, float] | None = found["extent"]
    return extent


def boundary_of(block: Block, *, on: date) -> BlockBoundary | None:
    """Give the boundary in force on a date, or the first one; 1 query."""
    boundaries = list(
        BlockBoundary.objects.for_group(block.farm_group_id)
        .filter(block=block)
        .order_by("valid_from")
    )
    in_force = [one for one in boundaries if one.valid_from <= on]
    return in_force[-1] if in_force else next(iter(boundaries), None)


BAGS = """
SELECT b.code, b.position, ST_X(b.point), ST_Y(b.point),
    CASE WHEN bool_or(t.animals_in_dish IS NOT NULL)
        THEN sum(coalesce(t.animals_in_dish, t.count / t.proportion_counted))
        ELSE sum(t.count) / avg(t.proportion_counted) END / b.units,
    bool_or(t.count IS NULL) OR count(t.id) < coalesce(max(w.dishes), 1)
FROM monitoring_bag b
LEFT JOIN monitoring_wash w ON w.farm_group_id = b.farm_group_id AND w.bag_id = b.id
    AND w.number = 1
LEFT JOIN monitoring_tally t ON t.farm_group_id = b.farm_group_id AND t.wash_id = w.id
    AND t.state = 'published' AND t.chosen AND t.organism_id = %(organism)s
WHERE b.farm_group_id = %(group)s AND b.round_id = %(round)s AND b.tissue = %(tissue)s
    AND b.point IS NOT NULL
GROUP BY b.id ORDER BY b.code
"""


def bags_as_points(
    of_round: Round, *, tissue: str, organism_id: int
) -> list[dict[str, Any]]:
    """List a round's bags with a place, and animals per unit in each; 1 query.

    The figure is a single bag's count over the share counted, not corrected for what
    washing leaves behind.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            BAGS,
            {
                "group": of_round.farm_group_id,
                "round": of_round.pk,
                "organism": organism_id,
                "tissue": tissue,
            },
        )
        rows = cursor.fetchall()
    return [
        {
            "code": code,
            "position": position,
            "lon": lon,
            "lat": lat,
            "washed_off": None if unknown else float(washed_off),
        }
        for code, position, lon, lat, washed_off, unknown in rows
    ]
