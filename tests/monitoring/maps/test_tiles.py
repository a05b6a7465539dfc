"""Tiles hold the blocks a person may see, where they are, and nothing else."""

from collections.abc import Callable
from datetime import date
from math import asinh, degrees, floor, pi, radians, sinh, tan
from math import atan as arc_tangent
from pathlib import Path

import mapbox_vector_tile
import pyogrio
import pytest
from django.test import Client

from blocks.models import Block, BlockBoundary
from blocks.tenancy import stating
from monitoring.queries.maps import TileAddress, blocks_tile
from tests.builders import Role, World, square

pytestmark = pytest.mark.django_db

EXTENT = 4096
ROLES = [role.value for role in Role]


def tile_at(zoom: int, longitude: float, latitude: float) -> TileAddress:
    """Find the tile of a place.

    Source: the web map grid of OGC 17-083r4, annex D.1 (WebMercatorQuad).
    """
    side = 2**zoom
    x = (longitude + 180) / 360 * side
    y = (1 - asinh(tan(radians(latitude))) / pi) / 2 * side
    return TileAddress(zoom, floor(x), floor(y))


def place_of(address: TileAddress, point: tuple[float, float]) -> tuple[float, float]:
    """Give the longitude and latitude of a point inside a tile, y downwards."""
    side = 2**address.z
    x = (address.x + point[0] / EXTENT) / side
    y = (address.y + point[1] / EXTENT) / side
    return x * 360 - 180, degrees(arc_tangent(sinh(pi * (1 - 2 * y))))


def url_of(world: World, address: TileAddress, on: str = "2026-08-01") -> str:
    return world.url(f"tiles/{on}/{address.z}/{address.x}/{address.y}.mvt")


def names_in(content: bytes) -> set[str]:
    layers = mapbox_vector_tile.decode(content) if content else {}
    features = layers.get("blocks", {"features": []})["features"]
    return {feature["properties"]["name"] for feature in features}


@pytest.fixture
def around() -> TileAddress:
    """One tile over both blocks of a world, which lie at 10 and 10.01 east."""
    return tile_at(11, 10.0005, 45.0005)


@pytest.mark.parametrize("role", ROLES)
def test_each_role_gets_the_blocks_of_its_farms(
    world: World, around: TileAddress, role: str
) -> None:
    content = world.client(role).get(url_of(world, around)).content
    expected = world.blocks[:1] if role == Role.GROWER else world.blocks
    assert names_in(content) == {block.name for block in expected}


@pytest.mark.parametrize("zoom", [9, 14, 16])
def test_a_block_lies_where_its_boundary_is(world: World, zoom: int) -> None:
    address = tile_at(zoom, 10.0005, 45.0005)
    content = world.client("grower").get(url_of(world, address)).content
    layer = mapbox_vector_tile.decode(content, default_options={"y_coord_down": True})[
        "blocks"
    ]
    (feature,) = layer["features"]
    ring = feature["geometry"]["coordinates"]
    points = ring[0] if feature["geometry"]["type"] == "Polygon" else ring[0][0]
    places = [place_of(address, point) for point in points]
    unit = 360 / 2**zoom / EXTENT
    west, east = (pick(place[0] for place in places) for pick in (min, max))
    south, north = (pick(place[1] for place in places) for pick in (min, max))
    assert west == pytest.approx(10.0, abs=unit)
    assert east == pytest.approx(10.001, abs=unit)
    assert south == pytest.approx(45.0, abs=unit)
    assert north == pytest.approx(45.001, abs=unit)
    assert feature["properties"]["uuid"] == str(world.block.uuid)


def test_another_reader_of_tiles_finds_the_same(
    world: World, around: TileAddress, tmp_path: Path
) -> None:
    """GDAL's own MVT driver reads what PostGIS wrote."""
    content = world.client("lab").get(url_of(world, around)).content
    file = tmp_path / f"{around.y}.mvt"
    file.write_bytes(content)
    frame = pyogrio.raw.read(file, layer="blocks")
    names = frame[3][list(frame[0]["fields"]).index("name")]
    assert set(names) == {block.name for block in world.blocks}


def test_another_groups_tile_looks_missing(
    make_world: Callable[..., World], around: TileAddress, stranger: Client
) -> None:
    mine, other = make_world(), make_world("Canary ")
    assert mine.client("coordinator").get(url_of(other, around)).status_code == 404
    assert stranger.get(url_of(other, around)).status_code == 404
    own = mine.client("coordinator").get(url_of(mine, around)).content
    assert b"Canary" not in own
    assert names_in(own) == {block.name for block in mine.blocks}


def test_the_database_hides_another_groups_blocks_from_the_tile(
    make_world: Callable[..., World], around: TileAddress
) -> None:
    """The first wall is taken down on purpose: the other group's keys are given."""
    mine, other = make_world(), make_world()
    keys = [block.pk for block in (*mine.blocks, *other.blocks)]
    with stating(mine.group.pk):
        on = date(2026, 8, 1)
        assert blocks_tile(other.group.pk, keys, around, on=on) == b""
        assert len(names_in(blocks_tile(mine.group.pk, keys, around, on=on))) == 2


def test_a_day_gets_the_boundary_of_its_time(world: World) -> None:
    with stating(world.group.pk):
        BlockBoundary.objects.create(
            farm_group=world.group,
            block=world.block,
            geometry=square(20.0, 45.0),
            valid_from=date(2026, 7, 1),
            source="test",
        )
    client = world.client("grower")
    old, new = tile_at(11, 10.0005, 45.0005), tile_at(11, 20.0005, 45.0005)
    name = {world.block.name}
    assert names_in(client.get(url_of(world, old, "2026-06-30")).content) == name
    assert names_in(client.get(url_of(world, new, "2026-06-30")).content) == set()
    assert names_in(client.get(url_of(world, new, "2026-07-01")).content) == name
    assert names_in(client.get(url_of(world, old, "2026-07-01")).content) == set()


def test_a_day_before_the_first_boundary_gets_the_first(world: World) -> None:
    with stating(world.group.pk):
        late = Block.objects.create(
            farm_group=world.group, farm=world.farms[0], name="Late"
        )
        for valid_from, west in ((date(2026, 7, 1), 30.0), (date(2026, 9, 1), 40.0)):
            BlockBoundary.objects.create(
                farm_group=world.group,
                block=late,
                geometry=square(west, 45.0),
                valid_from=valid_from,
                source="test",
            )
    tile = url_of(world, tile_at(11, 30.0005, 45.0005), "2025-08-01")
    assert names_in(world.client("grower").get(tile).content) == {"Late"}


def test_a_tile_is_kept_but_asked_for_again(world: World, around: TileAddress) -> None:
    client = world.client("consultant")
    first = client.get(url_of(world, around))
    assert first.headers["Cache-Control"] == "private, no-cache"
    assert "Cookie" in first.headers["Vary"]
    again = client.get(
        url_of(world, around), headers={"If-None-Match": first.headers["ETag"]}
    )
    assert (again.status_code, again.content) == (304, b"")
    with stating(world.group.pk):
        Block.objects.filter(pk=world.block.pk).update(name="Renamed")
    changed = client.get(
        url_of(world, around), headers={"If-None-Match": first.headers["ETag"]}
    )
    assert changed.status_code == 200


@pytest.mark.parametrize(
    "rest",
    [
        "tiles/2026-08-01/23/0/0.mvt",
        "tiles/2026-08-01/3/8/0.mvt",
        "tiles/2026-08-01/3/0/8.mvt",
        "tiles/2026-08-01/99999999999999999999/0/0.mvt",
        "tiles/2026-02-31/3/0/0.mvt",
        "tiles/lately/3/0/0.mvt",
    ],
)
def test_a_tile_that_cannot_be_is_not_found(world: World, rest: str) -> None:
    assert world.client("lab").get(world.url(rest)).status_code == 404


def test_a_far_tile_is_empty_and_valid(world: World) -> None:
    address = tile_at(11, -70.0, -33.0)
    answer = world.client("lab").get(url_of(world, address))
    assert (answer.status_code, answer.content) == (200, b"")
