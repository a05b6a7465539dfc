"""Make boundary files of every format, good and bad."""

import json
import sqlite3
import struct
import zipfile
from collections.abc import Sequence
from contextlib import closing
from io import BytesIO
from math import cos, pi, sin
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely
from pyproj import Transformer

SQUARE = [[10.5, 45.5], [10.502, 45.5], [10.502, 45.502], [10.5, 45.502], [10.5, 45.5]]
# Beside the blocks of the world that tests are given.
NEAR = [[x - 0.4, y - 0.4] for x, y in SQUARE]
BOW_TIE = [NEAR[0], NEAR[2], NEAR[1], NEAR[3], NEAR[0]]


def collection(*shapes: Any, **extra: Any) -> bytes:
    features = [
        {"type": "Feature", "properties": properties, "geometry": geometry}
        for properties, geometry in shapes
    ]
    return json.dumps(
        {"type": "FeatureCollection", "features": features, **extra}
    ).encode()


def polygon(ring: list[Any], *holes: list[Any]) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": [ring, *holes]}


def one(geometry: Any, **extra: Any) -> bytes:
    """GeoJSON of one block named A."""
    return collection(({"name": "A"}, geometry), **extra)


def shifted(by: float, ring: list[list[float]] = SQUARE) -> list[list[float]]:
    return [[x + by, y] for x, y in ring]


def star(points: int) -> list[list[float]]:
    """A ring that crosses itself at every turn."""
    step = points // 2
    ring = [
        [10.1 + 0.001 * cos(2 * pi * i * step / points),
         45.1 + 0.001 * sin(2 * pi * i * step / points)]
        for i in range(points)
    ]  # fmt: skip
    return [*ring, ring[0]]


def moved(ring: list[list[float]], epsg: int) -> list[list[float]]:
    move = Transformer.from_crs(4326, epsg, always_xy=True)
    return [list(move.transform(x, y)) for x, y in ring]


def zip_of(files: dict[str, bytes], *, how: int = zipfile.ZIP_DEFLATED) -> bytes:
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", how) as package:
        for name, content in files.items():
            package.writestr(name, content)
    return packed.getvalue()


def zip_with(package: bytes, mark: bytes, place: int, put: bytes) -> bytes:
    """Overwrite bytes at a place in every header that begins with a mark."""
    first, *parts = package.split(mark)
    at = place - len(mark)
    changed = [part[:at] + put + part[at + len(put) :] for part in parts]
    return mark.join([first, *changed])


def shapefile_parts(
    folder: Path, *, crs: str | None = "EPSG:4326",
    names: tuple[str, ...] = ("Süd",), encoding: str = "UTF-8",
    rings: list[list[list[float]]] | None = None,
) -> dict[str, bytes]:  # fmt: skip
    outlines = rings or [shifted(0.01 * i, NEAR) for i in range(len(names))]
    pyogrio.raw.write(
        folder / "blocks.shp",
        np.array([shapely.to_wkb(shapely.Polygon(ring)) for ring in outlines]),
        [np.array(names, dtype=object)],
        fields=np.array(["name"]),
        driver="ESRI Shapefile",
        geometry_type="Polygon",
        crs=crs,
        encoding=encoding,
    )
    return {path.name: path.read_bytes() for path in folder.glob("blocks.*")}


def shapefile(folder: Path, *, leave_out: str = "", **how: Any) -> bytes:
    parts = shapefile_parts(folder, **how)
    kept = {name: parts[name] for name in parts if Path(name).suffix != leave_out}
    return zip_of(kept, how=zipfile.ZIP_STORED)


def geopackage(folder: Path, *layers: str) -> Path:
    path = folder / "blocks.gpkg"
    for layer in layers or ("blocks",):
        pyogrio.raw.write(
            path,
            np.array([shapely.to_wkb(shapely.Polygon(NEAR))]),
            [np.array([layer], dtype=object)],
            fields=np.array(["name"]),
            layer=layer,
            driver="GPKG",
            geometry_type="Polygon",
            crs="EPSG:4326",
            append=path.exists(),
        )
    return path


def geopackage_with(folder: Path, wkb: bytes, declared: str, *, m: int = 0) -> bytes:
    """A GeoPackage whose one shape is the well-known binary given."""
    path = geopackage(folder)
    with closing(sqlite3.connect(path)) as link:
        triggers = link.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in triggers.fetchall():
            link.execute(f'DROP TRIGGER "{name}"')
        head = b"GP\x00\x01" + struct.pack("<i", 4326)
        link.execute("UPDATE blocks SET geom = ?", [head + wkb])
        link.execute(
            "UPDATE gpkg_geometry_columns SET geometry_type_name = ?, m = ?",
            [declared, m],
        )
        link.commit()
    return path.read_bytes()


def _points(points: Sequence[tuple[float, ...]]) -> bytes:
    flat = [number for point in points for number in point]
    return struct.pack("<I", len(points)) + struct.pack(f"<{len(flat)}d", *flat)


def measured() -> bytes:
    """A polygon with a measure at each corner (ISO well-known binary 2003)."""
    corners = [(x, y, 5.0) for x, y in NEAR]
    return struct.pack("<BII", 1, 2003, 1) + _points(corners)


def curved() -> bytes:
    """A circle of two arcs (ISO well-known binary 10 and 8), radius 0.001 degrees."""
    arcs = [(10.1, 45.1), (10.101, 45.101), (10.102, 45.1), (10.101, 45.099),
            (10.1, 45.1)]  # fmt: skip
    return struct.pack("<BII", 1, 10, 1) + struct.pack("<BI", 1, 8) + _points(arcs)


def kml(inside: str = "", ring: list[list[float]] = NEAR) -> bytes:
    corners = " ".join(f"{x},{y}" for x, y in ring)
    return (
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
        f"{inside}<Placemark><name>A</name><Polygon><outerBoundaryIs><LinearRing>"
        f"<coordinates>{corners}</coordinates></LinearRing></outerBoundaryIs></Polygon>"
        "</Placemark></Document></kml>"
    ).encode()


def many_corners(count: int) -> list[list[float]]:
    turns = np.linspace(0, 2 * pi, count)
    ring = np.column_stack([10.1 + 0.001 * np.cos(turns), 45.1 + 0.001 * np.sin(turns)])
    ring[-1] = ring[0]
    found: list[list[float]] = ring.tolist()
    return found
