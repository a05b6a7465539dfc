"""Read one tally with its cells."""

from uuid import UUID

from django.db.models import Prefetch
from django.http import Http404

from blocks.access import Member, visible_blocks
from monitoring.models import CellCount, Tally


def tally_for(member: Member, tally_uuid: UUID) -> Tally:
    """Give a tally of a block that the member may see, or Http404; 2 queries."""
    row: Tally | None = (
        Tally.objects.for_group(member.group_id)
        .filter(uuid=tally_uuid, wash__bag__round__block__in=visible_blocks(member))
        .select_related(
            "wash__bag__round__block__farm",
            "organism",
            "dish",
            "source_sheet",
            "source_reading",
        )
        # Of a dish counted in two stages the order kept says which cells came first.
        .prefetch_related(
            Prefetch(
                "cell_counts",
                queryset=CellCount.objects.for_group(member.group_id).order_by("pk"),
            )
        )
        .first()
    )
    if row is None:
        raise Http404("No such tally.")
    return row
