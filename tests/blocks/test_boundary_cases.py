"""Boundary files as people send them: each goes through the page, none gives a 500.

A case is a real file. It is kept as it came, is answered by a page with a sentence, and
writes no block before somebody publishes it; where a case must not be published, the
attempt is refused.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from blocks.files import path_of
from blocks.models import Block, BlockBoundary, BoundaryImport
from blocks.tenancy import stating
from tests.blocks.boundary_files import (
    BOW_TIE,
    NEAR,
    SQUARE,
    collection,
    curved,
    geopackage,
    geopackage_with,
    kml,
    many_corners,
    measured,
    moved,
    one,
    polygon,
    shapefile,
    shapefile_parts,
    shifted,
    star,
    zip_of,
    zip_with,
)
from tests.builders import World

pytestmark = pytest.mark.django_db
OWN = [[10.0, 45.0], [10.001, 45.0], [10.001, 45.001], [10.0, 45.001], [10.0, 45.0]]
UTM_NAME = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32632"}}
ABROAD = {"type": "name", "properties": {"name": "EPSG:900913"}}


@dataclass(frozen=True)
class Case:
    """A file, what is said of it, and whether it may be published."""

    make: Callable[[Path], bytes]
    said: str
    publishable: bool = True


def good(content: bytes, said: str = "") -> Case:
    return Case(lambda _: content, said)


def bad(content: bytes, said: str) -> Case:
    return Case(lambda _: content, said, publishable=False)


def crs_named(epsg: int, ring: list[list[float]] = NEAR) -> bytes:
    name = {"type": "name", "properties": {"name": f"EPSG:{epsg}"}}
    source = 3857 if epsg == 900913 else epsg
    return one(polygon(moved(ring, source)), crs=name)


SPLIT = {"type": "MultiPolygon", "coordinates": [
    [[[179.99, 10], [180, 10], [180, 10.01], [179.99, 10]]],
    [[[-180, 10], [-179.99, 10], [-180, 10.01], [-180, 10]]]]}  # fmt: skip
# The files that a Shapefile must have, by name only.
THREE = {"a.shp": b"x", "a.shx": b"x", "a.dbf": b"x"}
CASES = {
    "B01-no-prj": Case(lambda at: shapefile(at, leave_out=".prj"), "ask:crs",
                       publishable=False),
    "B01-undefined-system": Case(
        lambda at: shapefile(at, crs='LOCAL_CS["Undefined",UNIT["metre",1]]'),
        "ask:crs", publishable=False),
    "B02-wrong-prj": good(one(polygon(shifted(30))), "far-away"),
    "B03-utm-numbers": bad(one(polygon(moved(NEAR, 32632))), "beyond-the-earth"),
    "B04-swapped": bad(one(polygon([[y, x] for x, y in NEAR])), "ask:swap"),
    "B05-crs-member": good(one(polygon(moved(NEAR, 32632)), crs=UTM_NAME), "moved"),
    "B05-unknown-system": bad(one(polygon(NEAR), crs={
        "type": "name", "properties": {"name": "my own"}}), "ask:crs"),
    "B06-bow-tie": good(one(polygon(BOW_TIE)), "repaired"),
    "B07-hole-outside": bad(one(polygon(NEAR, shifted(0.1, NEAR))), "hole-outside"),
    "B08-unclosed": good(one(polygon(NEAR[:-1])), "ring-closed"),
    "B08-twice-the-corner": good(one(polygon([NEAR[0], *NEAR]))),
    "B08-two-corners": bad(one(polygon(NEAR[:2])), "no-area"),
    "B09-multipart": good(one({"type": "MultiPolygon", "coordinates": [
        [NEAR], [shifted(0.01, NEAR)]]})),
    "B10-heights": good(one(polygon([[*p, 120.0] for p in NEAR])), "heights-dropped"),
    "B10-measures": Case(
        lambda at: geopackage_with(at, measured(), "POLYGON", m=1), "measures-dropped"),
    "B11-curves": Case(
        lambda at: geopackage_with(at, curved(), "CURVEPOLYGON"),
        "curves-straightened"),
    "B12-antimeridian": bad(one(polygon(
        [[179.9, 10], [-179.9, 10], [-179.9, 10.1], [179.9, 10]])), "across-180"),
    "B12-split-at-180": good(one(SPLIT), "far-away"),
    "B13-line": bad(one({"type": "LineString", "coordinates": NEAR}), "not-an-area"),
    "B13-point": bad(one({"type": "Point", "coordinates": [10, 45]}), "not-an-area"),
    "B13-no-area": bad(one(polygon([[10, 45], [10.1, 45], [10.2, 45], [10, 45]])),
                       "no-area"),
    "B14-tiny": good(one(polygon(
        [[10.1, 45], [10.10001, 45], [10.10001, 45.00001], [10.1, 45]])), "odd-size"),
    "B14-huge": good(one(polygon(
        [[10.1, 45], [10.6, 45], [10.6, 45.5], [10.1, 45]])), "odd-size"),
    "B15-overlap": good(one(polygon(shifted(0.0005, OWN))), "overlap"),
    "B15-same-place": bad(one(polygon(OWN)), "same-place"),
    "B15-overlap-in-file": good(collection(
        ({"name": "A"}, polygon(NEAR)),
        ({"name": "B"}, polygon(shifted(0.001, NEAR)))), "overlap"),
    "B15-same-place-in-file": bad(collection(
        ({"name": "A"}, polygon(NEAR)), ({"name": "B"}, polygon(NEAR))), "same-place"),
    "B17-million-corners": Case(
        lambda at: shapefile(at, rings=[many_corners(1_000_000)]),
        "too-many-corners", publishable=False),
    "B18-many-features": bad(
        b'{"type":"FeatureCollection","features":['
        + b'{"type":"Feature"},' * 500_000 + b'{"type":"Feature"}]}',
        "refused:too-many-features"),
    "B19-star": bad(one(polygon(star(101))), "crossing-outline"),
    "B20-nan": bad(one(polygon(NEAR)).replace(b"10.102", b"NaN"), "not-a-place"),
    "B20-infinite": bad(one(polygon(NEAR)).replace(b"45.102", b"1e400"),
                        "not-a-place"),
    "B20-null": bad(one(polygon([[10.1, None], *NEAR[1:]])), "no-geometry"),
    "B21-null": bad(one(None), "no-geometry"),
    "B21-empty": bad(one(polygon([])), "no-geometry"),
    "B22-mixed": good(one({"type": "GeometryCollection", "geometries": [
        polygon(NEAR), {"type": "Point", "coordinates": [10.5, 45.5]}]}), "areas-kept"),
    "B23-no-shx": Case(lambda at: shapefile(at, leave_out=".shx"),
                       "refused:incomplete-shapefile", publishable=False),
    "B23-no-dbf": Case(lambda at: shapefile(at, leave_out=".dbf"),
                       "refused:incomplete-shapefile", publishable=False),
    "B23-nested": bad(zip_of({"inner.zip": b"PK"}), "refused:no-shapefile"),
    "B23-two": bad(zip_of({"a.shp": b"", "b.shp": b""}), "refused:two-shapefiles"),
    "B23-shadow-files": Case(
        lambda at: zip_of(shapefile_parts(at) | {"__MACOSX/._blocks.shp": b"x"}), ""),
    "B23-damaged": Case(
        lambda at: zip_of(shapefile_parts(at) | {"blocks.shp": b"no shapes"}),
        "refused:not-readable", publishable=False),
    "B24-old-letters": Case(
        lambda at: shapefile(at, leave_out=".cpg", encoding="CP1252"),
        "letters-guessed"),
    "B25-links": good(
        kml("<NetworkLink><Link><href>https://example.org/a.kml</href></Link>"
            "</NetworkLink><GroundOverlay><name>P</name></GroundOverlay>"),
        "links-ignored"),
    "B23-newer-zip": bad(
        zip_with(zip_of({"a.shp": b"x"}), b"PK\x01\x02", 6, b"\xff\x00"),
        "refused:odd-zip"),
    "B23-odd-names": bad(
        zip_of({"\u00e9.shp": b"x"}).replace("\u00e9".encode(), b"\xff\xfe"),
        "refused:odd-zip"),
    "B23-odd-packing": bad(
        zip_with(zip_of(THREE), b"PK\x01\x02", 10, b"\x63\x00"),
        "refused:odd-zip"),
    "B23-patched": bad(
        zip_with(zip_of(THREE), b"PK\x01\x02", 8, b"\x20\x00"),
        "refused:odd-zip"),
    "B26-kmz": bad(zip_of({"doc.kml": kml()}), "refused:no-shapefile"),
    "B26-kmz-bomb": bad(zip_of({"doc.kml": b" " * 60_000_000}),
                        "refused:unpacks-too-large"),
    "B27-track": bad(b"<gpx><trk/></gpx>", "refused:track"),
    "B28-layers": Case(lambda at: geopackage(at, "north", "south").read_bytes(),
                       "ask:layer", publishable=False),
    "B28-no-database": bad(b"SQLite format 3\x00" + b"\x00" * 200,
                           "refused:not-readable"),
    "B29-vrt": bad(b"<OGRVRTDataSource/>", "refused:unknown-xml"),
    "B29-csv": bad(b"name,wkt\nA,POINT(1 2)\n", "refused:unknown-kind"),
    "B30-names-twice": bad(collection(
        ({"name": "A"}, polygon(NEAR)),
        ({"name": "a"}, polygon(shifted(0.01, NEAR)))), "ask:names"),
    "B31-web-mercator": good(crs_named(3857), "moved"),
    "B31-web-mercator-old": good(crs_named(900913), "moved"),
    "B31-polar": good(crs_named(3995), "moved"),
    "B32-datum": good(crs_named(4267), "grid-missing"),
    "B34-digits": good(one(polygon([[x + 1.23456789e-9, y] for x, y in NEAR]))),
    "B35-winding": good(one(polygon(NEAR[::-1]))),
    "empty-file": bad(b" ", "refused:empty-file"),
    "half-a-file": bad(one(polygon(NEAR))[:-30], "refused:broken-json"),
    "nested-deeply": bad(b'{"type":' + b"[" * 200_000, "refused:broken-json"),
    "other-json": bad(b'{"type": ["Topology"]}', "refused:not-geojson"),
    "entities": bad(b'<!DOCTYPE x [<!ENTITY a "b">]><kml/>', "refused:document-type"),
}  # fmt: skip


def upload(world: World, content: bytes, client: Client) -> BoundaryImport:
    response = client.post(
        world.url("blocks/import/"),
        {
            "file": SimpleUploadedFile("blocks.geojson", content),
            "farm": world.farms[0].pk,
            "valid_from": "2026-01-01",
        },
    )
    assert response.status_code == 302, response.content.decode()
    with stating(world.group.pk):
        return BoundaryImport.objects.latest("pk")


def said_of(begun: BoundaryImport) -> set[str]:
    preview: dict[str, Any] = begun.preview
    if begun.state == BoundaryImport.State.REFUSED:
        return {f"refused:{preview['code']}"}
    holders = [preview, *preview["features"]]
    return {
        *(finding["code"] for holder in holders for finding in holder["findings"]),
        *(f"ask:{key}" for key in preview["open_questions"]),
    }


def new_blocks(world: World) -> list[Block]:
    known = [block.pk for block in world.blocks]
    with stating(world.group.pk):
        return list(Block.objects.exclude(pk__in=known))


@pytest.mark.parametrize("name", CASES)
def test_a_boundary_file_is_answered_in_words(
    world: World, tmp_path: Path, name: str
) -> None:
    case, client = CASES[name], world.client("coordinator")
    content = case.make(tmp_path)
    begun = upload(world, content, client)
    stored = path_of("boundaries", world.group.pk, begun.stored_name)
    assert stored.read_bytes() == content
    assert case.said in {*said_of(begun), ""}
    address = world.url(f"blocks/import/{begun.uuid}/")
    page = client.get(address)
    assert page.status_code == 200
    assert " style=" not in page.content.decode()
    assert new_blocks(world) == []
    published = client.post(f"{address}publish/")
    assert published.status_code == (302 if case.publishable else 409)
    blocks = new_blocks(world)
    assert bool(blocks) == case.publishable
    if blocks:
        shown = {
            one["facts"]["name"]: one["area_m2"] for one in begun.preview["features"]
        }
        with stating(world.group.pk):
            for boundary in BlockBoundary.objects.filter(block__in=blocks):
                # Two programs: PostGIS here, PROJ's geodesic routines in the preview.
                area_m2 = shown[boundary.block.name]
                assert boundary.area_m2 == pytest.approx(area_m2, rel=1e-6, abs=1e-3)


def test_the_square_keeps_its_place_through_other_systems(world: World) -> None:
    """B31: a polar system, there by PROJ and back by the import."""
    client = world.client("coordinator")
    for epsg in (3995, 3857, 32632):
        begun = upload(world, crs_named(epsg, SQUARE), client)
        corners = begun.preview["features"][0]["geometry"]["coordinates"][0][0]
        assert sorted(corners) == sorted(
            [pytest.approx(corner, abs=2e-7) for corner in SQUARE],
            key=lambda corner: corner.expected,
        )
