"""Take what is due of a farm group, chunk by chunk, and judge it."""

from datetime import datetime

from alerts.services.lifecycle import judge_blocks
from blocks.models import Block
from blocks.tenancy import stating
from monitoring.models import DensityChange

CHUNK = 200


def judge_changes(farm_group_id: int, *, now: datetime) -> int:
    """Judge blocks with new densities; give how many transitions were written.

    Claiming, judging and letting go are one transaction: a second worker passes over
    what is claimed, and a killed one leaves it claimed by nobody.
    """
    written = 0
    while True:
        with stating(farm_group_id):
            claimed = list(
                DensityChange.objects.for_group(farm_group_id)
                .select_for_update(skip_locked=True, of=("self",))
                .select_related("round")
                .order_by("pk")[:CHUNK]
            )
            if not claimed:
                return written
            blocks = {change.round.block_id for change in claimed}
            written += len(judge_blocks(farm_group_id, blocks, now=now))
            DensityChange.objects.for_group(farm_group_id).filter(
                pk__in=[change.pk for change in claimed]
            ).delete()


def judge_everything(farm_group_id: int, *, now: datetime) -> int:
    """Judge all blocks of a group; give how many transitions were written."""
    with stating(farm_group_id):
        keys = list(
            Block.objects.for_group(farm_group_id)
            .order_by("pk")
            .values_list("pk", flat=True)
        )
    written = 0
    for start in range(0, len(keys), CHUNK):
        with stating(farm_group_id):
            chunk = keys[start : start + CHUNK]
            written += len(judge_blocks(farm_group_id, chunk, now=now))
    return written
