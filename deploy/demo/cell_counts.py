"""Which bags' dense dishes are written down cell by cell, in a sheet of their own."""

from collections.abc import Iterable
from dataclasses import replace

from deploy.demo.almanac import THIS_SEASON
from deploy.demo.laboratory import Reading, Seen
from deploy.demo.rounds import SampledBag, SampledRound

# The block, and the season day of the visit.
CELL_BY_CELL = ("Wren Slope", THIS_SEASON, 209)
BAGS_BY_CELL = 3


def bags_by_cell(visit: SampledRound) -> list[SampledBag]:
    """Give the bags of a visit whose cells have a sheet of their own; mostly none."""
    if (visit.block.name, visit.season, visit.day) != CELL_BY_CELL:
        return []
    named = [
        bag
        for bag in visit.bags
        if len(bag.readings) == 1 and bag.readings[0].seen["rust_mites"].named
    ]
    return named[:BAGS_BY_CELL]


def without_cells(rounds: Iterable[SampledRound]) -> list[SampledRound]:
    """Leave rust mites empty where their cells have a sheet of their own."""
    left = []
    for visit in rounds:
        codes = {bag.code for bag in bags_by_cell(visit)}
        bags = tuple(
            replace(bag, readings=tuple(_without(one) for one in bag.readings))
            if bag.code in codes
            else bag
            for bag in visit.bags
        )
        left.append(replace(visit, bags=bags))
    return left


def _without(reading: Reading) -> Reading:
    return replace(reading, seen={**reading.seen, "rust_mites": Seen(count=None)})
