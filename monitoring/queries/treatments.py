"""Read treatments: those in force, which no correction has superseded."""

from collections.abc import Iterable
from datetime import date

from django.db.models import QuerySet

from monitoring.models import TreatedBlock


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
