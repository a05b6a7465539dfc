"""Read features through GDAL, bring them to longitude and latitude, judge each."""

from pathlib import Path
from typing import Any

import pyogrio
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError

from blocks.boundaries import limits
from blocks.boundaries.attributes import facts_of
from blocks.boundaries.kinds import RefusedError
from blocks.boundaries.outline import Outline, judge

LONGITUDE_LATITUDE = CRS.from_epsg(4326)
BROKEN = (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError)


def read_features(
    path: Path, kind: str, answers: dict[str, Any], notes: list[str]
) -> dict[str, Any]:
    """Give features, findings about the file, and questions, ready for JSON."""
    findings = [_finding("warning", "letters-guessed", note) for note in notes]
    findings += _about_kml(path, kind)
    layer, questions = _layer(path, answers)
    if layer is None:
        return {"features": [], "findings": findings, "questions": questions}
    meta, _, wkb, columns = _open(path, layer, kind)
    crs, more = _system(meta.get("crs"), kind, answers)
    questions += more
    if crs is None:
        return {"features": [], "findings": findings, "questions": questions}
    move = None
    if not crs.to_2d().equals(LONGITUDE_LATITUDE, ignore_axis_order=True):
        move = Transformer.from_crs(crs, LONGITUDE_LATITUDE, always_xy=True)
        findings.append(
            _finding(
                "warning", "moved", f"Moved from {crs.name} to longitude and latitude."
            )
        )
    names = list(meta["fields"])
    features = []
    for index, shape in enumerate(_shapes(wkb)):
        attributes = {
            name: _plain(column[index])
            for name, column in zip(names, columns, strict=True)
        }
        features.append(_feature(index, shape, attributes, move))
    return {"features": features, "findings": findings, "questions": questions}


def _finding(level: str, code: str, sentence: str) -> dict[str, Any]:
    return {"level": level, "code": code, "sentence": sentence}


def _about_kml(path: Path, kind: str) -> list[dict[str, Any]]:
    if kind != "kml":
        return []
    text = path.read_text(encoding="utf-8", errors="replace").lower()
    if any(word in text for word in ("<networklink", "<groundoverlay", "<href")):
        return [
            _finding(
                "warning",
                "links-ignored",
                "Links to other files and pictures in the KML were not followed.",
            )
        ]
    return []


def _layer(
    path: Path, answers: dict[str, Any]
) -> tuple[str | None, list[dict[str, Any]]]:
    try:
        layers = [
            str(name)
            for name, geometry in pyogrio.list_layers(path)
            if geometry is not None
        ]
    except pyogrio.errors.DataSourceError as error:
        raise RefusedError(
            "not-readable",
            "The file cannot be opened as what it says it is. Export it again.",
        ) from error
    if not layers:
        raise RefusedError("no-features", "The file holds no shape at all.")
    if len(layers) == 1 or answers.get("layer") in layers:
        return answers.get("layer") or layers[0], []
    question = {
        "key": "layer",
        "sentence": "The file has several layers. Which one holds the blocks?",
        "choices": [[name, name] for name in layers[:50]],
    }
    return None, [question]


def _open(path: Path, layer: str, kind: str) -> Any:
    options = {"IMMUTABLE": "YES"} if kind == "gpkg" else {}
    encoding = None
    if kind == "shapefile" and not path.with_suffix(".cpg").exists():
        encoding = "cp1252"
    try:
        read = pyogrio.raw.read(
            path, layer=layer, encoding=encoding, max_features=limits.FEATURES + 1,
            **options,
        )  # fmt: skip
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        ValueError,
    ) as error:
        raise RefusedError(
            "not-readable", f"The shapes cannot be read ({error}). Export them again."
        ) from error
    if len(read[2]) > limits.FEATURES:
        raise RefusedError(
            "too-many-features",
            f"The file holds more than {limits.FEATURES:,} shapes. Send blocks only.",
        )
    if len(read[2]) == 0:
        raise RefusedError("no-features", "The file holds no shape at all.")
    return read


def _system(
    crs: str | None, kind: str, answers: dict[str, Any]
) -> tuple[CRS | None, list[dict[str, Any]]]:
    """Find the coordinate system; ask for it where the file does not say."""
    stated = answers.get("crs") or crs
    if stated is None and kind in {"geojson", "kml"}:
        return LONGITUDE_LATITUDE, []
    question = {
        "key": "crs",
        "sentence": "The file does not say its coordinate system. What is its EPSG"
        " code? 4326 is longitude and latitude.",
        "choices": [],
    }
    if stated is None:
        return None, [question]
    try:
        return CRS.from_user_input(stated), []
    except CRSError:
        question["sentence"] = (
            f"“{stated}” is not a coordinate system that is known. What is the file's"
            " EPSG code, such as 4326 or 32629?"
        )
        return None, [question]


def _shapes(wkb: Any) -> Any:
    for value in wkb:
        if value is None:
            yield None
            continue
        try:
            yield shapely.from_wkb(value)
        except shapely.errors.ShapelyError:
            yield "curved"


def _feature(
    index: int, shape: Any, attributes: dict[str, Any], move: Transformer | None
) -> dict[str, Any]:
    facts, troubles = facts_of(attributes)
    outline = _outline(shape, move)
    for trouble in troubles:
        outline.warn("fact-left-out", trouble)
    if not facts.get("name"):
        facts["name"] = f"Block {index + 1}"
        outline.warn("no-name", f"The shape has no name; it is called {facts['name']}.")
    return {
        "index": index,
        "facts": facts,
        "geometry": outline.geometry,
        "before": outline.before,
        "area_m2": outline.area_m2,
        "findings": [_finding(*problem) for problem in outline.problems],
    }


def _outline(shape: Any, move: Transformer | None) -> Outline:
    if shape == "curved":
        return Outline().error(
            "curves", "The outline has curves. Save it with straight edges."
        )
    heights = move is not None and _has_heights(shape)
    if shape is not None and move is not None and not shape.is_empty:
        flat = shapely.force_2d(shape)
        try:
            shape = shapely.transform(
                flat,
                lambda x, y: move.transform(x, y, errcheck=True),
                interleaved=False,
            )
        except ProjError:
            return Outline().error(
                "not-in-system",
                "Corners lie outside what the file's coordinate system covers. Save the"
                " file with the right system.",
            )
    outline = judge(shape)
    if heights:
        outline.warn("heights-dropped", "Heights were left out; an outline is flat.")
    return outline


def _has_heights(shape: Any) -> bool:
    return shape is not None and bool(shapely.has_z(shape))


def _plain(value: Any) -> Any:
    """Give an attribute as JSON can hold it."""
    if value is None or isinstance(value, str | int | bool):
        return value
    try:
        number = float(value)
    except (TypeError, ValueError):
        return str(value)
    return number if number == number else None  # noqa: PLR0124 - NaN is no value
