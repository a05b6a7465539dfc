"""Compare the shapes of a boundary file with each other and with the group's blocks."""

import json
from collections import Counter, defaultdict
from typing import Any

from django.db import connection

from blocks.models import Block, BoundaryImport, Farm

# A block this far from the group's others was likely placed wrongly.
FAR_M = 50_000.0
# Two blocks that share more than this of the smaller one overlap by mistake.
OVERLAP_SHARE = 0.01
SAME_SHARE = 0.95
SQUARE_METRES_PER_HECTARE = 10_000.0
# Asked again by the reader itself as long as an answer does not do.
ASKED_AGAIN = frozenset({"crs", "layer"})
Feature = dict[str, Any]

NEWEST = """
SELECT DISTINCT ON (b.block_id) b.block_id, k.name, k.farm_id, b.geometry
FROM blocks_blockboundary b JOIN blocks_block k ON k.id = b.block_id
WHERE b.farm_group_id = %(group)s ORDER BY b.block_id, b.valid_from DESC
"""
NEIGHBOURS = """
WITH newest AS MATERIALIZED (@newest), shape AS MATERIALIZED (
    SELECT place, ST_SetSRID(ST_GeomFromGeoJSON(outline), 4326) AS geometry
    FROM unnest(%(places)s::int[], %(outlines)s::text[]) AS given (place, outline)
)
SELECT s.place, n.block_id, n.name, n.farm_id,
    ST_Area(ST_Intersection(n.geometry, s.geometry)::geography),
    ST_Area(n.geometry::geography), ST_OrderingEquals(n.geometry, s.geometry)
FROM newest n JOIN shape s ON n.geometry && s.geometry
    AND ST_Intersects(n.geometry, s.geometry)
ORDER BY s.place, n.name
""".replace("@newest", NEWEST)
DISTANCE = """
WITH newest AS MATERIALIZED (@newest)
SELECT min(ST_Distance(ST_Centroid(geometry)::geography,
    ST_SetSRID(ST_MakePoint(%(lon)s, %(lat)s), 4326)::geography)) FROM newest
""".replace("@newest", NEWEST)


def compare(begun: BoundaryImport, document: dict[str, Any]) -> dict[str, Any]:
    """Add farms, findings and questions to what was read; 5 queries or fewer."""
    features: list[Feature] = document["features"]
    farms = {
        farm.name.casefold(): farm
        for farm in Farm.objects.for_group(begun.farm_group_id)
    }
    for feature in features:
        _place_on_farm(begun, feature, farms)
    existing = {
        (block.farm_id, block.name.casefold()): block.pk
        for block in Block.objects.for_group(begun.farm_group_id)
    }
    _check_names(begun, features, document, set(existing))
    _compare_within(begun, document)
    _compare_with_blocks(begun, features, existing)
    _ask_about_place(begun, features, document)
    document["errors"] = sum(
        finding["level"] == "error"
        for holder in (document, *features)
        if holder is document or not left_out(begun, holder)
        for finding in holder["findings"]
    )
    document["open_questions"] = [
        question["key"]
        for question in document["questions"]
        if question["key"] not in begun.answers or question["key"] in ASKED_AGAIN
    ]
    return document


def left_out(begun: BoundaryImport, feature: Feature) -> bool:
    """Tell whether the person left a shape out."""
    return feature["index"] in begun.answers.get("left_out", [])


def _note(holder: dict[str, Any], level: str, code: str, sentence: str) -> None:
    holder["findings"].append({"level": level, "code": code, "sentence": sentence})


def _place_on_farm(
    begun: BoundaryImport, feature: Feature, farms: dict[str, Farm]
) -> None:
    named = feature["facts"].get("farm", "")
    farm = farms.get(named.casefold()) if named else begun.farm
    feature["farm_id"] = farm.pk if farm else None
    feature["farm_name"] = farm.name if farm else named
    if farm is None:
        told = (
            f"No farm of the group is named “{named}”."
            if named
            else "The shape names no farm, and none was chosen."
        )
        _note(feature, "error", "no-farm", f"{told} Choose the farm when uploading.")


def _check_names(
    begun: BoundaryImport,
    features: list[Feature],
    document: dict[str, Any],
    taken: set[tuple[int, str]],
) -> None:
    """Find names that stand twice on a farm; number them if the person says so."""
    kept = [feature for feature in features if not left_out(begun, feature)]
    keys = [
        (feature["farm_id"], feature["facts"]["name"].casefold()) for feature in kept
    ]
    if max(Counter(keys).values(), default=0) < 2:
        return
    if begun.answers.get("names") == "number":
        _number_names(kept, keys, taken)
        return
    document["questions"].append(
        {
            "key": "names",
            "sentence": "Several shapes have the same name on the same farm. Shall they"
            " be numbered?",
            "choices": [["number", "Yes: the second becomes “… 2”, and so on"]],
        }
    )


def _number_names(
    kept: list[Feature],
    keys: list[tuple[int | None, str]],
    taken: set[tuple[int, str]],
) -> None:
    used = {*taken, *keys}
    seen: set[tuple[int | None, str]] = set()
    for feature, key in zip(kept, keys, strict=True):
        if key not in seen:
            seen.add(key)
            continue
        name, number = feature["facts"]["name"], 2
        while (key[0], f"{name} {number}".casefold()) in used:
            number += 1
        feature["facts"]["name"] = f"{name} {number}"
        used.add((key[0], f"{name} {number}".casefold()))


def _compare_within(begun: BoundaryImport, document: dict[str, Any]) -> None:
    """Note which shapes of the file lie over one another."""
    features = {feature["index"]: feature for feature in document["features"]}
    for first, second, shared_m2 in document["overlaps"]:
        one, other = features[first], features[second]
        if left_out(begun, one) or left_out(begun, other):
            continue
        _judge_overlap(
            other,
            name=one["facts"]["name"],
            share=shared_m2 / min(one["area_m2"], other["area_m2"]),
            shared_m2=shared_m2,
            same_farm=one["farm_id"] == other["farm_id"],
        )


def _judge_overlap(
    feature: Feature, *, name: str, share: float, shared_m2: float, same_farm: bool
) -> None:
    if share > SAME_SHARE and same_farm:
        _note(
            feature,
            "error",
            "same-place",
            f"The farm has a block in this very place, {name}. Give the shape that"
            " name to change its boundary, or leave it out.",
        )
    elif share > OVERLAP_SHARE:
        _note(
            feature,
            "warning",
            "overlap",
            f"{feature['facts']['name']} overlaps {name} by"
            f" {shared_m2 / SQUARE_METRES_PER_HECTARE:.2f} ha.",
        )


def _compare_with_blocks(
    begun: BoundaryImport,
    features: list[Feature],
    existing: dict[tuple[int, str], int],
) -> None:
    neighbours = _neighbours(begun.farm_group_id, features)
    for feature in features:
        key = (feature["farm_id"] or 0, feature["facts"]["name"].casefold())
        feature["block_id"] = existing.get(key)
        around = neighbours[feature["index"]]
        feature["unchanged"] = any(
            equal and block_id == feature["block_id"]
            for block_id, _, _, _, _, equal in around
        )
        if feature["block_id"] is not None and feature["geometry"] is not None:
            _tell_of_new_boundary(begun, feature)
        for block_id, name, farm_id, shared_m2, area_m2, _ in around:
            if block_id != feature["block_id"]:
                smaller_m2 = max(min(area_m2, feature["area_m2"]), 1e-9)
                _judge_overlap(
                    feature,
                    name=name,
                    share=shared_m2 / smaller_m2,
                    shared_m2=shared_m2,
                    same_farm=farm_id == feature["farm_id"],
                )


def _tell_of_new_boundary(begun: BoundaryImport, feature: Feature) -> None:
    if feature["unchanged"]:
        _note(
            feature,
            "warning",
            "unchanged",
            "The block is there already with this very boundary; it stays as it is.",
        )
        return
    _note(
        feature,
        "warning",
        "new-boundary",
        f"The block is there already; from {begun.valid_from:%Y-%m-%d} it gets this"
        " boundary. Older rounds keep the old one.",
    )


def _neighbours(
    farm_group_id: int, features: list[Feature]
) -> dict[int, list[tuple[Any, ...]]]:
    """Give the group's blocks that touch each shape, by the shape's index; 1 query."""
    placed = [feature for feature in features if feature["geometry"] is not None]
    found: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    with connection.cursor() as cursor:
        cursor.execute(
            NEIGHBOURS,
            {
                "group": farm_group_id,
                "places": [feature["index"] for feature in placed],
                "outlines": [json.dumps(feature["geometry"]) for feature in placed],
            },
        )
        for place, *neighbour in cursor.fetchall():
            found[place].append(tuple(neighbour))
    return found


def _distance_m(farm_group_id: int, lon: float, lat: float) -> float | None:
    """Give how far a place is from the group's nearest block; None without blocks."""
    with connection.cursor() as cursor:
        cursor.execute(DISTANCE, {"group": farm_group_id, "lon": lon, "lat": lat})
        found: float | None = cursor.fetchone()[0]
    return found


def _ask_about_place(
    begun: BoundaryImport, features: list[Feature], document: dict[str, Any]
) -> None:
    """Warn of blocks far from the others; ask when swapped axes would explain it."""
    group = begun.farm_group_id
    placed = next((one for one in features if one["place"] is not None), None)
    away_m = _distance_m(group, *placed["place"]) if placed else None
    if placed and (away_m is None or away_m < FAR_M):
        return
    places = (one["place_if_swapped"] for one in features)
    swapped = next((place for place in places if place is not None), None)
    if swapped is not None:
        then_m = _distance_m(group, *swapped)
        # Where there is no block to compare with, only what is beyond the Earth asks.
        if (then_m is None or then_m < FAR_M) and "swap" not in begun.answers:
            _ask_about_axes(document, swapped)
            return
    if placed and away_m is not None:
        lon, lat = placed["place"]
        _note(
            document,
            "warning",
            "far-away",
            f"{placed['facts']['name']} lies at {lat:.4f}, {lon:.4f} (latitude,"
            f" longitude), {away_m / 1000:.0f} km from the group's other blocks. Is the"
            " file's coordinate system right?",
        )


def _ask_about_axes(document: dict[str, Any], swapped: tuple[float, float]) -> None:
    lon, lat = swapped
    document["questions"].append(
        {
            "key": "swap",
            "sentence": "The shapes do not lie near the group's blocks, but would with"
            f" longitude and latitude exchanged, at {lat:.4f}, {lon:.4f} (latitude,"
            " longitude). Exchange them?",
            "choices": [
                ["yes", "Yes, exchange them"],
                ["no", "No, they lie where the file says"],
            ],
        }
    )
