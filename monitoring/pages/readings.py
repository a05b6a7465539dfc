"""Set readings of the same dish side by side: pairs, and each counter's own."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import log10
from statistics import median

from monitoring.models import Tally
from monitoring.words import figure

TWO_COUNTERS = "two counters"
SAME_COUNTER = "the same counter"
UNNAMED = "counter not named"
TWO, THREE = 2, 3
# In fewer animals a ratio jumps by more than any counter drifts.
FEWEST_ANIMALS = 20


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of a dish, expanded to the whole dish."""

    tally: Tally

    @property
    def counter(self) -> str:
        """Whose reading it is: the member, or the name as written; else empty."""
        if self.tally.analyst_id:
            return f"member {self.tally.analyst_id}"
        return " ".join(self.tally.analyst_name.casefold().split())

    @property
    def name(self) -> str:
        """The counter's name as shown."""
        if self.tally.analyst is not None:
            return self.tally.analyst.name
        return " ".join(self.tally.analyst_name.split())

    @property
    def animals(self) -> float:
        """Animals in the whole dish: the count over the share it is taken for."""
        return (self.tally.count or 0) / self.tally.share_of_animals

    @property
    def log_animals(self) -> float:
        """log10 of the animals and one more, on which readings are compared."""
        return log10(self.animals + 1)

    @property
    def whole(self) -> bool:
        """Whether the whole dish was looked at."""
        return self.tally.scope == Tally.Scope.WHOLE

    @property
    def day(self) -> date:
        """The day of the wash, or of collecting where that is not known."""
        wash = self.tally.wash
        return wash.washed_on or wash.bag.round.collected_on


@dataclass(frozen=True, slots=True)
class Pair:
    """A dish's first reading and the one it is compared with."""

    first: Reading
    second: Reading

    @property
    def readings(self) -> tuple[Reading, Reading]:
        """Both, in their order."""
        return self.first, self.second

    @property
    def kind(self) -> str:
        """Whether two persons counted, one counted twice, or nobody knows."""
        counters = {self.first.counter, self.second.counter}
        if "" in counters:
            return UNNAMED
        return TWO_COUNTERS if len(counters) > 1 else SAME_COUNTER

    @property
    def log_ratio(self) -> float:
        """log10 of the second reading over the first, each with one more."""
        return self.second.log_animals - self.first.log_animals

    @property
    def ratio(self) -> float:
        """The second reading over the first, each with one more animal."""
        return float(10**self.log_ratio)

    @property
    def middle(self) -> float:
        """The geometric mean of both readings, each with one more animal."""
        return float(10 ** ((self.first.log_animals + self.second.log_animals) / 2))

    @property
    def whole(self) -> bool:
        """Whether both looked at the whole dish."""
        return self.first.whole and self.second.whole

    @property
    def unequal_scope(self) -> bool:
        """Whether one looked at the whole dish and the other at cells."""
        return self.first.whole != self.second.whole

    @property
    def nothing_found(self) -> bool:
        """Whether neither found an animal."""
        return not (self.first.tally.count or self.second.tally.count)

    @property
    def words(self) -> str:
        """The pair in words, for a chart's hover text."""
        bag = self.first.tally.wash.bag
        return (
            f"bag {bag.code} of {bag.round.collected_on:%Y-%m-%d}:"
            f" {figure(self.first.animals)} and {figure(self.second.animals)}"
        )


@dataclass(frozen=True, slots=True)
class Comparison:
    """One counter's reading of a dish against the others' of the same dish."""

    counter: str
    name: str
    day: date
    log_ratio: float


def pairs_of(dishes: Iterable[Sequence[Tally]]) -> list[Pair]:
    """Pair each dish's first reading with the next, by somebody else if there is one.

    One pair a dish, so that pairs do not lean on each other.
    """
    pairs = []
    for tallies in dishes:
        first, *later = (Reading(tally) for tally in tallies)
        pairs.append(
            next(
                (
                    pair
                    for second in later
                    if (pair := Pair(first, second)).kind == TWO_COUNTERS
                ),
                Pair(first, later[0]),
            )
        )
    return pairs


def full_dishes(dishes: Iterable[Sequence[Tally]]) -> list[Sequence[Tally]]:
    """Keep the dishes with so many animals that one more or less is no drift."""
    return [
        tallies
        for tallies in dishes
        if median(Reading(tally).animals for tally in tallies) >= FEWEST_ANIMALS
    ]


def whole_dishes(dishes: Iterable[Sequence[Tally]]) -> list[Sequence[Tally]]:
    """Keep the dishes that every reader looked at whole."""
    return [
        tallies
        for tallies in dishes
        if all(tally.scope == Tally.Scope.WHOLE for tally in tallies)
    ]


def comparisons_of(dishes: Iterable[Sequence[Tally]]) -> dict[str, list[Comparison]]:
    """Set each named counter against the others, by counter, oldest first.

    Two readers are set against each other; three or more against the middle reading,
    so that one who is off does not move the rest. A counter who read a dish twice is
    taken at the first reading.
    """
    found: dict[str, list[Comparison]] = defaultdict(list)
    for tallies in dishes:
        own = _by_counter(tallies)
        if len(own) < TWO:
            continue
        middle = median(one.log_animals for one in own.values())
        for counter, reading in own.items():
            # Of two readings the middle is half-way: the other is as far again.
            apart = reading.log_animals - middle
            found[counter].append(
                Comparison(
                    counter=counter,
                    name=reading.name,
                    day=reading.day,
                    log_ratio=2 * apart if len(own) == TWO else apart,
                )
            )
    for comparisons in found.values():
        comparisons.sort(key=lambda one: one.day)
    return dict(found)


def _by_counter(tallies: Iterable[Tally]) -> dict[str, Reading]:
    """Give each named counter's first reading of a dish."""
    own: dict[str, Reading] = {}
    for tally in tallies:
        reading = Reading(tally)
        if reading.counter:
            own.setdefault(reading.counter, reading)
    return own


def table_of(dishes: Iterable[Sequence[Tally]]) -> tuple[list[str], list[list[float]]]:
    """Give the counters, three or more, who read most dishes together, and a table.

    The table has a row a dish and a column a counter, log10 of the animals and one
    more; both are empty where no dish was read by three.
    """
    by_counters: dict[tuple[str, ...], list[dict[str, Reading]]] = defaultdict(list)
    for tallies in dishes:
        own = _by_counter(tallies)
        if len(own) >= THREE:
            by_counters[tuple(sorted(own))].append(own)
    if not by_counters:
        return [], []
    counters, rows = max(by_counters.items(), key=lambda item: (len(item[1]), item[0]))
    names = [rows[0][counter].name for counter in counters]
    return names, [[row[counter].log_animals for counter in counters] for row in rows]
