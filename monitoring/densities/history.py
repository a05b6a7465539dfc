"""What a farm group's earlier rounds tell of clumping, by tissue and organism."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from math import isfinite, isnan
from uuid import UUID

from django.db.models import Exists, OuterRef

from monitoring.densities.samples import BagCount, samples_of_rounds
from monitoring.estimation import Clumping, RoundFit, fit_clumping
from monitoring.models import Bag, Round

# Fewer bags say too little of k, fewer rounds too little of how it varies.
FEWEST_BAGS, FEWEST_ROUNDS = 10, 10
# The newest so many rounds are looked through: bounds the work in a large group.
MOST_ROUNDS = 400


@dataclass(frozen=True, slots=True)
class PastRound:
    """One round's counts of an organism, of bags that hold the same number of units.

    The fit's mean and variance are per unit washed off, with the whole wash looked at:
    nothing is corrected for recovery.
    """

    round_id: int
    round_uuid: UUID
    block_id: int
    block_name: str
    collected_on: date
    units: int
    bags: tuple[BagCount, ...]
    fit: RoundFit

    @property
    def has_k(self) -> bool:
        """Whether animals were found and differed more than chance makes them."""
        return isfinite(self.fit.k)

    @property
    def exposures(self) -> list[float]:
        """Units in each bag times the share of its wash that was looked at."""
        return [bag.units * bag.proportion_counted for bag in self.bags]


@dataclass(frozen=True, slots=True)
class PooledHistory:
    """Earlier rounds, oldest first, and the k that fits them together.

    `together` is None where no round held an animal. `too_few_bags` rounds had animals
    counted in fewer bags than are asked for.
    """

    rounds: tuple[PastRound, ...]
    together: Clumping | None
    too_few_bags: int

    @property
    def with_k(self) -> list[PastRound]:
        """The rounds of which k can be told."""
        return [one for one in self.rounds if one.has_k]

    @property
    def is_enough(self) -> bool:
        """Whether so many rounds tell k that it may be held beforehand."""
        return len(self.with_k) >= FEWEST_ROUNDS


def pooled_k_history(
    farm_group_id: int,
    *,
    tissue: str,
    organism_id: int,
    before: date,
    block_ids: Iterable[int] | None = None,
    fewest_bags: int = FEWEST_BAGS,
) -> PooledHistory:
    """Fit each earlier round of a tissue and organism, and all together; 2 queries.

    Rounds collected before a day, of the whole group or of the blocks named, that have
    enough bags counted; only wash 1 and the chosen reading, as for densities, so the
    answer depends on published counts alone and not on what was computed before.
    """
    found = _rounds_before(farm_group_id, tissue, before, block_ids)
    by_id = {one.pk: one for one in found}
    kept: list[tuple[Round, list[BagCount]]] = []
    too_few = 0
    for sample in samples_of_rounds(
        farm_group_id, list(by_id), organism_id=organism_id
    ):
        if sample.tissue != tissue:
            continue
        bags = _of_like_units(sample.counted)
        if len(bags) >= fewest_bags:
            kept.append((by_id[sample.round_id], bags))
        elif bags:
            too_few += 1
    kept.sort(key=lambda one: (one[0].collected_on, one[0].pk))
    return _pooled(kept, too_few)


def _rounds_before(
    farm_group_id: int, tissue: str, before: date, block_ids: Iterable[int] | None
) -> list[Round]:
    bags = Bag.objects.for_group(farm_group_id).filter(
        round=OuterRef("pk"), tissue=tissue
    )
    rounds = Round.objects.for_group(farm_group_id).filter(
        Exists(bags), collected_on__lt=before
    )
    if block_ids is not None:
        rounds = rounds.filter(block__in=block_ids)
    newest = rounds.order_by("-collected_on", "-pk")[:MOST_ROUNDS]
    return list(newest.select_related("block"))


def _of_like_units(bags: list[BagCount]) -> list[BagCount]:
    """Keep the bags of the most common number of units: k is a bag's, of so many."""
    if not bags:
        return []
    ((usual, _),) = Counter(bag.units for bag in bags).most_common(1)
    return [bag for bag in bags if bag.units == usual]


def _pooled(kept: list[tuple[Round, list[BagCount]]], too_few: int) -> PooledHistory:
    if not any(bag.animals for _, bags in kept for bag in bags):
        return PooledHistory((), None, too_few)
    together = fit_clumping(
        [[bag.animals for bag in bags] for _, bags in kept],
        exposures=[
            [bag.units * bag.proportion_counted for bag in bags] for _, bags in kept
        ],
    )
    rounds = tuple(
        PastRound(
            round_id=of_round.pk,
            round_uuid=of_round.uuid,
            block_id=of_round.block_id,
            block_name=of_round.block.name,
            collected_on=of_round.collected_on,
            units=bags[0].units,
            bags=tuple(bags),
            fit=fit,
        )
        for (of_round, bags), fit in zip(kept, together.rounds, strict=True)
        if not isnan(fit.k)
    )
    return PooledHistory(rounds, together, too_few)
