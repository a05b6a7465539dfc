"""Tell whether new figures are on their way, so that open pages ask again."""

from monitoring.models import DensityChange, RoundChange
from monitoring.sheets.queries import something_is_under_way


def anything(farm_group_id: int) -> bool:
    """Tell whether sheets, densities or alerts of the group are due; 3 queries."""
    return (
        RoundChange.objects.for_group(farm_group_id).exists()
        or DensityChange.objects.for_group(farm_group_id).exists()
        or something_is_under_way(farm_group_id)
    )
