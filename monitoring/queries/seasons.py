"""Read what is known of blocks over time: densities, ratios, rounds."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.http import Http404

from blocks.access import Member, visible_blocks
from blocks.models import Block
from monitoring.models import Bag, Density, Organism, Ratio, Round, Tissue


@dataclass(frozen=True, slots=True)
class Season:
    """A block's rounds with their current densities and ratios, oldest first."""

    block: Block
    rounds: list[Round]
    densities: list[Density]
    ratios: list[Ratio]
    organisms: list[Organism]

    @property
    def tissues(self) -> list[str]:
        """Tissues that have figures, leaves first."""
        found = {row.tissue for row in self.densities}
        return [tissue for tissue in Tissue.values if tissue in found]

    def of_tissue(self, tissue: str) -> "Season":
        """Keep one tissue's figures."""
        return Season(
            self.block,
            self.rounds,
            [row for row in self.densities if row.tissue == tissue],
            [row for row in self.ratios if row.tissue == tissue],
            self.organisms,
        )


def season_of_block(block: Block) -> Season:
    """Read everything that a block's page shows over time; 4 queries."""
    group_id = block.farm_group_id
    whole_rounds = Q(is_current=True, round__block=block)
    return Season(
        block=block,
        rounds=list(rounds_of_block(block)),
        densities=list(
            Density.objects.for_group(group_id)
            .filter(whole_rounds, stratum="")
            .select_related("round", "organism")
            .order_by("round__collected_on", "pk")
        ),
        ratios=list(
            Ratio.objects.for_group(group_id)
            .filter(whole_rounds)
            .select_related("round", "predator", "prey")
            .order_by("round__collected_on", "pk")
        ),
        organisms=list(organisms_of_group(group_id)),
    )


def organisms_of_group(farm_group_id: int) -> QuerySet[Organism]:
    """List the group's organisms in their order; 1 query."""
    return Organism.objects.for_group(farm_group_id).order_by("position")


def rounds_of_block(block: Block) -> QuerySet[Round]:
    """List a block's rounds, newest first, with how far their bags are; 1 query."""
    rounds: QuerySet[Round] = (
        Round.objects.for_group(block.farm_group_id)
        .filter(block=block)
        .annotate(
            bags_total=Count("bags", filter=~Q(bags__way=Bag.Way.LOST)),
            bags_counted=Count(
                "bags", filter=Q(bags__way__in=[Bag.Way.COUNTED, Bag.Way.REPORTED])
            ),
        )
        .order_by("-collected_on", "-pk")
    )
    return rounds


def latest_densities(
    farm_group_id: int,
    blocks: Iterable[int],
    *,
    organism_id: int,
    tissue: str,
    on: date,
) -> dict[int, Density]:
    """Give each block's newest density on or before a date; 2 queries.

    Each block's rounds are walked from the newest back, along their index, so old
    seasons cost nothing.
    """
    newest = (
        Density.objects.for_group(farm_group_id)
        .filter(
            is_current=True,
            stratum="",
            organism_id=organism_id,
            tissue=tissue,
            round__farm_group_id=farm_group_id,
            round__block_id=OuterRef("pk"),
            round__collected_on__lte=on,
        )
        .order_by("-round__collected_on")
        .values("pk")[:1]
    )
    found = (
        Block.objects.for_group(farm_group_id)
        .filter(pk__in=list(blocks))
        .values_list(Subquery(newest), flat=True)
    )
    rows = (
        Density.objects.for_group(farm_group_id)
        # As a list: the planner would rather read all seasons than a subquery's keys.
        .filter(pk__in=[pk for pk in found if pk is not None])
        .select_related("round")
        .defer("used")
    )
    return {row.round.block_id: row for row in rows}


def density_for(member: Member, density_uuid: UUID) -> Density:
    """Give a density of a block that the member may see, or Http404; 1 query."""
    row: Density | None = (
        Density.objects.for_group(member.group_id)
        .filter(uuid=density_uuid, round__block__in=visible_blocks(member))
        .select_related("round__block__farm", "organism")
        .first()
    )
    if row is None:
        raise Http404("No such density.")
    return row


def ratio_for(member: Member, ratio_uuid: UUID) -> Ratio:
    """Give a ratio of a block that the member may see, or Http404; 1 query."""
    row: Ratio | None = (
        Ratio.objects.for_group(member.group_id)
        .filter(uuid=ratio_uuid, round__block__in=visible_blocks(member))
        .select_related("round__block__farm", "predator", "prey")
        .first()
    )
    if row is None:
        raise Http404("No such ratio.")
    return row


def round_for(member: Member, round_uuid: UUID) -> Round:
    """Give a round of a block that the member may see, or Http404; 1 query."""
    row: Round | None = (
        Round.objects.for_group(member.group_id)
        .filter(uuid=round_uuid, block__in=visible_blocks(member))
        .select_related("block__farm")
        .first()
    )
    if row is None:
        raise Http404("No such round.")
    return row


def days_with_rounds(farm_group_id: int, blocks: Sequence[int]) -> list[date]:
    """List the days on which any of the blocks was visited, oldest first; 1 query."""
    return list(
        Round.objects.for_group(farm_group_id)
        .filter(block__in=list(blocks))
        .order_by("collected_on")
        .values_list("collected_on", flat=True)
        .distinct()
    )
