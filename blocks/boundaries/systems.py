"""Find a file's coordinate system, and the way to longitude and latitude."""

import re
import warnings
from typing import Any

from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError
from pyproj.transformer import TransformerGroup

LONGITUDE_LATITUDE = CRS.from_epsg(4326)
EPSG = re.compile(r"(?i:EPSG:|urn:(?:x-)?ogc:def:crs:EPSG:[0-9.]*:)?([0-9]{4,6})")
CRS84 = re.compile(r"(?i:(?:urn:(?:x-)?ogc:def:crs:OGC:[0-9.]*|OGC):CRS84h?)")
UNLIKELY_METRES = 2.0


def code_of(text: str) -> CRS | None:
    """Give the system of an EPSG code or its names; None for anything else.

    Anything else is not handed to PROJ: it takes file names and pipelines too.
    """
    if CRS84.fullmatch(text.strip()):
        return LONGITUDE_LATITUDE
    found = EPSG.fullmatch(text.strip())
    if found is None:
        return None
    try:
        return CRS.from_epsg(int(found[1]))
    except CRSError:
        return None


def system_of(
    stated: str | None, *, answered: str | None, usual: CRS | None
) -> tuple[CRS | None, list[dict[str, Any]]]:
    """Find the coordinate system; ask for it where the file does not say.

    stated: what GDAL or the file says, as a code or well-known text.
    answered: what the person said. usual: the format's own system, if it has one.
    """
    told = answered or stated
    if told is None:
        return (usual, []) if usual else (None, [_question()])
    crs = code_of(told)
    if crs is None and not answered and "[" in told:
        crs = _from_text(told)
    if crs is None or not (crs.is_geographic or crs.is_projected):
        shown = told if "[" not in told else told.split('"')[1]
        return None, [_question(f"“{shown[:60]}” is not a coordinate system that is")]
    return crs, []


def _from_text(text: str) -> CRS | None:
    try:
        return CRS.from_wkt(text)
    except CRSError:
        return None


def _question(why: str | None = None) -> dict[str, Any]:
    before = (
        f"{why} known here." if why else "The file does not say its coordinate system."
    )
    return {
        "key": "crs",
        "sentence": f"{before} What is its EPSG code? 4326 is longitude and latitude.",
        "choices": [],
    }


def way_from(crs: CRS) -> tuple[Transformer | None, list[tuple[str, str, str]]]:
    """Give how corners are moved, None if they need not be, and findings."""
    if crs.to_2d().equals(LONGITUDE_LATITUDE, ignore_axis_order=True):
        return None, []
    findings = [
        ("warning", "moved", f"Moved from {crs.name} to longitude and latitude.")
    ]
    with warnings.catch_warnings():
        # That a grid is missing is told as a finding.
        warnings.simplefilter("ignore")
        try:
            ways = TransformerGroup(crs, LONGITUDE_LATITUDE, always_xy=True)
            move = Transformer.from_crs(crs, LONGITUDE_LATITUDE, always_xy=True)
        except ProjError:
            return None, [
                (
                    "error",
                    "no-way",
                    f"There is no way from {crs.name} to longitude and latitude. Save"
                    " the file in another system.",
                )
            ]
    if not ways.best_available:
        accuracies = [way.accuracy for way in ways.transformers if way.accuracy > 0]
        off = max(min(accuracies, default=100.0), UNLIKELY_METRES)
        findings.append(
            (
                "warning",
                "grid-missing",
                f"The exact shift from {crs.name} needs a grid that is not here;"
                f" outlines may lie {off:.0f} m or more off. Compare a corner that you"
                " know.",
            )
        )
    return move, findings
