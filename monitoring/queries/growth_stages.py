"""Read how rounds came by their growth stages."""

from django.db.models import QuerySet

from monitoring.models import GrowthStageChange, Round


def stage_changes(of_round: Round) -> QuerySet[GrowthStageChange]:
    """List who changed a round's growth stage, oldest first; 1 query."""
    changes: QuerySet[GrowthStageChange] = (
        GrowthStageChange.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round)
        .select_related("changed_by")
        .order_by("changed_at", "pk")
    )
    return changes
