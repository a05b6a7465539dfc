"""Unpack the one Shapefile of a zip file, and nothing else of it."""

import zipfile
import zlib
from collections.abc import Container
from pathlib import Path

from blocks.boundaries import limits
from blocks.boundaries.kinds import RefusedError

NEEDED = (".shp", ".shx", ".dbf")
KEPT = (*NEEDED, ".prj", ".cpg")
ENCRYPTED, PATCHED = 0x1, 0x20
# What every program that zips writes unless it is told otherwise.
PACKED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
ODD_ZIP = (
    "The zip file is packed in a way that is not read here. Zip the Shapefile's files"
    " again, the ordinary way."
)
# macOS adds shadow files of the same names.
SHADOWS = "__MACOSX/"


def unpack_shapefile(path: Path, folder: Path) -> tuple[Path, list[str]]:
    """Write the Shapefile's files into a folder; give its path and notes."""
    package = _opened(path)
    entries = [
        entry
        for entry in package.infolist()
        if not entry.is_dir() and not entry.filename.startswith(SHADOWS)
    ]
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
            content = _content(package, found[ending])
            (folder / f"upload{ending}").write_bytes(content)
    notes = []
    if ".cpg" not in found:
        notes.append(
            "The Shapefile does not say how its letters are written; they were read as"
            " Windows-1252. Look at the names."
        )
    return folder / "upload.shp", notes


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(path)
    except zipfile.BadZipFile as error:
        raise RefusedError(
            "broken-zip", "The zip file is cut off or damaged. Send it again."
        ) from error
    except (RuntimeError, ValueError) as error:
        # A newer zip than is known here, or names in no known alphabet.
        raise RefusedError("odd-zip", ODD_ZIP) from error


def _content(package: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    if entry.flag_bits & ENCRYPTED:
        raise RefusedError(
            "locked-zip", "The zip file has a password. Zip the Shapefile without one."
        )
    if entry.compress_type not in PACKED or entry.flag_bits & PATCHED:
        raise RefusedError("odd-zip", ODD_ZIP)
    try:
        return package.read(entry)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        raise RefusedError(
            "broken-zip",
            f"{Path(entry.filename).name} in the zip file is damaged. Zip it again.",
        ) from error


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
