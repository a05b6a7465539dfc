"""Simulate the laboratory: wash a bag, pour the dish, count all of it or some cells.

What is lost and seen on the way is what the estimates later have to undo: a wash brings
off a share of the animals, and in a dense dish only some cells are counted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from deploy.demo.almanac import Tissue
from deploy.demo.people import NAMES_CELLS
from deploy.demo.season import ORGANISMS
from monitoring.estimation import DishGrid

# Mean share that one wash brings off, and how alike washes are (a beta's a + b).
# Leaves: the middle of 80 to 90 in 100 (common practice). Shoots: the middle of 35 to
# 81 (Schreiner, Skinkis & Dreves 2014). Buds: invented.
WASHED_OFF: dict[Tissue, tuple[float, float]] = {
    "leaf": (0.8535, 60.0),
    "shoot": (0.58, 14.0),
    "bud": (0.5, 20.0),
}
# Above about this many rust mites an analyst turns to counting cells.
DENSE = 200
FEWEST_CELLS, MOST_CELLS = 10, 20
# Animals to see before an estimate from cells is worth having (about 10 % error).
WANTED_ANIMALS = 100
# Clumping of animals between the cells of a dish.
CELL_K = 4.0
RECOUNT_ERROR = 0.02
# From so many animals on, some dishes are too crowded and murky to count.
CROWDED, UNCOUNTABLE_SHARE = 600, 0.12
NOT_COUNTED_SHARE = 0.006


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What an analyst wrote down of one organism in one dish.

    count: None when nothing was written. cells: the names of those looked at, or empty
    for the whole dish. named: whether the sheet gives the names or only their number.
    """

    count: int | None
    uncountable: bool = False
    cells: tuple[str, ...] = ()
    cell_counts: tuple[int, ...] = ()
    named: bool = False

    @property
    def count_text(self) -> str:
        """The count as a sheet gives it."""
        if self.uncountable:
            return "uncountable"
        return "" if self.count is None else str(self.count)

    @property
    def cells_text(self) -> str:
        """The cells as a sheet gives them: empty, a number, or names."""
        return " ".join(self.cells) if self.named else str(len(self.cells) or "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One counting of a dish by one analyst."""

    number: int
    analyst: str
    seen: Mapping[str, Seen]


@cache
def usual_dish() -> DishGrid:
    """Give the laboratory's 15 cm dish with its 10 mm grid."""
    return DishGrid(inner_diameter_mm=150.0, pitch_mm=10.0)


def wash_off(
    on_tissue: Mapping[str, int], tissue: Tissue, rng: np.random.Generator
) -> dict[str, int]:
    """Wash a bag once: each organism comes off at a share of its own."""
    mean, alike = WASHED_OFF[tissue]
    return {
        organism: int(rng.binomial(number, rng.beta(alike * mean, alike * (1 - mean))))
        for organism, number in on_tissue.items()
    }


def read_dish(
    washed_off: Mapping[str, int],
    *,
    number: int,
    analyst: str,
    rng: np.random.Generator,
    uncountable_share: float = UNCOUNTABLE_SHARE,
) -> Reading:
    """Count a dish: predators and thrips whole, rust mites by cells where dense."""
    seen = {
        organism: _count_whole(washed_off[organism], number, rng)
        for organism in ORGANISMS
    }
    rust_mites = washed_off["rust_mites"]
    if rust_mites > CROWDED and rng.random() < uncountable_share:
        seen["rust_mites"] = Seen(count=None, uncountable=True)
    elif rust_mites > DENSE:
        seen["rust_mites"] = _count_cells(rust_mites, analyst, rng)
    return Reading(number=number, analyst=analyst, seen=seen)


def _count_whole(animals: int, number: int, rng: np.random.Generator) -> Seen:
    if number == 1 and rng.random() < NOT_COUNTED_SHARE:
        return Seen(count=None)
    if number == 1:
        return Seen(count=animals)
    # A recount seldom gives quite the same.
    missed = rng.normal(0.0, RECOUNT_ERROR * animals) if animals else 0.0
    return Seen(count=max(round(animals + missed), 0))


def _count_cells(animals: int, analyst: str, rng: np.random.Generator) -> Seen:
    """Scatter the animals over the dish and look at some random cells."""
    dish = usual_dish()
    names, areas = dish.cell_names, dish.cell_areas_mm2
    weights = areas * rng.gamma(CELL_K, 1 / CELL_K, areas.size)
    scattered = rng.multinomial(animals, weights / weights.sum())
    wanted = int(np.ceil(WANTED_ANIMALS * areas.size / animals))
    looked_at = rng.choice(
        areas.size, size=min(max(wanted, FEWEST_CELLS), MOST_CELLS), replace=False
    )
    looked_at.sort()
    counts = tuple(int(scattered[index]) for index in looked_at)
    return Seen(
        count=sum(counts),
        cells=tuple(names[index] for index in looked_at),
        cell_counts=counts,
        named=analyst == NAMES_CELLS,
    )
