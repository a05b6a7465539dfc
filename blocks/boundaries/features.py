"""Read features through GDAL, bring them to longitude and latitude, judge each."""

import sqlite3
import warnings
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely
from pyproj import Transformer
from pyproj.exceptions import ProjError

from blocks.boundaries import limits
from blocks.boundaries.attributes import facts_of
from blocks.boundaries.kinds import RefusedError, too_many_features
from blocks.boundaries.outline import Outline, judge, shape_of
from blocks.boundaries.overlaps import overlaps_of
from blocks.boundaries.systems import LONGITUDE_LATITUDE, system_of, way_from

CURVED = ("CURVE", "SURFACE")


@dataclass(frozen=True, slots=True)
class Source:
    """A file made ready for GDAL, and what is known of it beforehand."""

    path: Path
    kind: str
    stated_system: str | None = None
    notes: Sequence[str] = field(default_factory=tuple)


@dataclass(frozen=True, slots=True)
class Way:
    """How a file's corners become longitudes and latitudes."""

    move: Transformer | None
    swapped: bool
    geographic: bool


def read_features(source: Source, answers: dict[str, Any]) -> dict[str, Any]:
    """Give features, findings about the file, and questions, ready for JSON."""
    _refuse_other_drivers()
    findings = [_finding("warning", "letters-guessed", note) for note in source.notes]
    findings += _about_kml(source)
    document: dict[str, Any] = {"features": [], "findings": findings, "overlaps": []}
    layer, document["questions"] = _layer(source, answers)
    if layer is None:
        return document
    (meta, _, wkb, columns), noted = _open(source, layer)
    findings += noted
    usual = LONGITUDE_LATITUDE if source.kind in {"geojson", "kml"} else None
    stated = source.stated_system if usual else meta.get("crs")
    crs, questions = system_of(stated, answered=answers.get("crs"), usual=usual)
    document["questions"] += questions
    if crs is None:
        return document
    move, moved = way_from(crs)
    findings += [_finding(*one) for one in moved]
    if any(level == "error" for level, *_ in moved):
        return document
    way = Way(move, answers.get("swap") == "yes", crs.is_geographic)
    names = list(meta["fields"])
    outlines = [_outline(shape, way) for shape in wkb]
    for index, outline in enumerate(outlines):
        attributes = {
            name: _plain(column[index])
            for name, column in zip(names, columns, strict=True)
        }
        document["features"].append(_feature(index, outline, attributes))
    document["overlaps"] = overlaps_of(
        {i: one.whole for i, one in enumerate(outlines) if one.whole is not None},
        {i: one.area_m2 for i, one in enumerate(outlines)},
    )
    return document


def _refuse_other_drivers() -> None:
    """Make sure that the parent's list of drivers was heeded."""
    if not set(pyogrio.list_drivers()) <= set(limits.DRIVERS):
        raise RefusedError(
            "drivers",
            "The reader of boundary files is not set up rightly on this site.",
        )


def _finding(level: str, code: str, sentence: str) -> dict[str, Any]:
    return {"level": level, "code": code, "sentence": sentence}


def _about_kml(source: Source) -> list[dict[str, Any]]:
    if source.kind != "kml":
        return []
    text = source.path.read_text(encoding="utf-8", errors="replace").lower()
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
    source: Source, answers: dict[str, Any]
) -> tuple[str | None, list[dict[str, Any]]]:
    try:
        layers = [
            str(name) for name, geometry in _layers(source.path) if geometry is not None
        ]
    except pyogrio.errors.DataSourceError as error:
        raise RefusedError(
            "not-readable",
            "The file cannot be opened as what it says it is. Export it again.",
        ) from error
    if not layers:
        raise RefusedError("no-features", "The file holds no shape at all.")
    if len(layers) == 1:
        return layers[0], []
    if answers.get("layer") in layers:
        return answers["layer"], []
    question = {
        "key": "layer",
        "sentence": "The file has several layers. Which one holds the blocks?",
        "choices": [[name, name] for name in layers[:50]],
    }
    return None, [question]


def _layers(path: Path) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pyogrio.list_layers(path)


def _open(source: Source, layer: str) -> tuple[Any, list[dict[str, Any]]]:
    options = {"IMMUTABLE": "YES"} if source.kind == "gpkg" else {}
    encoding = None
    if source.kind == "shapefile" and not source.path.with_suffix(".cpg").exists():
        encoding = "cp1252"
    try:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            read = pyogrio.raw.read(
                source.path, layer=layer, encoding=encoding,
                max_features=limits.FEATURES + 1, **options,
            )  # fmt: skip
    except (
        pyogrio.errors.DataSourceError,
        pyogrio.errors.DataLayerError,
        pyogrio.errors.FeatureError,
        pyogrio.errors.FieldError,
        pyogrio.errors.GeometryError,
        ValueError,
    ) as error:
        raise RefusedError(
            "not-readable", f"The shapes cannot be read ({error}). Export them again."
        ) from error
    _refuse_too_much(read[2])
    findings = []
    if any("Measured (M)" in str(one.message) for one in said):
        findings.append(
            _finding("warning", "measures-dropped", "Measures (M) were left out.")
        )
    if source.kind == "gpkg" and _has_curves(source.path, layer):
        findings.append(
            _finding(
                "warning",
                "curves-straightened",
                "Curves were turned into many straight edges; look at the outlines.",
            )
        )
    return read, findings


def _refuse_too_much(shapes: Any) -> None:
    if len(shapes) == 0:
        raise RefusedError("no-features", "The file holds no shape at all.")
    if len(shapes) > limits.FEATURES:
        raise too_many_features()
    if sum(len(shape) for shape in shapes if shape is not None) > limits.SHAPES_BYTES:
        raise RefusedError(
            "too-many-corners",
            "The outlines have more corners together than are taken. Simplify them, or"
            " send fewer at a time.",
        )


def _has_curves(path: Path, layer: str) -> bool:
    """Tell whether the layer is declared as curved: GDAL straightens it in silence."""
    link = sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)
    with closing(link):
        row = link.execute(
            "SELECT geometry_type_name FROM gpkg_geometry_columns"
            " WHERE lower(table_name) = lower(?)",
            [layer],
        ).fetchone()
    return row is not None and any(word in str(row[0]).upper() for word in CURVED)


def _feature(
    index: int, outline: Outline, attributes: dict[str, Any]
) -> dict[str, Any]:
    facts, troubles = facts_of(attributes)
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
        "place": outline.place,
        "place_if_swapped": outline.place_if_swapped,
        "findings": [_finding(*problem) for problem in outline.problems],
    }


def _outline(wkb: bytes | None, way: Way) -> Outline:
    outline = Outline()
    shape = shape_of(wkb, outline)
    if shape is None:
        return outline
    if way.swapped:
        shape = shapely.transform(shape, lambda points: points[:, ::-1])
    if way.move is not None:
        try:
            shape = shapely.transform(
                shape,
                lambda x, y: way.move.transform(x, y, errcheck=True),
                interleaved=False,
            )
        except ProjError:
            return outline.error(
                "not-in-system",
                "Corners lie outside what the file's coordinate system covers. Save the"
                " file with the right system.",
            )
    judge(shape, outline)
    if not way.geographic or way.swapped:
        outline.place_if_swapped = None
    return outline


def _plain(value: Any) -> Any:
    """Give an attribute as JSON can hold it."""
    if value is None or isinstance(value, str | int | bool):
        return value
    if isinstance(value, np.integer):
        return int(value)
    try:
        number = float(value)
    except (TypeError, ValueError):
        return str(value)
    return number if number == number else None  # noqa: PLR0124 - NaN is no value
