"""Lay animals and debris out in a dish, from a seed that alone repeats it.

Only the generator's plain numbers in [0, 1) are used, whose order is fixed by PCG64
itself, so that a dish looks the same under a later NumPy too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, cos, floor, hypot, pi, sin, sqrt

import numpy as np
from scipy import stats

from monitoring.estimation import DishGrid
from monitoring.training.errors import TrainingError
from monitoring.training.looks import DEBRIS, LOOKS, Look

CLUMPING = {"none": 0.0, "some": 0.5, "strong": 1.0}
# Pieces of debris for each cm2 of dish.
DEBRIS_PER_CM2 = {"none": 0.0, "little": 2.0, "usual": 6.0, "much": 14.0}
ANIMALS_A_CLUMP, CLUMP_RADIUS_MM = 12, 6.0
# Nothing lies nearer to the rim or to another animal than this.
RIM_GAP_MM, GAP_MM = 0.2, 0.03
# No animal's middle lies nearer to a line, so that its cell is beyond dispute, nor to
# the edge of a part.
LINE_GAP_MM = 0.05
# Animals at random fit easily while their circles take up less of the dish than this.
MOST_COVER = 0.15
IN_CLUMP_TRIES, TRIES = 60, 4_000
# What is in the dish is drawn between half and twice what was asked, then by chance.
FACTOR = 2.0
SCENES_KEPT = 8


@dataclass(frozen=True, slots=True)
class ScenePlan:
    """What lies in a dish: how many of each look, how clumped, among what debris."""

    inner_diameter_mm: float
    pitch_mm: float
    offset_mm: tuple[float, float]
    numbers: tuple[tuple[str, int], ...]
    clumping: str
    debris: str
    seed: int
    # Into so many parts each way a cell is looked at, one after the other.
    parts_a_side: int = 1

    @property
    def grid(self) -> DishGrid:
        """The dish."""
        return DishGrid(
            inner_diameter_mm=self.inner_diameter_mm,
            pitch_mm=self.pitch_mm,
            offset_mm=self.offset_mm,
        )


@dataclass(frozen=True, slots=True)
class Piece:
    """One animal or one piece of debris: middle, length, turn and tone."""

    look: str
    x_mm: float
    y_mm: float
    length_mm: float
    turn: float
    tone: float


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything in a dish; debris lies beneath the animals."""

    animals: tuple[Piece, ...]
    debris: tuple[Piece, ...]


def number_about(asked: int, chance: tuple[float, float]) -> int:
    """Draw how many there are, so that who asked for `asked` does not know.

    chance: two numbers in [0, 1). The mean is even on the log scale from half to twice
    what was asked; the number is Poisson about it. None asked gives none.
    """
    if asked == 0:
        return 0
    mean = asked * FACTOR ** (2 * chance[0] - 1)
    # The quantile of 0 itself is given as -1.
    return max(int(stats.poisson.ppf(chance[1], mean)), 0)


def most_asked(look: str, inner_diameter_mm: float) -> int:
    """Say of how many animals of a look a dish has room for what may be drawn."""
    area = pi * LOOKS[look].reach_mm ** 2
    room = MOST_COVER * pi * (inner_diameter_mm / 2) ** 2 / area
    return floor(room / (1.3 * FACTOR))


@lru_cache(maxsize=SCENES_KEPT)
def lay_out(plan: ScenePlan) -> Scene:
    """Lay out a dish; the same plan gives the same dish.

    Raises TrainingError where the animals do not fit.
    """
    rng = np.random.Generator(np.random.PCG64(plan.seed))
    table = _Table(plan, rng)
    # The largest first: small ones find room between them.
    for look, number in sorted(
        plan.numbers, key=lambda one: (-LOOKS[one[0]].reach_mm, one[0])
    ):
        table.place(look, number)
    # Whoever reads the list learns nothing from its order.
    animals = sorted(table.animals, key=lambda one: (one.y_mm, one.x_mm))
    return Scene(tuple(animals), tuple(_debris(plan, rng)))


class _Table:
    """A dish being filled, with a net of squares in which to look for neighbours."""

    def __init__(self, plan: ScenePlan, rng: np.random.Generator) -> None:
        self.plan, self.rng = plan, rng
        self.animals: list[Piece] = []
        looks = [LOOKS[look] for look, _ in plan.numbers]
        self.mesh_mm = 2 * max((one.reach_mm for one in looks), default=1) + GAP_MM
        self.net: dict[tuple[int, int], list[tuple[float, float, float]]] = {}

    def place(self, look: str, number: int) -> None:
        """Find a place for each animal of a look, in clumps or anywhere."""
        drawn = LOOKS[look]
        within = self.plan.inner_diameter_mm / 2 - RIM_GAP_MM - drawn.reach_mm
        clumps = [
            _on_disc(self.rng, within) for _ in range(ceil(number / ANIMALS_A_CLUMP))
        ]
        for _ in range(number):
            x, y = self._somewhere(drawn, within, clumps)
            self.net.setdefault(self._square(x, y), []).append((x, y, drawn.reach_mm))
            self.animals.append(_piece(self.rng, look, drawn, (x, y)))

    def _somewhere(
        self, look: Look, within: float, clumps: list[tuple[float, float]]
    ) -> tuple[float, float]:
        clumped = self.rng.random() < CLUMPING[self.plan.clumping]
        clump = clumps[floor(self.rng.random() * len(clumps))]
        for attempt in range(TRIES):
            if clumped and attempt < IN_CLUMP_TRIES:
                x, y = _on_disc(self.rng, CLUMP_RADIUS_MM)
                x, y = x + clump[0], y + clump[1]
            else:
                x, y = _on_disc(self.rng, within)
            if hypot(x, y) <= within and self._is_free(x, y, look.reach_mm):
                return x, y
        raise TrainingError("So many animals do not fit into this dish side by side.")

    def _square(self, x: float, y: float) -> tuple[int, int]:
        return floor(x / self.mesh_mm), floor(y / self.mesh_mm)

    def _is_free(self, x: float, y: float, reach_mm: float) -> bool:
        if min(self._off_line(x, 0), self._off_line(y, 1)) < LINE_GAP_MM:
            return False
        column, row = self._square(x, y)
        return all(
            hypot(x - other_x, y - other_y) >= reach_mm + other_reach + GAP_MM
            for across in (-1, 0, 1)
            for down in (-1, 0, 1)
            for other_x, other_y, other_reach in self.net.get(
                (column + across, row + down), ()
            )
        )

    def _off_line(self, at_mm: float, axis: int) -> float:
        part_mm = self.plan.pitch_mm / self.plan.parts_a_side
        since = (at_mm - self.plan.offset_mm[axis]) % part_mm
        return min(since, part_mm - since)


def _debris(plan: ScenePlan, rng: np.random.Generator) -> list[Piece]:
    area_cm2 = plan.grid.area_mm2 / 100
    kinds = [kind for kind, (share, _) in DEBRIS.items() for _ in range(share)]
    pieces = []
    for _ in range(round(DEBRIS_PER_CM2[plan.debris] * area_cm2)):
        kind = kinds[floor(rng.random() * len(kinds))]
        look = DEBRIS[kind][1]
        within = plan.inner_diameter_mm / 2 - RIM_GAP_MM - look.reach_mm
        pieces.append(_piece(rng, kind, look, _on_disc(rng, within)))
    return pieces


def _on_disc(rng: np.random.Generator, radius: float) -> tuple[float, float]:
    """Give a point that falls anywhere on a disc with the same chance."""
    away, around = radius * sqrt(rng.random()), 2 * pi * rng.random()
    return away * cos(around), away * sin(around)


def _piece(
    rng: np.random.Generator, kind: str, look: Look, at: tuple[float, float]
) -> Piece:
    length = look.shortest_mm + rng.random() * (look.longest_mm - look.shortest_mm)
    return Piece(kind, at[0], at[1], length, 2 * pi * rng.random(), rng.random())


def numbers_about(asked: Sequence[int], *, seed: int) -> list[int]:
    """Draw how many of each there are; the same seed gives the same numbers."""
    # A stream of its own, so that positions do not hang on how many were asked.
    rng = np.random.Generator(np.random.PCG64([seed, 1]))
    return [number_about(one, (rng.random(), rng.random())) for one in asked]
