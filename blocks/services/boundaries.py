"""Import block boundaries from files: look first, then publish all or nothing."""

import json
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
from blocks.services.boundary_comparison import compare, left_out

State = BoundaryImport.State
FACTS = (
    "cultivar", "planting_year", "row_spacing_m", "vine_spacing_m", "row_direction_deg",
)  # fmt: skip
IMPORT_LOCK = 727_003
ANSWER_LENGTH = 200


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
            "code": getattr(refused, "code", "file-gone"),
            "sentence": getattr(refused, "sentence", "The stored file is gone."),
        }
    else:
        begun.state = State.READ
        begun.preview = compare(begun, document)
    begun.save()
    return begun


def answer(begun: BoundaryImport, answers: dict[str, str]) -> BoundaryImport:
    """Take answers to the file's questions, and read it again.

    What is no answer to a question that was asked is passed over.
    """
    begun = _still_open(begun)
    for question in begun.preview.get("questions", []):
        value = answers.get(question["key"], "").strip()[:ANSWER_LENGTH]
        offered = [choice for choice, _ in question["choices"]]
        if value and (not offered or value in offered):
            begun.answers[question["key"]] = value
    return read(begun)


def _still_open(begun: BoundaryImport) -> BoundaryImport:
    """Hold the import's row, so that nobody publishes it meanwhile."""
    held: BoundaryImport = (
        BoundaryImport.objects.for_group(begun.farm_group_id)
        .select_for_update()
        .get(pk=begun.pk)
    )
    if held.state != State.READ:
        raise NotReadyError("This import is over; upload the file again.")
    return held


def publish(begun: BoundaryImport) -> list[Block]:
    """Write all blocks and boundaries of the file, or none."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(%s, %s)", [IMPORT_LOCK, begun.farm_group_id]
        )
        begun = read(_still_open(begun))
        if begun.state != State.READ or (
            begun.preview["errors"] or begun.preview["open_questions"]
        ):
            raise NotReadyError(
                "The file still has errors or open questions. Mend or answer them, or"
                " leave shapes out, and publish then."
            )
        kept = [one for one in begun.preview["features"] if not left_out(begun, one)]
        if not kept:
            raise NotReadyError("Every shape is left out. Keep one, or put it aside.")
        blocks = [_write(begun, feature) for feature in kept]
        begun.state = State.PUBLISHED
        begun.published_at = timezone.now()
        begun.save()
    return blocks


def _write(begun: BoundaryImport, feature: dict[str, Any]) -> Block:
    facts = feature["facts"]
    blocks = Block.objects.for_group(begun.farm_group_id)
    block: Block
    if feature["block_id"] is None:
        block = Block(
            farm_group_id=begun.farm_group_id,
            farm_id=feature["farm_id"],
            name=facts["name"],
        )
    else:
        block = blocks.get(pk=feature["block_id"])
    for fact in FACTS:
        if facts.get(fact) not in {None, ""}:
            setattr(block, fact, facts[fact])
    block.save()
    if feature["unchanged"]:
        return block
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
    begun = _still_open(begun)
    begun.answers["left_out"] = sorted(set(indexes))
    return read(begun)


def discard(begun: BoundaryImport) -> None:
    """Put an import aside; the file is kept."""
    begun = _still_open(begun)
    begun.state = State.DISCARDED
    begun.save(update_fields=["state"])


def change_facts(block: Block, facts: dict[str, Any]) -> Block:
    """Change what is known of a block besides its boundary."""
    for name, value in facts.items():
        setattr(block, name, value)
    block.save()
    return block
