"""Read treatments: those in force, which no correction has superseded."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, QuerySet
from django.http import Http404

from blocks.access import Member, visible_blocks
from blocks.models import Block, Farm
from monitoring.models import Density, TreatedBlock, Treatment


def in_force(farm_group_id: int) -> QuerySet[Treatment]:
    """Give a group's treatments that stand, newest first."""
    rows: QuerySet[Treatment] = (
        Treatment.objects.for_group(farm_group_id)
        .filter(correction=None, withdrawn=False)
        .order_by("-treated_on", "-pk")
    )
    return rows


def treated_blocks(farm_group_id: int, blocks: Iterable[int]) -> QuerySet[TreatedBlock]:
    """List blocks' parts in treatments in force, newest first; 1 query.

    Both parts are listed: treated, and left untreated as a check.
    """
    rows: QuerySet[TreatedBlock] = (
        TreatedBlock.objects.for_group(farm_group_id)
        .filter(
            block__in=list(blocks),
            treatment__correction=None,
            treatment__withdrawn=False,
        )
        .select_related("treatment")
        .order_by("-treatment__treated_on", "-treatment_id", "pk")
    )
    return rows


def latest_treatments(
    farm_group_id: int, blocks: Iterable[int], *, before: date
) -> dict[int, TreatedBlock]:
    """Give each block's latest treatment before a date, by block; 1 query.

    A treatment of that very day is not before it. Blocks never treated are left out;
    each row has its `.treatment`.
    """
    rows = (
        treated_blocks(farm_group_id, blocks)
        .filter(part=TreatedBlock.Part.TREATED, treatment__treated_on__lt=before)
        .order_by("block_id", "-treatment__treated_on", "-treatment_id")
        .distinct("block_id")
    )
    return {row.block_id: row for row in rows}


def part_keys(treatment: Treatment) -> set[tuple[int, str]]:
    """Give each block's key with its part in a treatment; 1 query."""
    rows = TreatedBlock.objects.for_group(treatment.farm_group_id).filter(
        treatment=treatment
    )
    return set(rows.values_list("block_id", "part"))


def treatments_seen(
    member: Member, *, farm_uuid: UUID | None = None
) -> QuerySet[Treatment]:
    """List treatments in force that reached blocks a member may see; 2 queries.

    Each has `.parts`, of those blocks only.
    """
    blocks = visible_blocks(member)
    if farm_uuid is not None:
        blocks = blocks.filter(farm__uuid=farm_uuid)
    return _reaching(member, in_force(member.group_id), blocks)


def treatment_for(member: Member, treatment_uuid: UUID) -> Treatment:
    """Give a treatment that reached a block the member may see, or Http404.

    Superseded and withdrawn ones too; 2 queries.
    """
    rows = Treatment.objects.for_group(member.group_id).filter(uuid=treatment_uuid)
    found = _reaching(member, rows, visible_blocks(member)).first()
    if found is None:
        raise Http404("No such treatment.")
    return found


def _reaching(
    member: Member, rows: QuerySet[Treatment], blocks: QuerySet[Block]
) -> QuerySet[Treatment]:
    parts = TreatedBlock.objects.for_group(member.group_id)
    seen = parts.filter(treatment=OuterRef("pk"), block__in=blocks.order_by())
    return (
        rows.filter(Exists(seen))
        .select_related("recorded_by", "correction")
        .prefetch_related(_parts_seen(member))
    )


def _parts_seen(member: Member) -> "Prefetch[str, QuerySet[TreatedBlock], str]":
    shown = (
        TreatedBlock.objects.for_group(member.group_id)
        .filter(block__in=visible_blocks(member).order_by())
        .select_related("block__farm")
        .order_by("-part", "block__farm__name", "block__name")
    )
    return Prefetch("parts", queryset=shown)


def records_of(member: Member, treatment: Treatment) -> list[Treatment]:
    """List all records of a treatment, newest first: each supersedes the next.

    The chain is walked in the database; 2 queries. Each has `.parts`, of blocks that
    the member may see, and `.recorder`.
    """
    found = Treatment.objects.raw(
        "WITH RECURSIVE newer AS ("
        " SELECT t.id, t.supersedes_id, t.farm_group_id FROM monitoring_treatment t"
        " WHERE t.farm_group_id = %(group)s AND t.id = %(key)s"
        " UNION SELECT n.id, n.supersedes_id, n.farm_group_id"
        " FROM monitoring_treatment n JOIN newer o ON n.farm_group_id = o.farm_group_id"
        " AND (n.supersedes_id = o.id OR n.id = o.supersedes_id))"
        " SELECT t.*, u.name AS recorder FROM monitoring_treatment t"
        " LEFT JOIN blocks_user u ON u.id = t.recorded_by_id"
        " WHERE t.farm_group_id = %(group)s AND t.id IN (SELECT id FROM newer)"
        " ORDER BY t.id DESC",
        {"group": treatment.farm_group_id, "key": treatment.pk},
    )
    return list(found.prefetch_related(_parts_seen(member)))


@dataclass(frozen=True, slots=True)
class Sides:
    """The blocks of a treatment by their part, as far as the member sees them."""

    treated: list[Block]
    checks: list[Block]


def sorted_parts(treatment: Treatment) -> Sides:
    """Give a fetched treatment's blocks by their part; no query."""
    by_part: dict[str, list[Block]] = {part: [] for part in TreatedBlock.Part.values}
    for row in treatment.parts.all():
        by_part[row.part].append(row.block)
    return Sides(by_part[TreatedBlock.Part.TREATED], by_part[TreatedBlock.Part.CHECK])


def sides_of(treatment: Treatment, block: Block) -> Sides:
    """Give a fetched treatment's blocks, or Http404 if this one was not treated."""
    sides = sorted_parts(treatment)
    if block not in sides.treated:
        raise Http404("No such treatment of this block.")
    return sides


def other_treatments(
    treatment: Treatment, blocks: Iterable[Block]
) -> QuerySet[TreatedBlock]:
    """List blocks' parts in other treatments in force, newest first; 1 query."""
    keys = [block.pk for block in blocks]
    return treated_blocks(treatment.farm_group_id, keys).exclude(treatment=treatment)


def chosen(farms: Sequence[Farm], farm_uuid: str) -> Farm | None:
    """Find a farm by what an address says; None for anything else; no query."""
    return next((farm for farm in farms if str(farm.uuid) == farm_uuid), None)


def chosen_block(member: Member, block_uuid: str) -> Block | None:
    """Find a block by what an address says; None for anything else; 1 query."""
    try:
        key = UUID(block_uuid)
    except ValueError:
        return None
    return visible_blocks(member).filter(uuid=key).first()


def blocks_of_farms(member: Member, farms: Iterable[int]) -> QuerySet[Block]:
    """List the blocks of farms that a member may see; 1 query."""
    return visible_blocks(member).filter(farm__in=list(farms))


def densities_around(
    farm_group_id: int, blocks: Iterable[int], *, since: date, until: date
) -> QuerySet[Density]:
    """List the current figures of blocks' rounds between two days, oldest first.

    Whole rounds only, and only those that have a figure; 1 query.
    """
    rows: QuerySet[Density] = (
        Density.objects.for_group(farm_group_id)
        .filter(
            is_current=True,
            stratum="",
            median__isnull=False,
            round__farm_group_id=farm_group_id,
            round__block__in=list(blocks),
            round__collected_on__gte=since,
            round__collected_on__lte=until,
        )
        .select_related("round__block", "organism")
        .defer("quantiles", "used")
        .order_by("round__collected_on", "pk")
    )
    return rows
