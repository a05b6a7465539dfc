"""Tell from a file's first bytes what it is, whatever its name says."""

from pathlib import Path
from typing import Literal

from blocks.boundaries import limits

Kind = Literal["geojson", "kml", "gpkg", "shapefile"]
SQLITE = b"SQLite format 3\x00"
ZIP = b"PK\x03\x04"
HEAD_BYTES = 64 * 1024
TAKEN = "GeoJSON, a zipped Shapefile, KML or GeoPackage"


class RefusedError(Exception):
    """The file as a whole cannot be taken; the sentence says why and what to do."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence


def too_many_features() -> RefusedError:
    """Say that the file holds more than blocks."""
    return RefusedError(
        "too-many-features",
        f"The file holds more than {limits.FEATURES:,} shapes. Send blocks only.",
    )


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
        return "geojson"
    if text.startswith("<"):
        return _kml(text)
    raise RefusedError(
        "unknown-kind", f"The file is not one of those that are read: {TAKEN}."
    )


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
