"""The bags of a round by their way, and where those of one way may go."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from monitoring.models import Bag
from monitoring.services.bag_ways import BACK, FORWARD

# The labels of a way's values, as they stand in sentences.
WORDS = {str(value): str(label) for value, label in Bag.Way.choices}


@dataclass(frozen=True, slots=True)
class WayOfBags:
    """A way, and how many of a round's bags are on it."""

    way: str
    words: str
    number: int


@dataclass(frozen=True, slots=True)
class MovingPage:
    """The bags of one way, with the steps that all of them may take."""

    ways: list[WayOfBags]
    shown: str
    words: str
    bags: list[Bag]
    forward: list[tuple[str, str]]
    back: list[tuple[str, str]]


def moving_page(bags: Sequence[Bag], asked: str) -> MovingPage:
    """Show the bags of the way that was asked for, or of the first that can move."""
    numbers = Counter(bag.way for bag in bags)
    ways = [WayOfBags(way, WORDS[way], numbers[way]) for way in WORDS if numbers[way]]
    there = [one.way for one in ways]
    moving = [way for way in there if FORWARD[way]]
    shown = asked if asked in there else next(iter([*moving, *there]), "")
    return MovingPage(
        ways=ways,
        shown=shown,
        words=WORDS.get(shown, ""),
        bags=sorted((bag for bag in bags if bag.way == shown), key=_by_number),
        forward=[(way, WORDS[way]) for way in FORWARD.get(shown, ())],
        back=[(way, WORDS[way]) for way in BACK.get(shown, ())],
    )


def _by_number(bag: Bag) -> tuple[int, str]:
    """Put 2 before 10."""
    return len(bag.code), bag.code
