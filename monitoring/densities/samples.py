"""Which tallies make a density: the bags of a round, for one tissue and organism."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from django.db import connection

# Wash 1 only: repeat washes are for recovery. One reading a dish: the chosen one.
# Of a dish counted in two stages the count's share is that of its unbiased total, as
# `Tally.share_of_animals` has it; the last column says which dishes those are.
TALLIES_OF_ROUNDS = """
SELECT b.round_id, b.id, b.code, b.tissue, b.position, b.units, coalesce(w.dishes, 1),
    t.organism_id, t.outcome, t.count,
    coalesce(nullif(t.count, 0) / t.animals_in_dish, t.proportion_counted),
    t.animals_in_dish IS NOT NULL
FROM monitoring_bag b
LEFT JOIN monitoring_wash w ON w.farm_group_id = b.farm_group_id AND w.bag_id = b.id
    AND w.number = 1
LEFT JOIN monitoring_tally t ON t.farm_group_id = b.farm_group_id AND t.wash_id = w.id
    AND t.state = 'published' AND t.chosen
    AND (%s::bigint IS NULL OR t.organism_id = %s)
WHERE b.farm_group_id = %s AND b.round_id = ANY(%s) AND b.way <> 'lost'
ORDER BY b.round_id, b.tissue, b.code, b.id, t.organism_id, t.dish_number
"""


class BagCount(NamedTuple):
    """A bag's animals of one organism, summed over its dishes.

    proportion_counted: the share of its animals that they are taken for.
    """

    bag_id: int
    code: str
    position: str
    units: int
    animals: int
    proportion_counted: float


class OtherBag(NamedTuple):
    """A bag without a figure: still waiting, or not countable."""

    code: str
    position: str


@dataclass(slots=True)
class Sample:
    """A round's bags of one tissue, for one organism."""

    round_id: int
    tissue: str
    organism_id: int
    counted: list[BagCount] = field(default_factory=list)
    missing: list[OtherBag] = field(default_factory=list)
    uncountable: list[OtherBag] = field(default_factory=list)

    @property
    def positions(self) -> list[str]:
        """The canopy positions of the bags counted, in alphabetical order."""
        return sorted({bag.position for bag in self.counted})

    def of_position(self, position: str) -> "Sample":
        """Keep the bags of one canopy position."""
        return Sample(
            self.round_id,
            self.tissue,
            self.organism_id,
            [bag for bag in self.counted if bag.position == position],
            [bag for bag in self.missing if bag.position == position],
            [bag for bag in self.uncountable if bag.position == position],
        )


class _Dish(NamedTuple):
    """What a bag's tally of one dish says."""

    outcome: str
    animals: int | None
    share: float
    in_two_stages: bool


@dataclass(slots=True)
class _Bag:
    code: str
    tissue: str
    position: str
    units: int
    dishes: int
    tallies: dict[int, list[_Dish]] = field(default_factory=lambda: defaultdict(list))


def samples_of_rounds(
    farm_group_id: int, round_ids: Sequence[int], *, organism_id: int | None = None
) -> list[Sample]:
    """Collect the samples of rounds, of one organism or all; 1 query.

    An organism never counted has none.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            TALLIES_OF_ROUNDS,
            [organism_id, organism_id, farm_group_id, list(round_ids)],
        )
        rows = cursor.fetchall()
    bags: dict[tuple[int, int], _Bag] = {}
    for round_id, bag_id, code, tissue, position, units, dishes, *tally in rows:
        bag = bags.setdefault(
            (round_id, bag_id), _Bag(code, tissue, position, units, dishes)
        )
        organism_id, *dish = tally
        if organism_id is not None:
            bag.tallies[organism_id].append(_Dish(*dish))
    return _by_sample(bags)


def _by_sample(bags: dict[tuple[int, int], _Bag]) -> list[Sample]:
    together: dict[tuple[int, str], list[tuple[int, _Bag]]] = defaultdict(list)
    for (round_id, bag_id), bag in bags.items():
        together[round_id, bag.tissue].append((bag_id, bag))
    samples = []
    for (round_id, tissue), members in together.items():
        organisms = sorted({key for _, bag in members for key in bag.tallies})
        for organism_id in organisms:
            sample = Sample(round_id, tissue, organism_id)
            _fill(sample, members)
            samples.append(sample)
    return samples


def _fill(sample: Sample, members: Iterable[tuple[int, _Bag]]) -> None:
    for bag_id, bag in members:
        tallies = bag.tallies.get(sample.organism_id, [])
        if any(dish.outcome == "uncountable" for dish in tallies):
            sample.uncountable.append(OtherBag(bag.code, bag.position))
        elif len(tallies) < bag.dishes:
            sample.missing.append(OtherBag(bag.code, bag.position))
        else:
            count = sum(dish.animals or 0 for dish in tallies)
            sample.counted.append(
                BagCount(
                    bag_id, bag.code, bag.position, bag.units, count, _share(tallies)
                )
            )


def _share(dishes: Sequence[_Dish]) -> float:
    """Give the share of a wash's animals that its counts are taken for.

    Equal shares are poured into the dishes of a wash, so it is the mean of theirs. But
    of dishes counted in two stages the totals are unbiased, and add up as they are.
    """
    count = sum(dish.animals or 0 for dish in dishes)
    if count and len(dishes) > 1 and any(dish.in_two_stages for dish in dishes):
        return count / sum((dish.animals or 0) / dish.share for dish in dishes)
    return sum(dish.share for dish in dishes) / len(dishes)
