"""Read symptom scores beside the animals that were on the same leaves."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from random import Random

from blocks.models import Block
from monitoring.densities.inputs import recovery_value
from monitoring.densities.samples import BagCount, samples_of_rounds
from monitoring.estimation import BetaRecovery
from monitoring.models import Organism, Recovery, SymptomScale, SymptomScore, Tissue
from monitoring.symptoms.seasons import SeasonSpan

# More rounds than these say hardly more and take long; they are drawn with this seed.
MOST_ROUNDS = 200
SEED = 2026


@dataclass(frozen=True, slots=True)
class ScoredLeaf:
    """A leaf's score, and what was seen on it of the organisms asked about.

    `shares`: recovery times proportion counted, organism by organism.
    """

    round_uuid: str
    round_id: int
    block_id: int
    collected_on: date
    code: str
    position: str
    score: int
    counts: tuple[int, ...]
    shares: tuple[float, ...]

    @property
    def densities(self) -> tuple[float, ...]:
        """Estimated animals on the leaf."""
        return tuple(
            count / share for count, share in zip(self.counts, self.shares, strict=True)
        )


@dataclass(frozen=True, slots=True)
class SeenLeaf:
    """A leaf's score, and the animals estimated on it of one organism."""

    score: int
    density: float


@dataclass(frozen=True, slots=True)
class ScoredLeaves:
    """The leaves of a season, and those that had to be left out, by why."""

    leaves: list[ScoredLeaf]
    scale: SymptomScale | None
    rounds_in_all: int
    rounds_drawn: int
    not_counted: int
    uncountable: int
    other_scale: int
    several_in_bag: int

    def seen_of(self, place: int) -> list[SeenLeaf]:
        """Give the leaves with the organism asked about in that place."""
        return [SeenLeaf(leaf.score, leaf.densities[place]) for leaf in self.leaves]

    @property
    def left_out(self) -> int:
        """How many scored bags are not among the leaves."""
        return (
            self.not_counted + self.uncountable + self.other_scale + self.several_in_bag
        )


def scored_leaves(
    farm_group_id: int,
    blocks: Iterable[Block],
    span: SeasonSpan,
    organisms: Sequence[Organism],
) -> ScoredLeaves:
    """Read a season's scored leaves with the organisms' counts; 4 queries."""
    scores = SymptomScore.objects.for_group(farm_group_id).filter(
        state=SymptomScore.State.PUBLISHED,
        bag__farm_group_id=farm_group_id,
        bag__tissue=Tissue.LEAF,
        bag__round__farm_group_id=farm_group_id,
        bag__round__block__in=[block.pk for block in blocks],
        bag__round__collected_on__range=(span.first, span.last),
    )
    rounds = sorted(scores.values_list("bag__round_id", flat=True).distinct())
    drawn = rounds
    if len(rounds) > MOST_ROUNDS:
        # A draw for everybody to repeat, no secret.
        drawn = sorted(Random(SEED).sample(rounds, MOST_ROUNDS))  # noqa: S311
    rows = list(
        scores.filter(bag__round_id__in=drawn)
        .select_related("bag__round", "scale")
        .order_by("-bag__round__collected_on", "bag__round_id", "bag__code", "pk")
    )
    if not rows:
        return ScoredLeaves([], None, 0, 0, 0, 0, 0, 0)
    return _beside_counts(
        farm_group_id, rows, drawn, organisms, rounds_in_all=len(rounds)
    )


def _beside_counts(
    farm_group_id: int,
    rows: list[SymptomScore],
    drawn: list[int],
    organisms: Sequence[Organism],
    *,
    rounds_in_all: int,
) -> ScoredLeaves:
    scale = max((row.scale for row in rows), key=lambda one: (one.valid_from, one.pk))
    on_scale = [row for row in rows if row.scale_id == scale.pk]
    single = [row for row in on_scale if row.bag.units == 1]
    counted, uncountable = _counted(farm_group_id, drawn, organisms)
    recoveries = _Recoveries(farm_group_id)
    leaves = [
        _leaf(row, [counts[row.bag_id] for counts in counted], organisms, recoveries)
        for row in single
        if all(row.bag_id in counts for counts in counted)
    ]
    spoilt = sum((row.bag.round_id, row.bag.code) in uncountable for row in single)
    return ScoredLeaves(
        leaves=leaves,
        scale=scale,
        rounds_in_all=rounds_in_all,
        rounds_drawn=len(drawn),
        not_counted=len(single) - len(leaves) - spoilt,
        uncountable=spoilt,
        other_scale=len(rows) - len(on_scale),
        several_in_bag=len(on_scale) - len(single),
    )


def _counted(
    farm_group_id: int, rounds: list[int], organisms: Sequence[Organism]
) -> tuple[list[dict[int, BagCount]], set[tuple[int, str]]]:
    """Give each organism's counts by bag, and bags uncountable for any of them."""
    counted: dict[int, dict[int, BagCount]] = {one.pk: {} for one in organisms}
    uncountable: set[tuple[int, str]] = set()
    for sample in samples_of_rounds(farm_group_id, rounds):
        if sample.tissue != Tissue.LEAF or sample.organism_id not in counted:
            continue
        counted[sample.organism_id] |= {bag.bag_id: bag for bag in sample.counted}
        uncountable |= {(sample.round_id, bag.code) for bag in sample.uncountable}
    return [counted[one.pk] for one in organisms], uncountable


class _Recoveries:
    """What one wash brings off a leaf, by day and organism; 1 query."""

    def __init__(self, farm_group_id: int) -> None:
        self._rows = list(
            Recovery.objects.for_group(farm_group_id)
            .filter(tissue=Tissue.LEAF)
            .order_by("-valid_from", "-pk")
        )
        self._known: dict[tuple[date, int], float] = {}

    def on(self, day: date, organism: Organism) -> float:
        """Give the mean share in force on a day; 1 where none is known."""
        key = day, organism.pk
        if key not in self._known:
            value = recovery_value(
                next(
                    (
                        row
                        for row in self._rows
                        if row.organism_id == organism.pk and row.valid_from <= day
                    ),
                    None,
                )
            )
            mean = value.mean if isinstance(value, BetaRecovery) else value
            self._known[key] = mean
        return self._known[key]


def _leaf(
    row: SymptomScore,
    bags: list[BagCount],
    organisms: Sequence[Organism],
    recoveries: _Recoveries,
) -> ScoredLeaf:
    of_round = row.bag.round
    return ScoredLeaf(
        round_uuid=str(of_round.uuid),
        round_id=of_round.pk,
        block_id=of_round.block_id,
        collected_on=of_round.collected_on,
        code=row.bag.code,
        position=row.bag.position,
        score=row.score,
        counts=tuple(bag.animals for bag in bags),
        shares=tuple(
            recoveries.on(of_round.collected_on, organism) * bag.proportion_counted
            for bag, organism in zip(bags, organisms, strict=True)
        ),
    )
