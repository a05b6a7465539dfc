"""Rewrite GeoJSON so that nothing in it points outside the file."""

import json
from pathlib import Path
from typing import Any

from blocks.boundaries import limits
from blocks.boundaries.kinds import TAKEN, RefusedError, too_many_features

TYPES = frozenset({"FeatureCollection", "Feature", "Polygon", "MultiPolygon"})


def rewrite_geojson(path: Path, target: Path) -> str | None:
    """Write the file without its coordinate system; give that system's name.

    The old `crs` member may be a link, which GDAL would follow over the network, and
    it may stand at any depth: it is taken out everywhere.
    """
    systems: list[Any] = []

    def without_system(found: dict[str, Any]) -> dict[str, Any]:
        if "type" in found and isinstance(found.get("crs"), dict):
            systems.append(found.pop("crs"))
        return found

    try:
        document = json.loads(
            path.read_text(encoding="utf-8-sig"), object_hook=without_system
        )
    except (ValueError, RecursionError) as error:
        raise RefusedError(
            "broken-json",
            f"The file begins as GeoJSON and is broken ({error}). Export it again.",
        ) from error
    kind = document.get("type") if isinstance(document, dict) else None
    if not isinstance(kind, str) or kind not in TYPES:
        raise RefusedError(
            "not-geojson",
            f"The file is JSON of type “{kind}”, not GeoJSON features. Send {TAKEN}.",
        )
    features = document.get("features")
    if isinstance(features, list) and len(features) > limits.FEATURES:
        raise too_many_features()
    target.write_text(json.dumps(document))
    return _name_of(systems)


def _name_of(systems: list[Any]) -> str | None:
    names = set()
    for system in systems:
        properties = system.get("properties")
        name = properties.get("name") if isinstance(properties, dict) else None
        if system.get("type") != "name" or not isinstance(name, str):
            raise RefusedError(
                "linked-system",
                "The file gives its coordinate system as a link, and links are not"
                " followed. Save it as longitude and latitude (EPSG 4326).",
            )
        names.add(name)
    if len(names) > 1:
        raise RefusedError(
            "several-systems",
            f"The file names several coordinate systems ({', '.join(sorted(names))})."
            " Save it in one.",
        )
    return names.pop() if names else None
