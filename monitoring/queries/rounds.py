"""Read a round's bags with all that was counted in them, and its figures."""

from django.db.models import Prefetch, QuerySet

from monitoring.models import Bag, Density, Ratio, Round, SymptomScore, Tally


def bags_of_round(of_round: Round) -> QuerySet[Bag]:
    """List a round's bags with washes and tallies, superseded ones too; 5 queries."""
    tallies = (
        Tally.objects.for_group(of_round.farm_group_id)
        .select_related("organism", "dish", "source_sheet", "source_reading", "analyst")
        .prefetch_related("cell_counts")
        .order_by("organism__position", "dish_number", "reading", "pk")
    )
    scores = (
        SymptomScore.objects.for_group(of_round.farm_group_id)
        .select_related("scale", "source_sheet")
        .order_by("pk")
    )
    bags: QuerySet[Bag] = (
        Bag.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round)
        .prefetch_related(
            "washes",
            Prefetch("washes__tallies", queryset=tallies),
            Prefetch("scores", queryset=scores),
        )
        .order_by("tissue", "position", "code")
    )
    return bags


def densities_of_round(of_round: Round) -> QuerySet[Density]:
    """List a round's current densities, each whole before its positions; 1 query."""
    return (
        Density.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round, is_current=True)
        .select_related("organism")
        .order_by("tissue", "organism__position", "stratum")
    )


def positions_of(density: Density) -> QuerySet[Density]:
    """List the canopy positions' own densities beside a round's whole; 1 query."""
    return (
        densities_of_round(density.round)
        .filter(tissue=density.tissue, organism=density.organism_id)
        .exclude(stratum="")
    )


def densities_of_ratio(ratio: Ratio) -> QuerySet[Density]:
    """List the two densities that a ratio is made of; 1 query."""
    return densities_of_round(ratio.round).filter(
        tissue=ratio.tissue,
        organism__in=[ratio.predator_id, ratio.prey_id],
        stratum="",
    )


def ratios_of_round(of_round: Round) -> QuerySet[Ratio]:
    """List a round's current ratios; 1 query."""
    return (
        Ratio.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round, is_current=True)
        .select_related("predator", "prey")
        .order_by("tissue", "predator__position", "prey__position")
    )
