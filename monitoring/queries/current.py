"""Read blocks and their current densities, row by row."""

from dataclasses import dataclass
from datetime import date

from django.db.models import OuterRef, QuerySet, Subquery

from blocks.access import Member, visible_blocks
from blocks.models import Block, BlockBoundary
from monitoring.models import Density, Ratio


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which densities are asked for; what is None is not asked about."""

    tissue: str | None = None
    organism: str | None = None
    since: date | None = None
    until: date | None = None


def blocks_with_area(member: Member, *, on: date) -> QuerySet[Block]:
    """List the blocks a member may see, with `area_m2` on a date; 1 query."""
    in_force = (
        BlockBoundary.objects.for_group(member.group_id)
        .filter(block=OuterRef("pk"), valid_from__lte=on)
        .order_by("-valid_from")
    )
    return visible_blocks(member).annotate(
        area_m2=Subquery(in_force.values("area_m2")[:1])
    )


def current_densities(block: Block, wanted: Wanted) -> QuerySet[Density]:
    """List a block's current densities, newest round first; 1 query.

    Rows of single canopy positions are among them.
    """
    asked = {
        "tissue": wanted.tissue,
        "organism__code": wanted.organism,
        "round__collected_on__gte": wanted.since,
        "round__collected_on__lte": wanted.until,
    }
    return (
        Density.objects.for_group(block.farm_group_id)
        .filter(
            is_current=True,
            round__block=block,
            **{name: value for name, value in asked.items() if value is not None},
        )
        .select_related("round", "organism")
        .defer("quantiles", "used")
        .order_by("-round__collected_on", "tissue", "organism__position", "stratum")
    )


def current_ratios(block: Block, wanted: Wanted) -> QuerySet[Ratio]:
    """List a block's current predator ratios, newest round first; 1 query.

    The organism asked for is the predator's.
    """
    asked = {
        "tissue": wanted.tissue,
        "predator__code": wanted.organism,
        "round__collected_on__gte": wanted.since,
        "round__collected_on__lte": wanted.until,
    }
    return (
        Ratio.objects.for_group(block.farm_group_id)
        .filter(
            is_current=True,
            round__block=block,
            **{name: value for name, value in asked.items() if value is not None},
        )
        .select_related("round", "predator", "prey")
        .defer("quantiles")
        .order_by(
            "-round__collected_on", "tissue", "predator__position", "prey__position"
        )
    )
