"""Vector tiles of a large farm group, against their bare SQL, in one run.

    python -m tests.benchmarks.tiles [BLOCKS]

Invented parcels of 41 points on a grid, all in one farm group, read as the site's role
behind row-level security. Compared at three zooms, the best of 25: the page's own
answer, the query alone, and a plain query that neither simplifies nor looks at boxes
first. Allowed: the answer within 1.25 times its query plus the time of a tile without
blocks (session, person, group), no tile over 300 kB, and the widest tile in no more
time than the plain query takes. Needs the environment of the tests.
"""

import sys
import time
from collections.abc import Callable
from datetime import date
from math import asinh, cos, floor, pi, radians, sin, tan
from types import SimpleNamespace
from typing import Any

# Sets up Django, so it comes before everything of the site.
from tests.benchmarks.sheets import own_database  # isort: skip

from django.contrib.gis.geos import MultiPolygon, Polygon
from django.db import connection
from django.test import Client
from django.test.utils import setup_test_environment

from blocks.models import Block, BlockBoundary, Membership
from blocks.services.groups import add_farm, add_member, create_farm_group
from blocks.tenancy import stating
from monitoring.queries.maps import TileAddress, blocks_tile
from tests.builders import make_user

BLOCKS, ZOOMS, TIMES = 2_000, (9, 12, 14), 25
ALLOWED_TIMES, ALLOWED_KB = 1.25, 300
ON = date(2026, 8, 1)
PLAIN = """
SELECT ST_AsMVT(shape, 'blocks', 4096, 'geom') FROM (
    SELECT k.uuid::text AS uuid, k.name, ST_AsMVTGeom(
        ST_Transform(b.geometry, 3857), ST_TileEnvelope(%(z)s, %(x)s, %(y)s)) AS geom
    FROM blocks_blockboundary b JOIN blocks_block k ON k.id = b.block_id
    WHERE b.farm_group_id = %(group)s
) shape WHERE geom IS NOT NULL
"""


def parcel(number: int) -> MultiPolygon:
    """Give a rounded parcel of 41 points, its place on a grid by its number."""
    column, row = number % 50, number // 50
    turns = [2 * pi * step / 40 for step in range(40)]
    ring = [
        (
            10 + 0.0022 * column + 0.0009 * (1 + 0.1 * sin(5 * turn)) * cos(turn),
            45 + 0.0016 * row + 0.0006 * (1 + 0.1 * sin(5 * turn)) * sin(turn),
        )
        for turn in turns
    ]
    return MultiPolygon(Polygon([*ring, ring[0]]))


def farm_group(blocks: int) -> Any:
    """Make a farm group with blocks and a consultant."""
    group = create_farm_group(name="Many blocks", slug="many-blocks")
    farm = add_farm(group, name="Farm")
    with stating(group.pk):
        made = Block.objects.bulk_create(
            Block(farm_group=group, farm=farm, name=f"Block {number}")
            for number in range(blocks)
        )
        BlockBoundary.objects.bulk_create(
            BlockBoundary(
                farm_group=group,
                block=block,
                geometry=parcel(number),
                valid_from=date(2020, 1, 1),
            )
            for number, block in enumerate(made)
        )
    person = make_user("consultant")
    role = Membership.Role.CONSULTANT
    add_member(group, user=person, role=role, valid_from=date(2000, 1, 1))
    setup_test_environment()
    client = Client()
    client.force_login(person)
    return SimpleNamespace(group=group, client=client, keys=[one.pk for one in made])


def tile_at(zoom: int, longitude: float, latitude: float) -> TileAddress:
    """Find the tile of a place."""
    side = 2**zoom
    down = (1 - asinh(tan(radians(latitude))) / pi) / 2
    return TileAddress(zoom, floor((longitude + 180) / 360 * side), floor(down * side))


def best_ms(work: Callable[[], object]) -> float:
    """Take the best of some runs."""
    found = []
    for _ in range(TIMES):
        begun = time.perf_counter()
        work()
        found.append((time.perf_counter() - begun) * 1000)
    return min(found)


def url_of(many: Any, address: TileAddress) -> str:
    """Give a tile's address on the site."""
    place = f"{address.z}/{address.x}/{address.y}"
    return f"/g/{many.group.slug}/tiles/{ON}/{place}.mvt"


def measure(many: Any, zoom: int) -> tuple[float, float, float, float, float]:
    """Give milliseconds of answer, door, query and plain query, and the tile's kB."""
    address = tile_at(zoom, 10.05, 45.03)
    url = url_of(many, address)
    answer = many.client.get(url)
    assert answer.status_code == 200
    empty = url_of(many, tile_at(zoom, -70.0, -33.0))
    door = best_ms(lambda: many.client.get(empty))
    whole = best_ms(lambda: many.client.get(url))
    named = {"group": many.group.pk, "z": address.z, "x": address.x, "y": address.y}
    with stating(many.group.pk), connection.cursor() as cursor:
        query = best_ms(lambda: blocks_tile(many.group.pk, many.keys, address, on=ON))
        plain = best_ms(lambda: cursor.execute(PLAIN, named))
    return whole, door, query, plain, len(answer.content) / 1000


def main() -> int:
    """Measure, print, and say by the exit code whether all is within bounds."""
    blocks = int(sys.argv[1]) if len(sys.argv) > 1 else BLOCKS
    within = True
    with own_database():
        many = farm_group(blocks)
        sys.stdout.write(f"{blocks:,} blocks; best of {TIMES}\n")
        for zoom in ZOOMS:
            whole, door, query, plain, size = measure(many, zoom)
            fits = whole <= ALLOWED_TIMES * query + door and size <= ALLOWED_KB
            if zoom == min(ZOOMS):
                fits = fits and query <= plain
            within = within and fits
            sys.stdout.write(
                f"zoom {zoom}: answer {whole:.1f} ms, door {door:.1f} ms, query"
                f" {query:.1f} ms, plain {plain:.1f} ms, {size:.0f} kB"
                f"{'' if fits else ' OUT OF BOUNDS'}\n"
            )
    return 0 if within else 1


if __name__ == "__main__":
    sys.exit(main())
