"""How boundary files are read apart, what they say, and how they are published."""

import json
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import date
from http.server import BaseHTTPRequestHandler, HTTPServer
from math import cos, radians
from pathlib import Path
from typing import Any

import pytest
import shapely
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from blocks.access import member_for
from blocks.boundaries import reader
from blocks.boundaries.drawing import drawing_of
from blocks.boundaries.kinds import RefusedError
from blocks.boundaries.outline import Outline, judge, shape_of
from blocks.boundaries.reader import read_boundaries
from blocks.errors import SiteError
from blocks.models import Block, BlockBoundary, BoundaryImport
from blocks.services import boundaries
from blocks.tenancy import stating
from tests.blocks.boundary_files import (
    BOW_TIE,
    NEAR,
    SQUARE,
    collection,
    geopackage,
    kml,
    many_corners,
    one,
    polygon,
    shapefile,
    shifted,
    star,
)
from tests.builders import World, add_block

# As where the kernel lets nobody leave the network.
ON_THE_NETWORK = (
    "-c",
    "import sys; from blocks.boundaries import child;"
    " child._leave_the_network = lambda: None; sys.exit(child.main())",
)


def read(tmp_path: Path, content: bytes, **answers: Any) -> dict[str, Any]:
    path = tmp_path / "stored"
    path.write_bytes(content)
    return read_boundaries(path, answers)


def judged(geometry: dict[str, Any]) -> Outline:
    """Judge an outline in this process."""
    outline = Outline()
    wkb = shapely.to_wkb(shapely.from_geojson(json.dumps(geometry)))
    shape = shape_of(wkb, outline)
    assert shape is not None
    return judge(shape, outline)


def codes(document: dict[str, Any]) -> list[str]:
    holders = [document, *document["features"]]
    return [found["code"] for holder in holders for found in holder["findings"]]


def test_a_plain_outline_keeps_its_area_on_the_ellipsoid() -> None:
    # Lengths of a degree at 45.501 N on WGS 84, by the series for meridian and
    # parallel arcs (National Geospatial-Intelligence Agency, from memory).
    lat = radians(45.501)
    metres_lat = 111132.954 - 559.822 * cos(2 * lat) + 1.175 * cos(4 * lat)
    metres_lon = 111412.84 * cos(lat) - 93.5 * cos(3 * lat) + 0.118 * cos(5 * lat)
    expected = 0.002 * metres_lat * 0.002 * metres_lon
    assert judged(polygon(SQUARE)).area_m2 == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("points", [101, 301, 1501, 9999])
def test_b19_a_star_is_sent_back_at_once(points: int) -> None:
    started = time.monotonic()
    outline = judged(polygon(star(points)))
    assert outline.whole is None
    assert [code for _, code, _ in outline.problems] == ["crossing-outline"]
    assert time.monotonic() - started < 2


def test_b06_a_repair_tells_the_crossing_and_keeps_what_was() -> None:
    outline = judged(polygon(BOW_TIE))
    (problem,) = outline.problems
    # The middle of the square, where its diagonals cross.
    assert "10.101 45.101" in problem[2]
    assert outline.before is not None
    drawing = drawing_of(outline.geometry, outline.before)
    assert drawing is not None
    assert drawing.before != drawing.after


def test_b06_one_loop_in_a_long_outline_is_repaired() -> None:
    # Two neighbouring corners of a walked outline, in the wrong order.
    ring = many_corners(2001)
    ring[700], ring[701] = ring[701], ring[700]
    outline = judged(polygon(ring))
    assert [code for _, code, _ in outline.problems] == ["repaired"]
    straight = judged(polygon(many_corners(2001))).area_m2
    assert outline.area_m2 == pytest.approx(straight, rel=1e-4)


def test_an_outline_that_geos_cannot_mend_is_sent_back_alone() -> None:
    # GEOS 3.14 finds "unable to assign free hole to a shell" in this zigzag.
    ring = [[10 + k * 1e-6, 45.1234567 + (k % 7) * 1e-6] for k in range(130)]
    outline = judged(polygon([*ring, ring[0]]))
    assert outline.whole is None
    assert [code for _, code, _ in outline.problems] == ["crossing-outline"]


def test_b34_b35_corners_are_rounded_and_rings_turned() -> None:
    ring = [[x + 1.23456789012345e-9, y] for x, y in SQUARE[::-1]]
    outline = judged(polygon(ring))
    assert outline.whole is not None
    (part,) = outline.whole.geoms
    assert part.exterior.is_ccw
    assert all(x == round(x, 7) for x, _ in part.exterior.coords)


def test_corners_closer_than_the_rounding_leave_a_valid_outline() -> None:
    tooth = [[10.1, 45.1], [10.101, 45.1], [10.101, 45.101], [10.1005, 45.10000004],
             [10.1004, 45.101], [10.1, 45.101], [10.1, 45.1]]  # fmt: skip
    outline = judged(polygon(tooth))
    assert outline.whole is not None
    assert outline.whole.is_valid


def test_b12_an_outline_split_at_180_is_drawn_in_one_piece() -> None:
    halves = {"type": "MultiPolygon", "coordinates": [
        [[[179.99, 10], [180, 10], [180, 10.01], [179.99, 10]]],
        [[[-180, 10], [-179.99, 10], [-180, 10.01], [-180, 10]]]]}  # fmt: skip
    drawing = drawing_of(judged(halves).geometry, None)
    assert drawing is not None
    numbers = [float(n) for n in drawing.after.replace("M", "").replace("L", "")
               .replace("Z", "").split()]  # fmt: skip
    # Three longitudes: both outer edges, and the meridian in the middle.
    assert len({round(x) for x in numbers[::2]}) == 3


def test_facts_are_read_from_attributes(tmp_path: Path) -> None:
    properties = {"Block": 12, "Variety": "Riesling", "Planted": "1999",
                  "row spacing (m)": "no", "row_spacing_m": 2.2,
                  "row_direction_deg": 190, "vine_spacing_m": "wide"}  # fmt: skip
    document = read(tmp_path, collection((properties, polygon(SQUARE))))
    (feature,) = document["features"]
    assert feature["facts"] == {
        "name": "12", "cultivar": "Riesling", "planting_year": 1999,
        "row_spacing_m": 2.2, "row_direction_deg": 10.0,
    }  # fmt: skip
    assert "vine_spacing_m “wide”" in feature["findings"][0]["sentence"]


@pytest.fixture
def listener() -> Iterator[tuple[str, list[str]]]:
    """A web server of this machine that notes who asks."""
    asked: list[str] = []

    class Listener(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

        do_HEAD = do_GET  # noqa: N815 - the base class's name

    server = HTTPServer(("127.0.0.1", 0), Listener)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/more", asked
    server.shutdown()
    server.server_close()


# What would ask the network, and what is told instead.
ASKING = {
    "B25-network-link": ("{kml}", "links-ignored"),
    "B29-vrt": (
        "<OGRVRTDataSource><!-- <kml> --><OGRVRTLayer name='a'><SrcDataSource>"
        "/vsicurl/{url}.geojson</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
        "not-readable",
    ),
    "B29-vrt-names-a-service": (
        "<OGRVRTDataSource><!-- <kml> --><OGRVRTLayer name='a'><SrcDataSource>"
        "WFS:{url}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
        "not-readable",
    ),
    "linked-system": (
        '{"type":"FeatureCollection","crs":{"type":"link","properties":'
        '{"href":"{url}","type":"ogcwkt"}},"features":[{shape}]}',
        "linked-system",
    ),
    "linked-system-deep": (
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},'
        '"geometry":{"type":"Polygon","crs":{"type":"url","properties":'
        '{"url":"{url}"}},"coordinates":[[[1,1],[2,1],[2,2],[1,1]]]}}]}',
        "linked-system",
    ),
    "system-named-by-address": (
        '{"type":"FeatureCollection","crs":{"type":"name",'
        '"properties":{"name":"{url}"}},"features":[{shape}]}',
        "crs",
    ),
}


def outcome(tmp_path: Path, content: bytes) -> str:
    """Give why a file is refused, what is asked back, or what is found."""
    try:
        document = read(tmp_path, content)
    except RefusedError as refused:
        return refused.code
    return " ".join(
        [*(asked["key"] for asked in document["questions"]), *codes(document)]
    )


@pytest.mark.parametrize("name", ASKING)
def test_no_file_makes_the_reader_ask_the_network(
    tmp_path: Path,
    listener: tuple[str, list[str]],
    monkeypatch: pytest.MonkeyPatch,
    name: str,
) -> None:
    url, asked = listener
    template, told = ASKING[name]
    monkeypatch.setattr(reader, "CHILD", ON_THE_NETWORK)
    link = f"<NetworkLink><Link><href>{url}.kml</href></Link></NetworkLink>"
    shape = json.dumps({"type": "Feature", "properties": {}, "geometry": polygon(NEAR)})
    content = template.replace("{kml}", kml(link).decode()).replace("{url}", url)
    content = content.replace("{shape}", shape)
    assert outcome(tmp_path, content.encode()) == told
    assert asked == []


def test_a_reader_that_runs_too_long_is_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reader, "CHILD", ("-c", "while True: pass"))
    monkeypatch.setattr(reader, "WALL_S", 0.2)
    with pytest.raises(RefusedError, match="was stopped"):
        read(tmp_path, one(polygon(NEAR)))


def test_b28_a_geopackage_is_read_without_touching_it(tmp_path: Path) -> None:
    path = geopackage(tmp_path, "north", "south")
    with closing(sqlite3.connect(path)) as link:
        link.execute("PRAGMA journal_mode = WAL")
        link.execute("CREATE TRIGGER t AFTER INSERT ON north BEGIN SELECT 1; END")
        link.commit()
    folder = tmp_path / "kept"
    folder.mkdir()
    document = read(folder, path.read_bytes(), layer="south")
    assert document["features"][0]["facts"]["name"] == "south"
    assert [kept.name for kept in folder.iterdir()] == ["stored"]
    assert (folder / "stored").read_bytes() == path.read_bytes()


def receive(world: World, content: bytes, **fields: Any) -> BoundaryImport:
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        usual: dict[str, Any] = {
            "farm": world.farms[0],
            "valid_from": date(2026, 1, 1),
        }
        return boundaries.receive(
            member, file_name="file.geojson", chunks=[content], **(usual | fields)
        )


def publish(world: World, begun: BoundaryImport) -> list[Block]:
    with stating(world.group.pk):
        return boundaries.publish(begun)


def answer(world: World, begun: BoundaryImport, **answers: str) -> BoundaryImport:
    with stating(world.group.pk):
        return boundaries.answer(begun, answers)


@pytest.mark.django_db
def test_nothing_is_published_of_a_file_with_an_error(world: World) -> None:
    content = collection(({"name": "A"}, polygon(SQUARE)), ({"name": "B"}, None))
    begun = receive(world, content)
    with pytest.raises(SiteError, match="errors"):
        publish(world, begun)
    with stating(world.group.pk):
        assert Block.objects.count() == 2
        boundaries.leave_out(begun, [1])
    assert len(publish(world, begun)) == 1
    with pytest.raises(SiteError, match="is over"):
        publish(world, begun)
    with pytest.raises(SiteError, match="is over"):
        answer(world, begun, crs="4326")


@pytest.mark.django_db
def test_b33_a_new_boundary_leaves_the_old_one_to_its_rounds(world: World) -> None:
    # The name's capitals do not make it another block.
    name = world.block.name.upper()
    content = collection(({"name": name}, polygon(SQUARE)))
    begun = receive(world, content)
    assert "new-boundary" in codes(begun.preview)
    publish(world, begun)
    again = receive(world, content, valid_from=date(2026, 6, 1))
    assert "unchanged" in codes(again.preview)
    publish(world, again)
    with stating(world.group.pk):
        dates = BlockBoundary.objects.filter(block=world.block).values_list(
            "valid_from", flat=True
        )
        assert sorted(dates) == [date(2000, 1, 1), date(2026, 1, 1)]


@pytest.mark.django_db
def test_b16_another_groups_block_is_not_told_of(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    far = polygon(shifted(0.05, NEAR))
    publish(second, receive(second, collection(({"name": "Far"}, far))))
    begun = receive(first, collection(({"name": "Far"}, far)))
    assert codes(begun.preview) == []


@pytest.mark.django_db
@pytest.mark.parametrize(("west", "south"), [(10.1, 45.1), (145.1, -37.1)])
def test_b04_swapped_axes_are_asked_and_exchanged(
    world: World, west: float, south: float
) -> None:
    add_block(world.farms[0], "Beside", west=west - 0.01, south=south)
    ring = [[west + x - 10.5, south + y - 45.5] for x, y in SQUARE]
    straight = judged(polygon(ring)).area_m2
    begun = receive(world, one(polygon([[y, x] for x, y in ring])))
    assert begun.preview["open_questions"] == ["swap"]
    assert answer(world, begun, swap="maybe").preview["open_questions"] == ["swap"]
    begun = answer(world, begun, swap="yes")
    (block,) = publish(world, begun)
    with stating(world.group.pk):
        boundary = BlockBoundary.objects.get(block=block)
        assert boundary.geometry.extent[0] == pytest.approx(west)
        assert boundary.area_m2 == pytest.approx(straight, rel=1e-6)
    assert begun.preview["features"][0]["area_m2"] == pytest.approx(straight, rel=1e-6)


@pytest.mark.django_db
def test_b30_numbers_take_no_name_that_is_there(world: World) -> None:
    add_block(world.farms[0], "A 3", west=10.3)
    names = ["A", "A", "A 2", "A"]
    shapes = [({"name": x}, polygon(shifted(0.01 * i))) for i, x in enumerate(names)]
    content = collection(*shapes)
    begun = receive(world, content)
    assert begun.preview["open_questions"] == ["names"]
    answer(world, begun, names="number")
    named = sorted(block.name for block in publish(world, begun))
    assert named == ["A", "A 2", "A 4", "A 5"]


@pytest.mark.django_db
def test_b01_the_system_is_asked_until_one_is_known(
    world: World, tmp_path: Path
) -> None:
    begun = receive(world, shapefile(tmp_path, leave_out=".prj"))
    for nonsense in ("999999", "+init=epsg:4326", "²", "5703"):
        begun = answer(world, begun, crs=nonsense)
        assert begun.preview["open_questions"] == ["crs"]
        assert "is not a coordinate system" in begun.preview["questions"][0]["sentence"]
    begun = answer(world, begun, crs="4326")
    assert [block.name for block in publish(world, begun)] == ["Süd"]


@pytest.mark.django_db
def test_strange_choices_on_the_page_are_passed_over(world: World) -> None:
    begun = receive(world, one(None))
    client = world.client("coordinator")
    address = world.url(f"blocks/import/{begun.uuid}/")
    given = {"left-out-given": "yes", "left-out": ["²", "9" * 5000, "-1", "0"]}
    assert client.post(f"{address}answers/", given).status_code == 302
    # With every shape left out nothing is left to publish.
    assert client.post(f"{address}publish/").status_code == 409


@pytest.mark.django_db
def test_many_shapes_are_compared_in_few_queries(
    world: World, django_assert_max_num_queries: Any
) -> None:
    shapes = [({"name": f"N{i}"}, polygon(shifted(0.01 * i))) for i in range(40)]
    with django_assert_max_num_queries(25):
        receive(world, collection(*shapes))


def run_command(world: World, path: Path, *flags: str) -> None:
    email = world.people["coordinator"].email
    farm = world.farms[0].name
    call_command("import_blocks", world.slug, str(path), "--as", email,
                 "--farm", farm, *flags)  # fmt: skip


@pytest.mark.django_db
def test_the_command_goes_the_pages_way(
    world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "blocks.geojson"
    path.write_bytes(one(polygon(BOW_TIE)))
    with pytest.raises(CommandError, match="--accept-repairs"):
        run_command(world, path, "--publish")
    run_command(world, path, "--publish", "--accept-repairs")
    told = capsys.readouterr().out
    assert "was repaired" in told
    assert "Published 1 blocks." in told
    with stating(world.group.pk):
        assert Block.objects.filter(name="A").count() == 1


@pytest.mark.django_db
def test_the_command_tells_what_is_wrong_before_it_ends(
    world: World, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "blocks.geojson"
    path.write_bytes(one(None))
    with pytest.raises(CommandError, match="cannot be published"):
        run_command(world, path, "--publish")
    assert "no outline" in capsys.readouterr().out
    path.write_bytes(b"nothing of the kind")
    with pytest.raises(CommandError, match="not one of those"):
        run_command(world, path)
    with pytest.raises(CommandError, match="no file"):
        run_command(world, tmp_path / "missing")
    zipped = tmp_path / "blocks.zip"
    zipped.write_bytes(shapefile(tmp_path, leave_out=".prj"))
    with pytest.raises(CommandError, match="cannot be published"):
        run_command(world, zipped, "--publish")
    run_command(world, zipped, "--publish", "--crs", "4326")
    with stating(world.group.pk):
        assert Block.objects.filter(name="Süd").count() == 1


@pytest.mark.django_db
def test_imports_are_the_groups_own_behind_the_second_wall(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    begun = receive(first, one(polygon(NEAR)))
    address = f"blocks/import/{begun.uuid}/"
    assert second.client("coordinator").get(second.url(address)).status_code == 404
    assert first.client("grower").get(first.url(address)).status_code == 403
    with stating(second.group.pk), connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM blocks_boundaryimport WHERE id = %s", [begun.pk]
        )
        assert cursor.fetchone() == (0,)
