"""Set stored figures against thresholds, for many blocks at once."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from alerts.models import Threshold, ThresholdVersion
from alerts.rules import RoundChance, Terms
from blocks.models import Block
from monitoring.estimation import StoredPosterior
from monitoring.models import Density, Ratio

# A season is never longer than a year.
LOOK_BACK = timedelta(days=370)
NEAREST_FIRST = {
    Threshold.Scope.BLOCK: 0,
    Threshold.Scope.FARM: 1,
    Threshold.Scope.GROUP: 2,
}


@dataclass(frozen=True, slots=True)
class Subject:
    """What an alert is about: a density, or with prey a predator ratio."""

    tissue: str
    organism_id: int
    prey_id: int | None


Figure = Density | Ratio


def current_versions(farm_group_id: int) -> list[ThresholdVersion]:
    """List the newest version of every threshold, removed ones too; 1 query."""
    return list(
        ThresholdVersion.objects.for_group(farm_group_id)
        .select_related(
            "threshold__farm", "threshold__block__farm", "threshold__organism",
            "threshold__prey", "created_by",
        )
        .order_by("threshold_id", "-number")
        .distinct("threshold_id")
    )  # fmt: skip


def nearest_versions(
    block: Block, versions: Iterable[ThresholdVersion]
) -> dict[Subject, ThresholdVersion]:
    """Give the version that holds for a block, by subject: the nearest scope wins."""
    found: dict[Subject, ThresholdVersion] = {}
    reaching = [one for one in versions if not one.removed and _reaches(one, block)]
    reaching.sort(key=lambda one: NEAREST_FIRST[Threshold.Scope(one.threshold.scope)])
    for one in reaching:
        found.setdefault(subject_of(one.threshold), one)
    return found


def subject_of(threshold: Threshold) -> Subject:
    """Give what a threshold watches."""
    return Subject(threshold.tissue, threshold.organism_id, threshold.prey_id)


def _reaches(version: ThresholdVersion, block: Block) -> bool:
    threshold = version.threshold
    return (
        threshold.scope == Threshold.Scope.GROUP
        or threshold.farm_id == block.farm_id
        or threshold.block_id == block.pk
    )


def figures_of_blocks(
    farm_group_id: int,
    block_ids: Sequence[int],
    *,
    today: date,
    only: Subject | None = None,
) -> Mapping[tuple[int, Subject], list[Figure]]:
    """Read the last year's figures by block and subject, oldest first; 2 queries.

    only: the one subject asked for, if not all are.
    """
    found: dict[tuple[int, Subject], list[Figure]] = defaultdict(list)
    since = today - LOOK_BACK
    lately = {
        "is_current": True,
        "round__block__in": block_ids,
        "round__collected_on__gte": since,
    }
    densities = (
        Density.objects.for_group(farm_group_id)
        .filter(_density_of(only), **lately, stratum="")
        .select_related("round", "organism")
        .order_by("round__collected_on", "pk")
    )
    for row in densities:
        subject = Subject(row.tissue, row.organism_id, None)
        found[row.round.block_id, subject].append(row)
    ratios = (
        Ratio.objects.for_group(farm_group_id)
        .filter(_ratio_of(only), **lately)
        .annotate(predators_at_least=Exists(_uncountable_predators()))
        .select_related("round", "predator", "prey")
        .order_by("round__collected_on", "pk")
    )
    for one in ratios:
        subject = Subject(one.tissue, one.predator_id, one.prey_id)
        found[one.round.block_id, subject].append(one)
    return found


def _density_of(subject: Subject | None) -> Q:
    if subject is None:
        return Q()
    # A ratio's threshold asks for no density.
    wanted = Q(organism=subject.organism_id, tissue=subject.tissue)
    return wanted if subject.prey_id is None else Q(pk=None)


def _ratio_of(subject: Subject | None) -> Q:
    if subject is None:
        return Q()
    return Q(predator=subject.organism_id, prey=subject.prey_id, tissue=subject.tissue)


def _uncountable_predators() -> QuerySet[Density]:
    rows: QuerySet[Density] = Density.objects.filter(
        farm_group_id=OuterRef("farm_group_id"),
        round_id=OuterRef("round_id"),
        organism_id=OuterRef("predator_id"),
        tissue=OuterRef("tissue"),
        stratum="",
        is_current=True,
        at_least=True,
    )
    return rows


def terms_of(version: ThresholdVersion) -> Terms:
    """Give what a version asks for, as the rules take it."""
    return Terms(
        certainty=version.certainty,
        clear_certainty=version.clear_certainty,
        raise_rounds=version.raise_rounds,
        clear_rounds=version.clear_rounds,
        season_from=version.season_from,
        season_until=version.season_until,
    )


def round_chance(figure: Figure, version: ThresholdVersion) -> RoundChance:
    """Set one round's figure against a version.

    A round with too few bags, without a figure or (for a ratio) without prey does not
    judge. Where uncountable bags were left out the true value is this or more: such a
    round may raise an alert, and never counts towards clearing it. A ratio whose
    predators were uncountable is higher than it looks, so it judges nothing.
    """
    chance = clear_chance = None
    judges = figure.quantiles and not getattr(figure, "predators_at_least", False)
    if judges and figure.bags_used >= version.minimum_bags:
        posterior = StoredPosterior(tuple(figure.quantiles))
        beyond = (
            posterior.chance_below
            if isinstance(figure, Ratio)
            else posterior.chance_above
        )
        chance = beyond(version.level)
        clear_chance = 1.0 if figure.at_least else beyond(version.clear_level)
    return RoundChance(figure.round_id, figure.round.collected_on, chance, clear_chance)
