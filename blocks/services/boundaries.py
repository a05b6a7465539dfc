"""Import block boundaries from files: look first, then publish all or nothing."""

import json
from collections import Counter
from collections.abc import Iterable
from datetime import date
from typing import Any

from django.contrib.gis.geos import GEOSGeometry, MultiPolygon
from django.db import connection, transaction
from django.utils import timezone

from blocks.access import Member
from blocks.boundaries.kinds import RefusedError
from blocks.boundaries.reader import read_boundaries
from blocks.errors import SiteError
from blocks.files import path_of, store
from blocks.models import Block, BlockBoundary, BoundaryImport, Farm

State = BoundaryImport.State
FACTS = (
    "cultivar", "planting_year", "row_spacing_m", "vine_spacing_m", "row_direction_deg",
)  # fmt: skip
# A block this far from the group's others was likely placed wrongly.
FAR_M = 50_000.0
# Two blocks that share more than this of the smaller one overlap by mistake.
OVERLAP_SHARE = 0.01
SAME_SHARE = 0.95
IMPORT_LOCK = 727_003
# Asked again by the reader itself as long as an answer does not do.
ASKED_AGAIN = frozenset({"crs", "layer"})


class NotReadyError(SiteError):
    """The import still has errors or open questions, or is over."""

    code = "import-not-ready"
    status = 409


def receive(
    member: Member,
    *,
    file_name: str,
    chunks: Iterable[bytes],
    farm: Farm | None,
    valid_from: date,
) -> BoundaryImport:
    """Keep an uploaded file and read it."""
    stored = store("boundaries", member.group_id, chunks)
    begun = BoundaryImport.objects.create(
        farm_group=member.farm_group,
        file_name=file_name[-255:] or "unnamed",
        stored_name=stored.stored_name,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        farm=farm,
        valid_from=valid_from,
        uploaded_by=member.user,
    )
    return read(begun)


def read(begun: BoundaryImport) -> BoundaryImport:
    """Read the stored file, again after each answer, and compare with the group's."""
    path = path_of("boundaries", begun.farm_group_id, begun.stored_name)
    try:
        document = read_boundaries(path, begun.answers)
    except (RefusedError, FileNotFoundError) as refused:
        begun.state = State.REFUSED
        begun.preview = {
            "sentence": getattr(refused, "sentence", "The stored file is gone.")
        }
    else:
        begun.state = State.READ
        begun.preview = _compare(begun, document)
    begun.save()
    return begun


def answer(begun: BoundaryImport, answers: dict[str, str]) -> BoundaryImport:
    """Take answers to the file's questions, and read it again."""
    if begun.state != State.READ:
        raise NotReadyError("This import is over; upload the file again.")
    known = {question["key"] for question in begun.preview.get("questions", [])}
    for key, value in answers.items():
        if key in known:
            begun.answers[key] = f"EPSG:{value}" if value.isdigit() else value
    return read(begun)


def _compare(begun: BoundaryImport, document: dict[str, Any]) -> dict[str, Any]:
    farms = {
        farm.name.casefold(): farm
        for farm in Farm.objects.for_group(begun.farm_group_id)
    }
    features = document["features"]
    if begun.answers.get("swap") == "yes":
        for feature in features:
            _swap(feature)
    for feature in features:
        _place_on_farm(begun, feature, farms)
    _check_names(begun, features, document)
    existing = _existing_blocks(begun.farm_group_id)
    for feature in features:
        if feature["geometry"] is not None:
            _compare_with_blocks(begun, feature, existing)
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


def _note(holder: dict[str, Any], level: str, code: str, sentence: str) -> None:
    holder["findings"].append({"level": level, "code": code, "sentence": sentence})


def _swap(feature: dict[str, Any]) -> None:
    """Exchange longitude and latitude of an outline."""
    if feature["geometry"] is None:
        return
    feature["geometry"]["coordinates"] = [
        [[[y, x] for x, y in ring] for ring in part]
        for part in feature["geometry"]["coordinates"]
    ]


def _place_on_farm(
    begun: BoundaryImport, feature: dict[str, Any], farms: dict[str, Farm]
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
    begun: BoundaryImport, features: list[dict[str, Any]], document: dict[str, Any]
) -> None:
    """Find names that stand twice on a farm; number them if the person says so."""
    keys = [(f["farm_id"], f["facts"]["name"].casefold()) for f in features]
    times = Counter(keys)
    if max(times.values(), default=0) < 2:
        return
    if begun.answers.get("names") == "number":
        seen: Counter[tuple[int | None, str]] = Counter()
        for feature, key in zip(features, keys, strict=True):
            seen[key] += 1
            if seen[key] > 1:
                feature["facts"]["name"] += f" {seen[key]}"
        return
    document["questions"].append(
        {
            "key": "names",
            "sentence": "Several shapes have the same name on the same farm. Shall they"
            " be numbered?",
            "choices": [["number", "Yes: the second becomes “… 2”, and so on"]],
        }
    )


NEWEST = """
SELECT DISTINCT ON (b.block_id) b.block_id, k.name, k.farm_id, b.geometry
FROM blocks_blockboundary b JOIN blocks_block k ON k.id = b.block_id
WHERE b.farm_group_id = %(group)s ORDER BY b.block_id, b.valid_from DESC
"""
NEIGHBOURS = """
WITH newest AS (@newest),
shape AS (SELECT ST_SetSRID(ST_GeomFromGeoJSON(%(shape)s), 4326) AS geometry)
SELECT n.block_id, n.name, n.farm_id,
    ST_Area(ST_Intersection(n.geometry, s.geometry)::geography),
    ST_Area(n.geometry::geography)
FROM newest n, shape s WHERE ST_Intersects(n.geometry, s.geometry)
""".replace("@newest", NEWEST)
DISTANCE = """
WITH newest AS (@newest)
SELECT min(ST_Distance(ST_Centroid(geometry)::geography,
    ST_SetSRID(ST_MakePoint(%(lon)s, %(lat)s), 4326)::geography)) FROM newest
""".replace("@newest", NEWEST)


def _existing_blocks(farm_group_id: int) -> dict[tuple[int, str], Block]:
    return {
        (block.farm_id, block.name.casefold()): block
        for block in Block.objects.for_group(farm_group_id)
    }


def _compare_with_blocks(
    begun: BoundaryImport,
    feature: dict[str, Any],
    existing: dict[tuple[int, str], Block],
) -> None:
    key = (feature["farm_id"] or 0, feature["facts"]["name"].casefold())
    same = existing.get(key)
    feature["block_id"] = same.pk if same else None
    if same:
        _note(
            feature,
            "warning",
            "new-boundary",
            f"The block is there already; from {begun.valid_from:%Y-%m-%d} it gets this"
            " boundary. Older rounds keep the old one.",
        )
    with connection.cursor() as cursor:
        cursor.execute(
            NEIGHBOURS,
            {
                "group": begun.farm_group_id,
                "shape": json.dumps(feature["geometry"]),
            },
        )
        neighbours = cursor.fetchall()
    for key_of, name, farm_id, shared_m2, area_m2 in neighbours:
        if same is not None and key_of == same.pk:
            continue
        share = shared_m2 / max(min(area_m2, feature["area_m2"]), 1e-9)
        if share > SAME_SHARE and farm_id == feature["farm_id"]:
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
                f"It overlaps {name} by {shared_m2 / 10_000:.2f} ha.",
            )


def _middle(feature: dict[str, Any]) -> tuple[float, float]:
    shape = GEOSGeometry(json.dumps(feature["geometry"]))
    return shape.centroid.x, shape.centroid.y


def _distance_m(farm_group_id: int, lon: float, lat: float) -> float | None:
    if not (-180 <= lon <= 180 and -90 <= lat <= 90):
        return None
    with connection.cursor() as cursor:
        cursor.execute(DISTANCE, {"group": farm_group_id, "lon": lon, "lat": lat})
        found: float | None = cursor.fetchone()[0]
    return found


def _ask_about_place(
    begun: BoundaryImport, features: list[dict[str, Any]], document: dict[str, Any]
) -> None:
    """Warn of blocks far from the others; ask when swapped axes would explain it."""
    placed = next((one for one in features if one["geometry"] is not None), None)
    if placed is None:
        return
    lon, lat = _middle(placed)
    away = _distance_m(begun.farm_group_id, lon, lat)
    if away is None or away < FAR_M:
        return
    swapped = _distance_m(begun.farm_group_id, lat, lon)
    if swapped is not None and swapped < FAR_M and "swap" not in begun.answers:
        document["questions"].append(
            {
                "key": "swap",
                "sentence": "The shapes lie far from the group's blocks, but beside"
                " them with longitude and latitude exchanged. Exchange them?",
                "choices": [
                    ["yes", "Yes, exchange them"],
                    ["no", "No, they lie there"],
                ],
            }
        )
        return
    _note(
        document,
        "warning",
        "far-away",
        f"The shapes lie {away / 1000:.0f} km from the group's other blocks. Is the"
        " file's coordinate system right?",
    )


def publish(begun: BoundaryImport) -> list[Block]:
    """Write all blocks and boundaries of the file, or none."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(%s, %s)", [IMPORT_LOCK, begun.farm_group_id]
        )
        begun.refresh_from_db()
        if begun.state != State.READ:
            raise NotReadyError("This import is over; look at the blocks.")
        read(begun)
        if begun.state != State.READ or (
            begun.preview["errors"] or begun.preview["open_questions"]
        ):
            raise NotReadyError(
                "The file still has errors or open questions. Mend or answer them, or"
                " leave shapes out, and publish then."
            )
        kept = [one for one in begun.preview["features"] if not left_out(begun, one)]
        blocks = [_write(begun, feature) for feature in kept]
        begun.state = State.PUBLISHED
        begun.published_at = timezone.now()
        begun.save()
    return blocks


def left_out(begun: BoundaryImport, feature: dict[str, Any]) -> bool:
    """Tell whether the person left a shape out."""
    return feature["index"] in begun.answers.get("left_out", [])


def _write(begun: BoundaryImport, feature: dict[str, Any]) -> Block:
    facts = feature["facts"]
    block: Block
    block, _ = Block.objects.for_group(begun.farm_group_id).get_or_create(
        farm_group_id=begun.farm_group_id,
        farm_id=feature["farm_id"],
        name=facts["name"],
    )
    for fact in FACTS:
        if facts.get(fact) not in {None, ""}:
            setattr(block, fact, facts[fact])
    block.save()
    shape = GEOSGeometry(json.dumps(feature["geometry"]), srid=4326)
    if not isinstance(shape, MultiPolygon):
        shape = MultiPolygon(shape, srid=4326)
    BlockBoundary.objects.update_or_create(
        farm_group_id=begun.farm_group_id,
        block=block,
        valid_from=begun.valid_from,
        defaults={
            "geometry": shape,
            "source": begun.file_name[:200],
            "created_by": begun.uploaded_by,
        },
    )
    return block


def leave_out(begun: BoundaryImport, indexes: list[int]) -> BoundaryImport:
    """Leave shapes out by their place in the file, and compare again."""
    if begun.state != State.READ:
        raise NotReadyError("This import is over; upload the file again.")
    begun.answers["left_out"] = sorted(set(indexes))
    return read(begun)


def discard(begun: BoundaryImport) -> None:
    """Put an import aside; the file is kept."""
    if begun.state == State.PUBLISHED:
        raise NotReadyError("These boundaries are published already.")
    begun.state = State.DISCARDED
    begun.save(update_fields=["state"])


def change_facts(block: Block, facts: dict[str, Any]) -> Block:
    """Change what is known of a block besides its boundary."""
    for name, value in facts.items():
        setattr(block, name, value)
    block.save()
    return block
