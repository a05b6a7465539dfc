"""Tell whether new figures are on their way, so that open pages ask again."""

from django.db.models import Exists

from blocks.models import FarmGroup
from monitoring.models import DensityChange, RoundChange
from monitoring.sheets.queries import sheets_under_way


def anything(farm_group_id: int) -> bool:
    """Tell whether sheets, densities or alerts of the group are due; 1 query."""
    due = (
        Exists(RoundChange.objects.for_group(farm_group_id))
        | Exists(DensityChange.objects.for_group(farm_group_id))
        | Exists(sheets_under_way(farm_group_id))
    )
    return FarmGroup.objects.filter(due, pk=farm_group_id).exists()
