"""Tell from a file's content what it is, and unpack a Shapefile carefully."""

import json
import zipfile
from collections.abc import Container
from pathlib import Path
from typing import Literal

from blocks.boundaries import limits

Kind = Literal["geojson", "kml", "gpkg", "shapefile"]
SQLITE = b"SQLite format 3\x00"
ZIP = b"PK\x03\x04"
HEAD_BYTES = 64 * 1024
NEEDED = (".shp", ".shx", ".dbf")
KEPT = (*NEEDED, ".prj", ".cpg")
TAKEN = "GeoJSON, a zipped Shapefile, KML or GeoPackage"


class RefusedError(Exception):
    """The file as a whole cannot be taken; the sentence says why and what to do."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence


def kind_of(path: Path) -> Kind:
    """Give what the file is by its content, whatever its name says."""
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    if not head.strip():
        raise RefusedError("empty-file", f"The file is empty. Send {TAKEN}.")
    if head.startswith(SQLITE):
        return "gpkg"
    if head.startswith(ZIP):
        return "shapefile"
    text = head.decode("utf-8-sig", errors="replace").lstrip()
    if text.startswith("{"):
        return _geojson(path)
    if text.startswith("<"):
        return _kml(text)
    raise RefusedError(
        "unknown-kind", f"The file is not one of those that are read: {TAKEN}."
    )


def _geojson(path: Path) -> Kind:
    try:
        document = json.loads(path.read_text(encoding="utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise RefusedError(
            "broken-json",
            f"The file begins as GeoJSON and is broken ({error}). Export it again.",
        ) from error
    kind = document.get("type") if isinstance(document, dict) else None
    if kind not in {"FeatureCollection", "Feature", "Polygon", "MultiPolygon"}:
        raise RefusedError(
            "not-geojson",
            f"The file is JSON of type “{kind}”, not GeoJSON features. Send {TAKEN}.",
        )
    return "geojson"


def _kml(text: str) -> Kind:
    lower = text.lower()
    if "<!doctype" in lower or "<!entity" in lower:
        raise RefusedError(
            "document-type",
            "The file declares XML entities, which no map program writes. Export it"
            " again.",
        )
    if "<kml" in lower:
        return "kml"
    if "<gpx" in lower:
        raise RefusedError(
            "track",
            "This is a GPX track, a line. Close it to a polygon in a map program and"
            f" save it as {TAKEN}.",
        )
    raise RefusedError("unknown-xml", f"This XML is not KML. Send {TAKEN}.")


def unpack_shapefile(path: Path, folder: Path) -> tuple[Path, list[str]]:
    """Unpack the one Shapefile of a zip file, and nothing else of it."""
    try:
        package = zipfile.ZipFile(path)
    except zipfile.BadZipFile as error:
        raise RefusedError(
            "broken-zip", "The zip file is cut off or damaged. Send it again."
        ) from error
    entries = [entry for entry in package.infolist() if not entry.is_dir()]
    _refuse_bombs(entries)
    shapes = [e for e in entries if e.filename.lower().endswith(".shp")]
    if len(shapes) > 1:
        names = ", ".join(Path(entry.filename).name for entry in shapes[:4])
        raise RefusedError(
            "two-shapefiles",
            f"The zip file holds several Shapefiles ({names}). Send one at a time.",
        )
    if not shapes:
        raise RefusedError("no-shapefile", _why_no_shapefile(entries))
    stem = shapes[0].filename[: -len(".shp")].lower()
    found = {
        Path(entry.filename).suffix.lower(): entry
        for entry in entries
        if entry.filename.lower().rsplit(".", 1)[0] == stem
    }
    _refuse_incomplete(found)
    for ending in KEPT:
        if ending in found:
            content = package.read(found[ending])
            (folder / f"upload{ending}").write_bytes(content)
    notes = []
    if ".cpg" not in found:
        notes.append(
            "The Shapefile does not say how its letters are written; they were read as"
            " Windows-1252. Look at the names."
        )
    return folder / "upload.shp", notes


def _refuse_incomplete(found: Container[str]) -> None:
    missing = [ending for ending in NEEDED if ending not in found]
    if missing:
        raise RefusedError(
            "incomplete-shapefile",
            f"The Shapefile lacks its {' and '.join(missing)} file. A Shapefile is"
            " several files: zip all of them together.",
        )


def _refuse_bombs(entries: list[zipfile.ZipInfo]) -> None:
    unpacked = sum(entry.file_size for entry in entries)
    packed = max(sum(entry.compress_size for entry in entries), 1)
    if (
        len(entries) > limits.ZIP_ENTRIES
        or unpacked > limits.UNPACKED_BYTES
        or (unpacked > 10_000_000 and unpacked > packed * limits.UNPACKED_RATIO)
    ):
        raise RefusedError(
            "unpacks-too-large",
            f"The zip file holds {len(entries)} files of {unpacked / 1e6:.0f} MB; that"
            " is refused. Zip the one Shapefile alone.",
        )


def _why_no_shapefile(entries: list[zipfile.ZipInfo]) -> str:
    names = [entry.filename.lower() for entry in entries]
    if any(name.endswith(".kml") for name in names):
        return "This is a KMZ file. Unpack it and send the KML inside."
    if any(name.endswith(".zip") for name in names):
        return "The zip file holds another zip file. Zip the Shapefile's files alone."
    return "The zip file holds no Shapefile (.shp). Zip the Shapefile's files together."
