"""Note that rounds changed, so that their densities are computed again."""

from datetime import date

from django.conf import settings
from django.db.models import QuerySet

from blocks.wakeups import wake_after_commit
from monitoring.models import Organism, Round, RoundChange


def note_changed_rounds(farm_group_id: int, rounds: QuerySet[Round]) -> int:
    """Queue the rounds for the densities task, in the caller's transaction."""
    noted = RoundChange.objects.bulk_create(
        RoundChange(farm_group_id=farm_group_id, round_id=pk)
        for pk in rounds.values_list("pk", flat=True)
    )
    if noted:
        wake_after_commit(settings.WAKE_DENSITIES_TASK)
    return len(noted)


def rounds_with_organism(farm_group_id: int, organism: Organism) -> QuerySet[Round]:
    """Find rounds that have a density of an organism."""
    return (
        Round.objects.for_group(farm_group_id)
        .filter(densities__organism=organism, densities__is_current=True)
        .distinct()
    )


def rounds_with_tissue(
    farm_group_id: int, *, tissue: str, since: date
) -> QuerySet[Round]:
    """Find rounds on or after a date that have bags of a tissue."""
    return (
        Round.objects.for_group(farm_group_id)
        .filter(collected_on__gte=since, bags__tissue=tissue)
        .distinct()
    )


def rounds_with_ratios(farm_group_id: int, *, since: date) -> QuerySet[Round]:
    """Find rounds on or after a date that have a predator ratio."""
    return (
        Round.objects.for_group(farm_group_id)
        .filter(collected_on__gte=since, ratios__is_current=True)
        .distinct()
    )
