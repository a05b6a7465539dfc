"""Read what is held of clumping, and what could be learned."""

from datetime import date

from blocks.models import FarmGroup
from monitoring.models import ClumpingPrior


def clumping_in_force(farm_group: FarmGroup, *, on: date) -> list[ClumpingPrior]:
    """Give the newest row of each organism and tissue up to a day; 1 query."""
    rows = (
        ClumpingPrior.objects.for_group(farm_group.pk)
        .filter(valid_from__lte=on)
        .select_related("organism", "created_by")
        .order_by("organism__position", "tissue", "-valid_from", "-pk")
        .distinct("organism__position", "tissue")
    )
    return list(rows)
