"""Boundary files: read in a child, judged, published whole, with what they say."""

import json
import sqlite3
import time
import zipfile
from collections.abc import Callable
from datetime import date
from http.server import BaseHTTPRequestHandler, HTTPServer
from io import BytesIO
from math import cos, pi, radians, sin
from pathlib import Path
from threading import Thread
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from django.db import connection, transaction
from pyproj import Transformer

from blocks.access import member_for
from blocks.boundaries.features import read_features
from blocks.boundaries.kinds import RefusedError
from blocks.boundaries.reader import read_boundaries
from blocks.errors import SiteError
from blocks.models import Block, BlockBoundary, BoundaryImport
from blocks.services import boundaries
from blocks.tenancy import stating
from tests.builders import World

SQUARE = [[10.5, 45.5], [10.502, 45.5], [10.502, 45.502], [10.5, 45.502], [10.5, 45.5]]


def collection(*shapes: Any, **extra: Any) -> bytes:
    features = [
        {"type": "Feature", "properties": properties, "geometry": geometry}
        for properties, geometry in shapes
    ]
    return json.dumps(
        {"type": "FeatureCollection", "features": features, **extra}
    ).encode()


def polygon(ring: list[list[float]], *holes: list[list[float]]) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": [ring, *holes]}


def shifted(by: float) -> list[list[float]]:
    return [[x + by, y] for x, y in SQUARE]


def shapefile(
    folder: Path, *, crs: str | None = "EPSG:4326", leave_out: str = "",
    names: tuple[str, ...] = ("Süd",), encoding: str = "UTF-8",
) -> bytes:  # fmt: skip
    shapes = [shapely.Polygon(shifted(0.01 * i)) for i in range(len(names))]
    pyogrio.raw.write(
        folder / "blocks.shp",
        np.array([shapely.to_wkb(shape) for shape in shapes]),
        [np.array(names, dtype=object)],
        fields=np.array(["name"]),
        driver="ESRI Shapefile",
        geometry_type="Polygon",
        crs=crs,
        encoding=encoding,
    )
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w") as package:
        for path in sorted(folder.glob("blocks.*")):
            if path.suffix != leave_out:
                package.write(path, path.name)
    return packed.getvalue()


def read(tmp_path: Path, content: bytes, **answers: Any) -> dict[str, Any]:
    path = tmp_path / "stored"
    path.write_bytes(content)
    return read_boundaries(path, answers)


def read_here(tmp_path: Path, content: bytes) -> dict[str, Any]:
    """Read GeoJSON made here in this process: a child takes a second to start."""
    path = tmp_path / "made-here.geojson"
    path.write_bytes(content)
    return read_features(path, "geojson", {}, [])


def codes(document: dict[str, Any]) -> list[str]:
    holders = [document, *document["features"]]
    return [found["code"] for holder in holders for found in holder["findings"]]


def star(points: int) -> list[list[float]]:
    """A ring that crosses itself at every turn."""
    step = points // 2
    ring = [
        [10 + 0.001 * cos(2 * pi * i * step / points),
         45 + 0.001 * sin(2 * pi * i * step / points)]
        for i in range(points)
    ]  # fmt: skip
    return [*ring, ring[0]]


def test_a_plain_outline_keeps_its_area_on_the_ellipsoid(tmp_path: Path) -> None:
    (feature,) = read_here(tmp_path, collection(({"name": "A"}, polygon(SQUARE))))[
        "features"
    ]
    # Lengths of a degree at 45.501 N on WGS 84, by the series for meridian and
    # parallel arcs (National Geospatial-Intelligence Agency, from memory).
    lat = radians(45.501)
    metres_lat = 111132.954 - 559.822 * cos(2 * lat) + 1.175 * cos(4 * lat)
    metres_lon = 111412.84 * cos(lat) - 93.5 * cos(3 * lat) + 0.118 * cos(5 * lat)
    expected = 0.002 * metres_lat * 0.002 * metres_lon
    assert feature["area_m2"] == pytest.approx(expected, rel=1e-4)


REFUSED = {
    "B13-line": (collection(({}, {"type": "LineString", "coordinates": SQUARE})),
                 "not-an-area"),
    "B13-point": (collection(({}, {"type": "Point", "coordinates": [10, 45]})),
                  "not-an-area"),
    "B13-no-area": (collection(({}, polygon([[10, 45], [10.1, 45], [10.2, 45],
                                             [10, 45]]))), "crossing-outline"),
    "B03-utm-numbers": (collection(({}, polygon([[500000, 4980000], [500100, 4980000],
                                                 [500100, 4980100],
                                                 [500000, 4980000]]))),
                        "beyond-the-earth"),
    "B12-antimeridian": (collection(({}, polygon([[179.9, 10], [-179.9, 10],
                                                  [-179.9, 10.1], [179.9, 10]]))),
                         "across-180"),
    "B17-many-corners": (collection(({}, polygon(
        [[10 + 0.01 * cos(i / 3000), 45 + 0.01 * sin(i / 3000)] for i in range(18850)]
        + [[10.01, 45.0]]))), "too-many-corners"),
    "B19-star": (collection(({}, polygon(star(101)))), "crossing-outline"),
    "B21-no-geometry": (collection(({}, None)), "no-geometry"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_a_shape_that_is_no_block_says_why(tmp_path: Path, case: str) -> None:
    content, code = REFUSED[case]
    started = time.monotonic()
    document = read_here(tmp_path, content)
    assert code in codes(document)
    assert all(feature["geometry"] is None for feature in document["features"])
    assert time.monotonic() - started < 2


WARNED = {
    "B06-bow-tie": (polygon([SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3], SQUARE[0]]),
                    "repaired"),
    "B10-heights": ({"type": "Polygon", "coordinates": [[[*p, 120.0] for p in SQUARE]]},
                    "heights-dropped"),
    "B14-tiny": (polygon([[10, 45], [10.00001, 45], [10.00001, 45.00001], [10, 45]]),
                 "odd-size"),
    "B14-huge": (polygon([[10, 45], [11, 45], [11, 46], [10, 46], [10, 45]]),
                 "odd-size"),
    "B22-mixed": ({"type": "GeometryCollection", "geometries": [
        polygon(SQUARE), {"type": "Point", "coordinates": [10.5, 45.5]}]},
        "areas-kept"),
}  # fmt: skip


@pytest.mark.parametrize("case", WARNED)
def test_an_odd_shape_is_taken_with_a_word(tmp_path: Path, case: str) -> None:
    geometry, code = WARNED[case]
    document = read_here(tmp_path, collection(({"name": "A"}, geometry)))
    assert code in codes(document)
    assert document["features"][0]["geometry"]["type"] == "MultiPolygon"


def test_a_repaired_shape_keeps_what_it_was(tmp_path: Path) -> None:
    """B06: the crossing point is told, and both outlines are kept."""
    bow_tie = [SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3], SQUARE[0]]
    (feature,) = read_here(tmp_path, collection(({}, polygon(bow_tie))))["features"]
    assert feature["before"] is not None
    assert "10.501 45.501" in feature["findings"][0]["sentence"]


def test_b07_a_hole_outside_its_outline_is_repaired_or_refused(tmp_path: Path) -> None:
    document = read_here(tmp_path, collection(({}, polygon(SQUARE, shifted(0.5)))))
    assert {"repaired", "crossing-outline"} & set(codes(document))


def test_b09_several_parts_are_one_block(tmp_path: Path) -> None:
    both = {"type": "MultiPolygon", "coordinates": [[SQUARE], [shifted(0.01)]]}
    (feature,) = read_here(tmp_path, collection(({}, both)))["features"]
    assert len(feature["geometry"]["coordinates"]) == 2


def test_b20_a_corner_that_is_no_number_is_refused(tmp_path: Path) -> None:
    broken = collection(({}, polygon(SQUARE))).replace(b"10.502", b"null", 1)
    document = read_here(tmp_path, broken)
    assert "no-geometry" in codes(document)


def test_b34_b35_corners_are_rounded_and_rings_turned(tmp_path: Path) -> None:
    ring = [[x + 1.23456789012345e-9, y] for x, y in SQUARE[::-1]]
    (feature,) = read_here(tmp_path, collection(({}, polygon(ring))))["features"]
    (first,) = feature["geometry"]["coordinates"][0][:1]
    assert shapely.LinearRing(first).is_ccw
    assert first[0][0] == round(first[0][0], 7)


def test_b05_an_old_crs_member_is_honoured(tmp_path: Path) -> None:
    to_utm = Transformer.from_crs(4326, 32632, always_xy=True)
    ring = [list(to_utm.transform(x, y)) for x, y in SQUARE]
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32632"}}
    document = read_here(tmp_path, collection(({}, polygon(ring)), crs=crs))
    (feature,) = document["features"]
    assert "moved" in codes(document)
    corner = feature["geometry"]["coordinates"][0][0]
    assert min(x for x, _ in corner) == pytest.approx(10.5, abs=1e-6)


def test_a_shapefile_in_another_system_is_moved(tmp_path: Path) -> None:
    document = read(tmp_path, shapefile(tmp_path))
    assert document["features"][0]["facts"]["name"] == "Süd"


def test_b01_without_prj_the_system_is_asked(tmp_path: Path) -> None:
    content = shapefile(tmp_path, leave_out=".prj")
    document = read(tmp_path, content)
    assert [question["key"] for question in document["questions"]] == ["crs"]
    assert read(tmp_path, content, crs="EPSG:4326")["features"][0]["area_m2"] > 1e4
    again = read(tmp_path, content, crs="EPSG:999999")
    assert "is not a coordinate system" in again["questions"][0]["sentence"]


@pytest.mark.parametrize("ending", [".shx", ".dbf"])
def test_b23_an_incomplete_shapefile_names_what_lacks(
    tmp_path: Path, ending: str
) -> None:
    with pytest.raises(RefusedError, match=ending):
        read(tmp_path, shapefile(tmp_path, leave_out=ending))


def test_b24_letters_of_an_old_shapefile_are_guessed_aloud(tmp_path: Path) -> None:
    content = shapefile(tmp_path, leave_out=".cpg", encoding="CP1252")
    document = read(tmp_path, content)
    assert "letters-guessed" in codes(document)
    assert document["features"][0]["facts"]["name"] == "Süd"


def _zip_of(**files: bytes) -> bytes:
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in files.items():
            package.writestr(name.replace("_", "."), content)
    return packed.getvalue()


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (_zip_of(a_shp=b"", b_shp=b""), "two-shapefiles"),
        (_zip_of(inner_zip=b"PK"), "no-shapefile"),
        (_zip_of(doc_kml=b"<kml/>"), "no-shapefile"),
        (_zip_of(a_shp=b"0" * 60_000_000), "unpacks-too-large"),
        (b"PK\x03\x04broken", "broken-zip"),
        (b"", "empty-file"),
        (b"name,area\nA,3\n", "unknown-kind"),
        (b'{"type": "Topology"}', "not-geojson"),
        (b'{"type": "FeatureCollection", ', "broken-json"),
        (b"<gpx><trk/></gpx>", "track"),
        (b"<OGRVRTDataSource/>", "unknown-xml"),
        (b'<!DOCTYPE x [<!ENTITY a "b">]><kml/>', "document-type"),
        (b"SQLite format 3\x00" + b"\x00" * 200, "not-readable"),
    ],
    ids=["two", "nested", "B26-kmz", "bomb", "cut", "empty", "csv", "topojson",
         "half", "B27-track", "B29-vrt", "entities", "no-database"],
)  # fmt: skip
def test_a_file_of_another_kind_says_what_it_is(
    tmp_path: Path, content: bytes, code: str
) -> None:
    with pytest.raises(RefusedError) as refused:
        read(tmp_path, content)
    assert refused.value.code == code
    assert refused.value.sentence.endswith(".")


def test_b25_links_in_kml_are_not_followed(tmp_path: Path) -> None:
    asked: list[str] = []

    class Listener(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

    server = HTTPServer(("127.0.0.1", 0), Listener)
    Thread(target=server.serve_forever, daemon=True).start()
    corners = " ".join(f"{x},{y}" for x, y in SQUARE)
    link = f"http://127.0.0.1:{server.server_port}/more.kml"
    kml = (
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"<NetworkLink><Link><href>{link}</href></Link></NetworkLink>"
        "<Placemark><name>A</name><Polygon><outerBoundaryIs><LinearRing><coordinates>"
        f"{corners}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark>"
        "</Document></kml>"
    )
    document = read(tmp_path, kml.encode())
    server.shutdown()
    server.server_close()
    assert document["features"][0]["facts"]["name"] == "A"
    assert "links-ignored" in codes(document)
    assert asked == []


def test_b28_layers_of_a_geopackage_are_asked(tmp_path: Path) -> None:
    path = tmp_path / "two.gpkg"
    for layer in ("north", "south"):
        pyogrio.raw.write(
            path,
            np.array([shapely.to_wkb(shapely.Polygon(SQUARE))]),
            [np.array([layer], dtype=object)],
            fields=np.array(["name"]),
            layer=layer,
            driver="GPKG",
            geometry_type="Polygon",
            crs="EPSG:4326",
            append=path.exists(),
        )
    with sqlite3.connect(path) as link:
        link.execute("CREATE TRIGGER t AFTER INSERT ON north BEGIN SELECT 1; END")
    link.close()
    (question,) = read(tmp_path, path.read_bytes())["questions"]
    assert question["key"] == "layer"
    document = read(tmp_path, path.read_bytes(), layer="south")
    assert document["features"][0]["facts"]["name"] == "south"


def test_facts_are_read_from_attributes(tmp_path: Path) -> None:
    properties = {"Block": "A", "Variety": "Riesling", "Planted": "1999",
                  "row spacing (m)": "no", "row_spacing_m": 2.2,
                  "row_direction_deg": 190, "vine_spacing_m": "wide"}  # fmt: skip
    (feature,) = read_here(tmp_path, collection((properties, polygon(SQUARE))))[
        "features"
    ]
    assert feature["facts"] == {
        "name": "A", "cultivar": "Riesling", "planting_year": 1999,
        "row_spacing_m": 2.2, "row_direction_deg": 10.0,
    }  # fmt: skip
    assert "vine_spacing_m “wide”" in feature["findings"][0]["sentence"]


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


@pytest.mark.django_db
def test_a_file_becomes_blocks_with_their_area(world: World) -> None:
    begun = receive(world, collection(({"name": "New"}, polygon(SQUARE))))
    (block,) = publish(world, begun)
    with stating(world.group.pk):
        boundary = BlockBoundary.objects.get(block=block)
        assert block.farm == world.farms[0]
        # PostGIS and PROJ's geodesic routines are two programs.
        shown = begun.preview["features"][0]["area_m2"]
        assert boundary.area_m2 == pytest.approx(shown, rel=1e-6)


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


@pytest.mark.django_db
def test_b33_a_new_boundary_leaves_the_old_one_to_its_rounds(world: World) -> None:
    name = world.block.name
    begun = receive(world, collection(({"name": name}, polygon(SQUARE))))
    assert "new-boundary" in codes(begun.preview)
    publish(world, begun)
    with stating(world.group.pk):
        dates = BlockBoundary.objects.filter(block=world.block).values_list(
            "valid_from", flat=True
        )
        assert sorted(dates) == [date(2000, 1, 1), date(2026, 1, 1)]


@pytest.mark.django_db
def test_b15_neighbours_that_overlap_are_named(world: World) -> None:
    own = [[10.0, 45.0], [10.001, 45.0], [10.001, 45.001], [10.0, 45.001], [10.0, 45.0]]
    half = [[x + 0.0005, y] for x, y in own]
    begun = receive(world, collection(({"name": "Half"}, polygon(half)),
                                      ({"name": "Same"}, polygon(own))))  # fmt: skip
    assert codes(begun.preview).count("overlap") == 1
    assert "same-place" in codes(begun.preview)


@pytest.mark.django_db
def test_b16_another_groups_block_is_not_told_of(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    with stating(second.group.pk), connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM blocks_blockboundary")
    ring = [[11 + x - 10.5, y] for x, y in SQUARE]
    publish(second, receive(second, collection(({"name": "Far"}, polygon(ring)))))
    begun = receive(first, collection(({"name": "Far"}, polygon(ring))))
    assert "overlap" not in codes(begun.preview)
    assert "same-place" not in codes(begun.preview)


@pytest.mark.django_db
def test_b04_swapped_axes_are_asked_and_exchanged(world: World) -> None:
    near = [[x - 0.4, y - 0.4] for x, y in SQUARE]
    swapped = [[y, x] for x, y in near]
    begun = receive(world, collection(({"name": "A"}, polygon(swapped))))
    assert begun.preview["open_questions"] == ["swap"]
    with stating(world.group.pk):
        boundaries.answer(begun, {"swap": "yes"})
    (block,) = publish(world, begun)
    with stating(world.group.pk):
        assert BlockBoundary.objects.get(block=block).geometry.extent[
            0
        ] == pytest.approx(10.1)


@pytest.mark.django_db
def test_b02_a_place_far_away_is_told(world: World) -> None:
    far = [[x + 30, y] for x, y in SQUARE]
    begun = receive(world, collection(({"name": "A"}, polygon(far))))
    assert "far-away" in codes(begun.preview)


@pytest.mark.django_db
def test_b30_names_that_stand_twice_are_numbered_on_request(world: World) -> None:
    content = collection(({"name": "A"}, polygon(SQUARE)),
                         ({"name": "A"}, polygon(shifted(0.01))))  # fmt: skip
    begun = receive(world, content)
    assert begun.preview["open_questions"] == ["names"]
    with stating(world.group.pk):
        boundaries.answer(begun, {"names": "number"})
    assert sorted(block.name for block in publish(world, begun)) == ["A", "A 2"]
