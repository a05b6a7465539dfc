"""Read what a block's plan of how many bags rests on."""

from dataclasses import dataclass
from datetime import date, timedelta

from blocks.access import Member, visible_blocks
from blocks.models import Block
from monitoring.densities.history import PooledHistory, pooled_k_history
from monitoring.effort.laws import FEWEST_BAGS_SHOWN
from monitoring.models import Density, Organism, Recovery
from monitoring.queries.seasons import latest_densities
from monitoring.thresholds import ThresholdInForce, thresholds_in_force

# Densities below this are not asked for.
LEAST = 1e-3
# Where a threshold ends at its own level, a lower density of this share is taken.
WITHOUT_GAP = 0.5


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of an organism on a tissue of a block, as of a day."""

    block: Block
    organism: Organism
    tissue: str
    history: PooledHistory
    recovery: Recovery | None
    newest: Density | None
    threshold: ThresholdInForce | None

    @property
    def defaults(self) -> dict[str, str]:
        """What the form is filled with where nothing was asked."""
        filled = {}
        if self.newest and self.newest.median and self.newest.median >= LEAST:
            filled["density"] = f"{self.newest.median:.3g}"
        if self.threshold and self.threshold.level >= LEAST:
            level, clear = self.threshold.level, self.threshold.clear_level
            lower = clear if LEAST <= clear < level else WITHOUT_GAP * level
            filled |= {"lower": f"{lower:.6g}", "upper": f"{level:.6g}"}
        return filled


def history_seen(
    member: Member, *, organism: Organism, tissue: str, today: date
) -> PooledHistory:
    """Pool the rounds that the member may see, today's too; 2 queries."""
    return pooled_k_history(
        member.group_id,
        tissue=tissue,
        organism_id=organism.pk,
        before=today + timedelta(days=1),
        block_ids=visible_blocks(member).values_list("pk", flat=True),
        fewest_bags=FEWEST_BAGS_SHOWN,
    )


def known_of(
    member: Member, block: Block, *, organism: Organism, tissue: str, today: date
) -> Known:
    """Gather what a plan for a block rests on; 8 queries."""
    newest = latest_densities(
        member.group_id,
        [block.pk],
        organism_id=organism.pk,
        tissue=tissue,
        on=today,
    )
    thresholds = [
        one
        for one in thresholds_in_force(member.group_id, [block.pk])
        if one.prey_id is None
        and one.organism_id == organism.pk
        and one.tissue == tissue
    ]
    return Known(
        block=block,
        organism=organism,
        tissue=tissue,
        history=history_seen(member, organism=organism, tissue=tissue, today=today),
        recovery=Recovery.objects.for_group(member.group_id)
        .filter(organism=organism, tissue=tissue, valid_from__lte=today)
        .order_by("-valid_from", "-pk")
        .first(),
        newest=newest.get(block.pk),
        threshold=thresholds[0] if thresholds else None,
    )
