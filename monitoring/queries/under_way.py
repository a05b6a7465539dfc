"""Tell how fresh figures are, so that open pages ask again and change when they do."""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Subquery

from blocks.models import FarmGroup
from monitoring.models import Density, DensityChange, RoundChange
from monitoring.sheets.queries import sheets_under_way


@dataclass(frozen=True, slots=True)
class Freshness:
    """Whether sheets, densities or alerts of a group are due, and a word for it all.

    The token is another one whenever there are new densities, or when something
    becomes due or is done.
    """

    under_way: bool
    token: str


def freshness_of(farm_group_id: int) -> Freshness:
    """Tell how fresh the group's figures are; 1 query."""
    newest = Density.objects.filter(farm_group_id=OuterRef("pk")).order_by("-pk")
    under_way, density_id = (
        FarmGroup.objects.filter(pk=farm_group_id)
        .annotate(
            under_way=Exists(RoundChange.objects.for_group(farm_group_id))
            | Exists(DensityChange.objects.for_group(farm_group_id))
            | Exists(sheets_under_way(farm_group_id)),
            newest=Subquery(newest.values("pk")[:1]),
        )
        .values_list("under_way", "newest")
        .get()
    )
    return Freshness(
        under_way, f"{density_id or 0}{'-and-more-to-come' if under_way else ''}"
    )
