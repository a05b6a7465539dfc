"""Read a round's bags with all that was counted in them."""

from django.db.models import Prefetch, QuerySet

from monitoring.models import Bag, Round, Tally


def bags_of_round(of_round: Round) -> QuerySet[Bag]:
    """List a round's bags with washes and tallies, superseded ones too; 4 queries."""
    tallies = (
        Tally.objects.for_group(of_round.farm_group_id)
        .select_related("organism", "dish", "source_sheet", "analyst")
        .prefetch_related("cell_counts")
        .order_by("organism__position", "dish_number", "reading", "pk")
    )
    bags: QuerySet[Bag] = (
        Bag.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round)
        .prefetch_related("washes", Prefetch("washes__tallies", queryset=tallies))
        .order_by("tissue", "position", "code")
    )
    return bags
